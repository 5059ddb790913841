//! Rounds of picks that a block has in every season but one, that stand under the season beside their own, or that
//! single trees lack.

use super::{OTHER_SEASONS, TREES, named};
use crate::frame::{ROUNDS, TREE_NO, flags, indices, ints, texts};
use crate::outcome::Outcome;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use records::{Code, Place, Table, counted, natural_order, noun};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Least share of a block's trees that have as many rounds as the one in the middle in every other season, and
/// that have fewer in the one (this and those below ours: conventions, of no published source).
const ALIKE: f64 = 0.8;
/// Fewest trees of a block picked in a season that tell what a single one lacks.
const TREES_OF_BLOCK: usize = 10;
/// Least share of them that has as many rounds as the one in the middle, or more.
const NEARLY_ALL: f64 = 0.9;
/// Fewest rounds of which a tree may lack half: of two, the second may find nothing under it.
const ROUNDS_OF_BLOCK: i32 = 3;
/// Share of a region's trees that lack a round of their block, those told left out, above which nobody forgot half of them:
/// where nothing lies under a tree, nothing is weighed.
const HABIT: f64 = 0.02;
/// Most trees that are named.
const NAMED: usize = 5;

/// Rounds in which each tree of one block was picked in one season.
#[derive(Default)]
pub(super) struct Picked {
    rounds: Vec<i32>,
}

impl Extend<i32> for Picked {
    fn extend<I: IntoIterator<Item = i32>>(&mut self, rounds: I) {
        self.rounds.extend(rounds);
    }
}

impl Picked {
    /// Upper median of the rounds of a tree, which must be sorted.
    fn middle(&self) -> i32 {
        self.rounds.get(self.rounds.len() / 2).copied().unwrap_or_default()
    }

    /// Whether nearly all trees have rounds that are so.
    fn are(&self, is: impl Fn(i32) -> bool) -> bool {
        let such = self.rounds.iter().filter(|rounds| is(**rounds)).count();
        such as f64 >= ALIKE * self.rounds.len() as f64
    }
}

/// Seasons of a block.
type Seasons = BTreeMap<i32, Picked>;

/// Blocks, by region and the seasons and numbers of rounds that are told of them.
type Found<'a, const N: usize> = BTreeMap<(&'a str, [i32; N]), Vec<&'a str>>;

/// Tells blocks with rounds more or fewer in one season than in every other, or with as many more in one as they lack
/// in the one beside it; of fewer rounds not the seasons that are `thin` in the whole region.
pub(super) fn tell(
    picked: BTreeMap<(&str, &str), Seasons>,
    thin: &BTreeSet<(String, i32)>,
    outcome: &mut Outcome,
) {
    let mut short: Found<'_, 3> = BTreeMap::new();
    let mut double: Found<'_, 3> = BTreeMap::new();
    let mut moved: Found<'_, 5> = BTreeMap::new();
    for ((region, block), mut seasons) in picked {
        seasons.values_mut().for_each(|own| own.rounds.sort_unstable());
        let is_full = |season: i32| !thin.contains(&(region.to_owned(), season));
        if let Some(found) = more_once(&seasons) {
            double.entry((region, found)).or_default().push(block);
        }
        if let Some(found) = fewer_once(&seasons).filter(|found| is_full(found[0])) {
            short.entry((region, found)).or_default().push(block);
        }
        if let Some(found) = moved_once(&seasons).filter(|found| is_full(found[2])) {
            moved.entry((region, found)).or_default().push(block);
        }
    }
    let blocks = |names: &[&str]| {
        let blocks = counted(names.len() as u64, text!("block"), text!("blocks"));
        format!("{blocks} ({})", named(names))
    };
    let picks = |own: i32| counted(u64::from(own.unsigned_abs()), text!("pick"), text!("picks"));
    let place = || Place::file(Table::Harvests.as_str());
    for ((region, [season, own, usual]), names) in &short {
        outcome.warn(
            place(),
            Code::SeasonThin,
            say!(
                "region '{region}': in {} a tree of season {season} has {} (median), where {usual} stand in every other season; it counts as a whole harvest all the same",
                blocks(names),
                picks(*own),
            ),
            text!("add the picks if a file or a round is missing; if it is lost for good, write its rows with a word such as lost for the weight, which leaves these tree-seasons out; nothing to do if a round less was picked"),
        );
    }
    for ((region, [season, own, usual]), names) in &double {
        outcome.warn(
            place(),
            Code::SeasonStray,
            say!(
                "region '{region}': in {} a tree of season {season} has {} (median), where {usual} stand in every other season: picks of another season or block may stand among them",
                blocks(names),
                picks(*own),
            ),
            text!("compare years and blocks of these picks with the field book; nothing to do if more rounds were picked"),
        );
    }
    for ((region, [season, own, lacking, left, usual]), names) in &moved {
        outcome.warn(
            place(),
            Code::SeasonStray,
            say!(
                "region '{region}': in {} a tree of season {season} has {} (median) and one of {lacking} {left}, where {usual} stand in every other season: a round of {lacking} may bear the year of {season}",
                blocks(names),
                picks(*own),
            ),
            text!("compare the years of these rounds with the field book, in the rows, in every_row and in the names of files and sheets; nothing to do if so many were picked"),
        );
    }
}

