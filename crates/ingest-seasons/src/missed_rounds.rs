//! Trees without a weight in one round of picks that nearly all trees of their block have, between picks of their own:
//! a cell that was forgotten looks like one that says that there was no pick, and the tree counts as bearing less.

use crate::frame::{DATE, TREE_NO, floats, indices, ints, stands, texts};
use crate::outcome::Outcome;
use crate::places::Places;
use crate::seasons::day;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use records::{Code, Place, counted, natural_order, noun};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use words::{say, text};

/// Fewest trees of a block picked in a season that tell its rounds (this and those below ours: conventions, of no
/// published source).
const TREES: usize = 10;
/// Least share of them that has a round for the others to lack it.
const NEARLY_ALL: f64 = 0.9;
/// Most days between two picks of a block in one round.
const APART: i32 = 3;
/// Most days from the first pick of a round to the last: picks that are spread over weeks are of no round.
const LONGEST: i32 = 7;
/// Least share of a tree's crop that the round is, in the middle of the block: a round of less may pass a tree by.
const SHARE: f64 = 0.1;
/// Share of trees that rounds between picks of their own passed by in the other seasons, above which nobody forgot a
/// cell in this one: where nothing lies under a tree, nothing is weighed.
const HABIT: f64 = 0.02;
/// Most trees that are named.
const NAMED: usize = 5;

/// A tree without a weight in a round.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Missed {
    tree: u32,
    season: i32,
    /// The first day of the round.
    day: i32,
    /// A row of the round.
    at: (u32, u32),
}

/// The trees and seasons of rounds that were missed.
pub(crate) fn tree_seasons(missed: &[Missed]) -> BTreeSet<(u32, i32)> {
    missed.iter().map(|own| (own.tree, own.season)).collect()
}

/// A pick of a block's season.
struct Pick {
    day: i32,
    tree: u32,
    at: (u32, u32),
    kg: f64,
}

/// The trees that lack a round, of all picks that are in a season. First and last rounds of a tree tell nothing: its crop
/// may begin later than that of others and end earlier.
pub(crate) fn missed(
    picks: &DataFrame,
    kilograms: &str,
    places: &Places,
) -> PolarsResult<Vec<Missed>> {
    let blocks = texts(&places.trees, ts::BLOCK)?.iter();
    // Only looked up, never walked.
    let block_of: HashMap<u32, &str> = indices(&places.trees, TREE_NO)?
        .iter()
        .zip(blocks)
        .filter_map(|(tree, block)| Some((tree?, block?)))
        .collect();
    let times = ints(picks, ts::SEASON)?.iter().zip(ints(picks, DATE)?.iter());
    let rows = indices(picks, TREE_NO)?.iter().zip(times).zip(floats(picks, kilograms)?.iter());
    let mut of_blocks: BTreeMap<(&str, i32), Vec<Pick>> = BTreeMap::new();
    for (((tree, (season, day)), kg), at) in rows.zip(stands(picks)?) {
        let (Some(tree), Some(season), Some(day), Some(kg)) = (tree, season, day, kg) else {
            continue;
        };
        if let Some(block) = block_of.get(&tree) {
            let pick = Pick { day, tree, at, kg };
            of_blocks.entry((block, season)).or_default().push(pick);
        }
    }
    let mut found = Vec::new();
    let mut passed: BTreeMap<i32, [usize; 2]> = BTreeMap::new();
    for ((_, season), mut own) in of_blocks {
        own.sort_unstable_by_key(|pick| (pick.day, pick.at));
        let (missed, [lacking, all]) = of_block(&own, season);
        found.extend(missed);
        let sums = passed.entry(season).or_default();
        *sums = [sums[0] + lacking, sums[1] + all];
    }
    found.retain(|own: &Missed| {
        let others = passed.iter().filter(|(season, _)| **season != own.season);
        let sum =
            |[lacking, all]: [usize; 2], (_, of): (_, &[usize; 2])| [lacking + of[0], all + of[1]];
        let [lacking, all] = others.fold([0; 2], sum);
        lacking as f64 <= HABIT * all as f64
    });
    Ok(found)
}

