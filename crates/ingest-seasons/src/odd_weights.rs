//! Picks ten times as heavy as the tree and its neighbours bear, and a season whose weights are those of another:
//! a decimal mark that was lost, and a file of last year under this year's dates.

use crate::frame::{DATE, REGION_NO, TREE_NO, floats, indices, ints, stands};
use crate::misdated::others;
use crate::outcome::Outcome;
use crate::totals;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use records::{Code, counted};
use std::collections::BTreeMap;
use words::{say, text};

/// How many times the tree's other picks, and the picks of its region in that month, a pick weighs whose decimal mark
/// was lost (this and those below ours: conventions, of no published source).
const TENFOLD: [f64; 2] = [6.0, 16.0];
/// How many times the heaviest other pick of the tree it weighs at the least.
const BEYOND: f64 = 3.0;
/// Fewest other picks of a tree, and fewest of a region in a month, that tell what is usual.
const OTHERS: usize = 3;
const OF_MONTH: usize = 10;
/// Fewest trees of one file with the very picks of another season, each two or more, and their least share.
const TREES: usize = 10;
const SAME: f64 = 0.8;
/// Days of a month, near enough for rounds.
const MONTH: i32 = 30;

/// A pick of some weight.
#[derive(Clone, Copy)]
pub(crate) struct Pick {
    pub(crate) tree: u32,
    pub(crate) season: i32,
    day: i32,
    /// File and line.
    pub(crate) at: (u32, u32),
    region: u32,
    pub(crate) kg: f64,
}

impl Pick {
    fn month(&self) -> Month {
        (self.region, self.day.div_euclid(MONTH))
    }
}

/// Tells both, and totals among the picks.
pub(crate) fn warn(picks: &DataFrame, kilograms: &str, outcome: &mut Outcome) -> PolarsResult<()> {
    let places = indices(picks, REGION_NO)?.iter().zip(indices(picks, TREE_NO)?.iter());
    let times = ints(picks, ts::SEASON)?.iter().zip(ints(picks, DATE)?.iter());
    let rows = places.zip(times).zip(floats(picks, kilograms)?.iter()).zip(stands(picks)?);
    let mut all: Vec<Pick> = rows
        .filter_map(|((((region, tree), (season, day)), kg), at)| {
            let kg = kg.filter(|kg| *kg > 0.0)?;
            Some(Pick { tree: tree?, season: season?, day: day?, at, region: region?, kg })
        })
        .collect();
    let mut of_months: BTreeMap<(u32, i32), Vec<f64>> = BTreeMap::new();
    for pick in &all {
        of_months.entry(pick.month()).or_default().push(pick.kg);
    }
    let usual: BTreeMap<(u32, i32), f64> = of_months
        .into_iter()
        .filter(|(_, own)| own.len() >= OF_MONTH)
        .filter_map(|(month, mut own)| Some((month, middle(&mut own)?)))
        .collect();
    all.sort_unstable_by_key(|pick| (pick.tree, pick.season, pick.day, pick.at));
    tell_tenfold(&all, &usual, outcome);
    tell_copied(&all, outcome);
    tell_pasted(&all, outcome);
    totals::warn(&all, outcome);
    Ok(())
}

/// Whether a weight has one decimal at the most: balances show two, and a mark that is lost or moved leaves one.
fn is_of_tenths(kg: f64) -> bool {
    (10.0 * kg - (10.0 * kg).round()).abs() < 1e-6
}