/// Seasons in which enough trees were picked.
fn known(seasons: &Seasons) -> impl Iterator<Item = (i32, &Picked)> {
    let known = seasons.iter().filter(|(_, own)| own.rounds.len() >= TREES);
    known.map(|(season, own)| (*season, own))
}

/// The one season in which trees have half as many rounds again or more as in every other, in which nearly all have as
/// many each; and the rounds in the middle of both.
fn more_once(seasons: &Seasons) -> Option<[i32; 3]> {
    let usual = known(seasons).map(|(_, own)| own.middle()).min()?;
    let (as_usual, others): (Vec<_>, Vec<_>) =
        known(seasons).partition(|(_, own)| own.are(|rounds| rounds == usual));
    let &[(season, own)] = others.as_slice() else { return None };
    let is_more = 2 * own.middle() >= 3 * usual && own.are(|rounds| rounds > usual);
    (as_usual.len() >= OTHER_SEASONS && is_more).then_some([season, own.middle(), usual])
}

/// The one season in which trees have fewer rounds than in every other, in which nearly all have as many each;
/// and the rounds in the middle of both.
fn fewer_once(seasons: &Seasons) -> Option<[i32; 3]> {
    let usual = known(seasons).map(|(_, own)| own.middle()).max()?;
    let (mut as_usual, mut fewer) = (0, Vec::new());
    for (season, own) in known(seasons) {
        if own.are(|rounds| rounds == usual) {
            as_usual += 1;
        } else if own.are(|rounds| rounds < usual) {
            fewer.push((season, own.middle()));
        } else {
            return None;
        }
    }
    let &[(season, own)] = fewer.as_slice() else { return None };
    (as_usual >= OTHER_SEASONS).then_some([season, own, usual])
}

/// The one season in which trees have more rounds than in every other and the one beside it in which they have as many
/// fewer, nearly all as many each in the others: both seasons, each followed by its rounds in the middle, and what is
/// usual.
fn moved_once(seasons: &Seasons) -> Option<[i32; 5]> {
    let mut middles: Vec<i32> = known(seasons).map(|(_, own)| own.middle()).collect();
    middles.sort_unstable();
    let usual = *middles.get(middles.len() / 2)?;
    let (as_usual, others): (Vec<_>, Vec<_>) =
        known(seasons).partition(|(_, own)| own.are(|rounds| rounds == usual));
    let &[first, second] = others.as_slice() else { return None };
    let (more, fewer) =
        if first.1.middle() > second.1.middle() { (first, second) } else { (second, first) };
    let [own, left] = [more.1.middle(), fewer.1.middle()];
    let is_moved = (more.0 - fewer.0).abs() == 1 && own > usual && own + left == 2 * usual;
    let is_all = more.1.are(|rounds| rounds == own) && fewer.1.are(|rounds| rounds == left);
    (as_usual.len() >= OTHER_SEASONS && is_moved && is_all)
        .then_some([more.0, own, fewer.0, left, usual])
}

/// A tree in a season: its number and name, its rounds, those of the tree in the middle of its block where these are
/// known, and whether nearly all of the block have as many.
struct OfTree<'a> {
    number: u32,
    tree: &'a str,
    rounds: i32,
    usual: Option<i32>,
    is_of_alike: bool,
}