/// The same of one block in one season, with the trees that its rounds between picks of their own passed by and all trees
/// of these rounds; picks by day.
fn of_block(picks: &[Pick], season: i32) -> (Vec<Missed>, [usize; 2]) {
    let rounds: Vec<&[Pick]> = picks.chunk_by(|a, b| b.day - a.day <= APART).collect();
    // By tree: what each round weighed of it.
    let mut trees: BTreeMap<u32, BTreeMap<usize, f64>> = BTreeMap::new();
    for (place, round) in rounds.iter().enumerate() {
        for pick in *round {
            *trees.entry(pick.tree).or_default().entry(place).or_default() += pick.kg;
        }
    }
    if trees.len() < TREES {
        return (Vec::new(), [0; 2]);
    }
    let mut numbers: Vec<usize> = trees.values().map(BTreeMap::len).collect();
    numbers.sort_unstable();
    let usual = numbers.get(numbers.len() / 2).copied().unwrap_or_default();
    let (mut found, mut passed) = (Vec::new(), [0; 2]);
    for (place, round) in rounds.iter().enumerate() {
        let (Some(first), Some(last)) = (round.first(), round.last()) else { continue };
        let having = trees.values().filter(|own| own.contains_key(&place)).count();
        let is_between = |own: &BTreeMap<usize, f64>| {
            own.keys().any(|other| *other < place) && own.keys().any(|other| *other > place)
        };
        if 2 * having >= trees.len() {
            let between = || trees.values().filter(|own| is_between(own));
            passed[0] += between().filter(|own| !own.contains_key(&place)).count();
            passed[1] += between().count();
        }
        let is_of_nearly_all = having as f64 >= NEARLY_ALL * trees.len() as f64;
        let is_round = last.day - first.day <= LONGEST && is_of_nearly_all;
        if having == trees.len() || !is_round || share(&trees, place) < SHARE {
            continue;
        }
        let lacking = trees.iter().filter(|(_, own)| {
            // Who has as many picks as the others was picked on another day.
            is_between(own) && !own.contains_key(&place) && own.len() < usual
        });
        found.extend(lacking.map(|(&tree, _)| Missed {
            tree,
            season,
            day: first.day,
            at: first.at,
        }));
    }
    (found, passed)
}

/// The share of a tree's crop that a round is, in the middle of the trees that have it and bore.
fn share(trees: &BTreeMap<u32, BTreeMap<usize, f64>>, place: usize) -> f64 {
    let of_tree = |own: &BTreeMap<usize, f64>| {
        let all: f64 = own.values().sum();
        own.get(&place).filter(|_| all > 0.0).map(|kg| kg / all)
    };
    let mut shares: Vec<f64> = trees.values().filter_map(of_tree).collect();
    shares.sort_by(f64::total_cmp);
    shares.get(shares.len() / 2).copied().unwrap_or_default()
}

/// Tells them, by file and season; `linked` are the tree-seasons that count as whole.
pub(crate) fn warn(
    missed: &[Missed],
    linked: &DataFrame,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    if missed.is_empty() {
        return Ok(());
    }
    let whole: BTreeSet<(&str, i32)> = texts(linked, ts::TREE)?
        .iter()
        .zip(ints(linked, ts::SEASON)?.iter())
        .filter_map(|(tree, season)| Some((tree?, season?)))
        .collect();
    let numbers = indices(&places.trees, TREE_NO)?.iter();
    // Only looked up, never walked.
    let names: HashMap<u32, &str> = numbers
        .zip(texts(&places.trees, ts::TREE)?.iter())
        .filter_map(|(number, name)| Some((number?, name?)))
        .collect();
    let mut told: BTreeMap<(String, i32), Vec<(&str, i32)>> = BTreeMap::new();
    for Missed { tree, season, day, at } in missed {
        let Some(name) = names.get(tree).filter(|name| whole.contains(&(**name, *season))) else {
            continue;
        };
        told.entry((outcome.place(*at).file, *season)).or_default().push((name, *day));
    }
    for ((file, season), mut own) in told {
        own.sort_by_cached_key(|(tree, day)| (natural_order(tree), *tree, *day));
        let trees: BTreeSet<&str> = own.iter().map(|(tree, _)| *tree).collect();
        let number = trees.len() as u64;
        let named = own.iter().take(NAMED).map(|(tree, on)| match day(*on) {
            Some(day) => format!("'{tree}' ({day})"),
            None => format!("'{tree}'"),
        });
        let more = if own.len() > NAMED { ", .." } else { "" };
        outcome.warn(
            Place::file(file),
            Code::SeasonThin,
            say!(
                "{} without a weight in a round of season {season} that nearly all trees of their block have, between picks of their own: {}; {} as a whole harvest all the same",
                counted(number, text!("tree"), text!("trees")),
                named.collect::<Vec<_>>().join(", ") + more,
                noun(number, text!("it counts"), text!("each counts"))
            ),
            text!("fill in the weights, or 0 where a tree bore nothing in that round: an empty cell that values call no pick says neither; if a weight is lost for good, write a word such as lost, which leaves the tree-season out"),
        );
    }
    Ok(())
}