fn middle(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Region and month.
type Month = (u32, i32);

/// File and line of a pick, its weight and what is usual for the tree, kg.
type Heavy = ((u32, u32), [f64; 2]);

fn tell_tenfold(all: &[Pick], usual: &BTreeMap<Month, f64>, outcome: &mut Outcome) {
    let is_tenfold = |kg: f64, of: f64| (TENFOLD[0]..=TENFOLD[1]).contains(&(kg / of));
    let mut odd: Vec<Heavy> = Vec::new();
    // By file and month: picks, and those ten times as heavy as the tree's others, of a month that is so too.
    let mut files: BTreeMap<(u32, Month), (usize, Vec<Heavy>)> = BTreeMap::new();
    for tree in all.chunk_by(|a, b| a.tree == b.tree).filter(|tree| tree.len() > OTHERS) {
        let mut own: Vec<f64> = tree.iter().map(|pick| pick.kg).collect();
        let Some(of_tree) = middle(&mut own) else { continue };
        let is_heavy = |pick: &&Pick| is_tenfold(pick.kg, of_tree) && is_of_tenths(pick.kg);
        let heavy: Vec<&Pick> = tree.iter().filter(is_heavy).collect();
        // The heaviest that is not suspected.
        let next = own.iter().rev().nth(heavy.len()).copied().unwrap_or_default();
        for pick in tree {
            files.entry((pick.at.0, pick.month())).or_default().0 += 1;
        }
        for pick in heavy.into_iter().filter(|pick| pick.kg > BEYOND * next) {
            let found = (pick.at, [pick.kg, of_tree]);
            if usual.get(&pick.month()).is_some_and(|usual| is_tenfold(pick.kg, *usual)) {
                odd.push(found);
            } else {
                files.entry((pick.at.0, pick.month())).or_default().1.push(found);
            }
        }
    }
    // A whole round without its decimal marks is what its month shows, and yet no tree bears so in any other.
    let lost = files.into_values().filter(|(picks, heavy)| {
        heavy.len() >= OF_MONTH && heavy.len() as f64 >= SAME * *picks as f64
    });
    odd.extend(lost.flat_map(|(_, heavy)| heavy));
    odd.sort_by_key(|(at, _)| *at);
    let Some(&(first, [kg, of_tree])) = odd.first() else { return };
    outcome.warn(
        outcome.place(first),
        Code::RangeUnusual,
        say!(
            "{} about ten times as heavy as the tree's others and, but for a whole round that is so, those of its region in that month, here first: {kg:.2} kg, where {of_tree:.2} kg is usual for the tree",
            counted(odd.len() as u64, text!("pick"), text!("picks"))
        ),
        say!(
            "kept; compare with the field book: a decimal mark may be lost{}",
            others(odd.iter().skip(1).map(|(at, _)| at), outcome)
        ),
    );
}

/// Trees of one file and season, and those with the very picks of an earlier season, with the first of their rows.
type Copied = (usize, BTreeMap<i32, (usize, (u32, u32))>);

/// By file and season: of the trees with two picks or more, those with the very weights of another season.
fn tell_copied(all: &[Pick], outcome: &mut Outcome) {
    let mut files: BTreeMap<(u32, i32), Copied> = BTreeMap::new();
    for tree in all.chunk_by(|a, b| a.tree == b.tree) {
        let seasons: Vec<&[Pick]> = tree.chunk_by(|a, b| a.season == b.season).collect();
        for (place, own) in seasons.iter().enumerate().filter(|(_, own)| own.len() > 1) {
            let (count, same) = files.entry((own[0].at.0, own[0].season)).or_default();
            *count += 1;
            for other in seasons.iter().take(place) {
                let is_same = own.len() == other.len()
                    && own.iter().zip(*other).all(|(own, other)| own.kg == other.kg);
                if is_same {
                    let found = same.entry(other[0].season).or_insert((0, own[0].at));
                    *found = (found.0 + 1, found.1.min(own[0].at));
                }
            }
        }
    }
    for ((_, season), (count, same)) in files {
        let most = same.into_iter().max_by_key(|(_, (number, _))| *number);
        let Some((earlier, (number, at))) = most else { continue };
        if number >= TREES && number as f64 >= SAME * count as f64 {
            outcome.warn(
                outcome.place(at),
                Code::FileTwice,
                say!(
                    "{} have the very weights of season {earlier} again in season {season}, pick by pick",
                    counted(number as u64, text!("tree"), text!("trees"))
                ),
                text!("kept; most likely the weights of one season were entered under the dates of the other: put in the right ones"),
            );
        }
    }
}

/// Least share of pairs of trees with the same picks that stand in one order: those of a block pasted over another do,
/// those that fall together by chance half the time.
const IN_ORDER: f64 = 0.8;

/// Trees of one file and season with two rounds or more, those of which a round weighs what the one before it does,
/// and the first of their rows.
#[derive(Default)]
struct Repeated {
    trees: usize,
    again: usize,
    first: Option<(u32, u32)>,
}

/// Days of a tree's picks and the bits of their weights.
type Weighed = Vec<(i32, u64)>;

/// Whether most trees have the very picks of another tree, as where a block was pasted over another, or in two rounds
/// that follow each other the same weight.
fn tell_pasted(all: &[Pick], outcome: &mut Outcome) {
    let seasons = || {
        all.chunk_by(|a, b| (a.tree, a.season) == (b.tree, b.season)).filter(|own| own.len() > 1)
    };
    // By season and picks: the trees that have them, in their order.
    let mut alike: BTreeMap<(i32, Weighed), Vec<&Pick>> = BTreeMap::new();
    let mut files: BTreeMap<(u32, i32), Repeated> = BTreeMap::new();
    for own in seasons() {
        let picks = own.iter().map(|pick| (pick.day, pick.kg.to_bits())).collect();
        alike.entry((own[0].season, picks)).or_default().push(&own[0]);
        let found = files.entry((own[0].at.0, own[0].season)).or_default();
        found.first = Some(found.first.map_or(own[0].at, |first| first.min(own[0].at)));
        found.trees += 1;
        found.again += usize::from(own.windows(2).any(|pair| pair[0].kg == pair[1].kg));
    }
    let mut pairs: BTreeMap<i32, Vec<(u32, &Pick)>> = BTreeMap::new();
    for ((season, _), trees) in alike {
        if let [one, other] = trees.as_slice() {
            pairs.entry(season).or_default().push((one.tree, other));
        }
    }
    for (season, mut own) in pairs {
        own.sort_unstable_by_key(|(tree, _)| *tree);
        let rising = own.windows(2).filter(|pair| pair[0].1.tree < pair[1].1.tree).count();
        let Some(at) = own.iter().map(|(_, other)| other.at).min() else { continue };
        if own.len() >= TREES && rising as f64 >= IN_ORDER * (own.len() - 1) as f64 {
            outcome.warn(
                outcome.place(at),
                Code::FileTwice,
                say!(
                    "{} have the very weights of another tree in season {season}, day by day and in the order of their ids",
                    counted(own.len() as u64, text!("tree"), text!("trees"))
                ),
                text!("kept; most likely the rows of one block were entered under the ids of another: put in the right ones"),
            );
        }
    }
    for ((_, season), found) in files {
        let Some(at) = found.first else { continue };
        if found.again >= TREES && found.again as f64 >= SAME * found.trees as f64 {
            outcome.warn(
                outcome.place(at),
                Code::FileTwice,
                say!(
                    "{} of the file have the very weight of one round again in the next in season {season}",
                    counted(found.again as u64, text!("tree"), text!("trees"))
                ),
                text!("kept; most likely the weights of one round were entered under the date of the other: put in the right ones"),
            );
        }
    }
}