impl OfTree<'_> {
    fn lacks_half(&self) -> bool {
        self.is_of_alike && self.usual.is_some_and(|usual| 2 * self.rounds <= usual)
    }

    fn lacks_any(&self) -> bool {
        self.usual.is_some_and(|usual| self.rounds < usual)
    }
}

/// Tells trees past the training age with half of the rounds or fewer that nearly all trees of their block have, where
/// this is no habit of the region; not those with a round missing between others, which are told by it.
pub(super) fn tell_trees(
    linked: &DataFrame,
    told: &BTreeSet<(u32, i32)>,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let places = texts(linked, ts::REGION)?.iter().zip(texts(linked, ts::BLOCK)?.iter());
    let trees = indices(linked, TREE_NO)?.iter().zip(texts(linked, ts::TREE)?.iter());
    let picked = ints(linked, ts::SEASON)?.iter().zip(ints(linked, ROUNDS)?.iter());
    let mut of_blocks: BTreeMap<(&str, i32, &str), Vec<OfTree<'_>>> = BTreeMap::new();
    for (((place, tree), picked), young) in
        places.zip(trees).zip(picked).zip(flags(linked, ts::YOUNG)?.iter())
    {
        let (Some(region), Some(block)) = place else { continue };
        let ((Some(number), Some(tree)), (Some(season), Some(rounds))) = (tree, picked) else {
            continue;
        };
        if young != Some(true) {
            let own = OfTree { number, tree, rounds, usual: None, is_of_alike: false };
            of_blocks.entry((region, season, block)).or_default().push(own);
        }
    }
    let mut regions: BTreeMap<&str, BTreeMap<i32, Vec<OfTree<'_>>>> = BTreeMap::new();
    for ((region, season, _), mut own) in of_blocks {
        let mut rounds: Vec<i32> = own.iter().map(|own| own.rounds).collect();
        rounds.sort_unstable();
        let middle = rounds.get(rounds.len() / 2).copied().unwrap_or_default();
        let as_many = rounds.iter().filter(|rounds| **rounds >= middle).count();
        let is_of_alike = as_many as f64 >= NEARLY_ALL * rounds.len() as f64;
        if rounds.len() >= TREES_OF_BLOCK && middle >= ROUNDS_OF_BLOCK {
            own = own
                .into_iter()
                .map(|own| OfTree { usual: Some(middle), is_of_alike, ..own })
                .collect();
        }
        regions.entry(region).or_default().entry(season).or_default().extend(own);
    }
    for (region, seasons) in regions {
        for (season, own) in &seasons {
            let others = || {
                let is_other = |other: &i32, own: &OfTree<'_>| other != season || !own.lacks_half();
                let all =
                    seasons.iter().flat_map(|(other, own)| own.iter().map(move |own| (other, own)));
                all.filter(move |(other, own)| own.usual.is_some() && is_other(other, own))
            };
            let all = others().count();
            let lacking = others().filter(|(_, own)| own.lacks_any()).count();
            let is_odd =
                |own: &&OfTree<'_>| own.lacks_half() && !told.contains(&(own.number, *season));
            let mut odd: Vec<&OfTree<'_>> = own.iter().filter(is_odd).collect();
            if odd.is_empty() || lacking as f64 > HABIT * all as f64 {
                continue;
            }
            odd.sort_by_cached_key(|own| (natural_order(own.tree), own.tree));
            let more = if odd.len() > NAMED { ", .." } else { "" };
            let names: Vec<String> = odd
                .iter()
                .take(NAMED)
                .map(|own| {
                    let usual = own.usual.unwrap_or_default();
                    say!("'{}' ({} of {usual})", own.tree, own.rounds)
                })
                .collect();
            let number = odd.len() as u64;
            outcome.warn(
                Place::file(Table::Harvests.as_str()),
                Code::SeasonThin,
                say!(
                    "region '{region}': {} of season {season} with half of the picks or fewer that nearly all trees of their block have: {}{more}; {} as a whole harvest all the same",
                    counted(number, text!("tree"), text!("trees")),
                    names.join(", "),
                    noun(number, text!("it counts"), text!("each counts"))
                ),
                text!("fill in the picks, or 0 where a tree bore nothing in a round; correct the id where they are a neighbour's; where a tree died in the harvest, or weights are lost for good, write a word such as lost for one, which leaves the tree-season out"),
            );
        }
    }
    Ok(())
}
