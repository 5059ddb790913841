//! A few prunings of a block in a season in which it was not pruned, of trees that lack one in a season
//! in which it was, and whole rounds of a block, a site or a region: most likely the year of another season was
//! written.

use crate::frame::texts;
use crate::misdated::{Trees, Visit, others};
use crate::outcome::Outcome;
use crate::places::Places;
use crate::seasons::day;
use crate::year_slip::{YEAR, is_one_slip, year_for};
use polars::prelude::PolarsResult;
use records::tree_season as ts;
use records::{Code, Place, counted};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Fewest trees that a block usually prunes for a few of them to be odd.
const USUAL_TREES: usize = 10;
/// Largest share of the usual number of trees that is a few.
const FEW: f64 = 0.15;
/// Largest chance that just these trees would be unpruned in the other season, if the block's unpruned
/// trees were drawn at random: of many blocks and seasons some would be told by chance at a usual 5 %.
const CHANCE: f64 = 0.01;
/// Days by which a cut may lie before or after the others of its block once its year is mended.
const BESIDE: i32 = 7;

/// A block's cuts by season.
type Seasons<'a> = BTreeMap<i32, Vec<&'a Visit>>;

/// Tells the `untold` ones of a block's `cuts` that are most likely of another season.
pub(crate) fn warn(
    untold: &[Visit],
    cuts: &[Visit],
    picked: &Trees,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let block_of = texts(&places.trees, ts::BLOCK)?;
    let untold: BTreeSet<(u32, u32)> = untold.iter().map(|cut| cut.at).collect();
    let mut blocks: BTreeMap<(u32, &str), Seasons<'_>> = BTreeMap::new();
    for cut in cuts {
        if let Some(block) = block_of.get(cut.tree as usize) {
            let seasons = blocks.entry((cut.region, block)).or_default();
            seasons.entry(cut.season).or_default().push(cut);
        }
    }
    for ((region, block), seasons) in blocks {
        let usual = usual(&seasons);
        for (&season, few) in &seasons {
            let is_few = trees(few).len() as f64 <= FEW * usual as f64;
            if usual < USUAL_TREES || !is_few || !few.iter().all(|cut| untold.contains(&cut.at)) {
                continue;
            }
            let in_block = |tree: &u32| block_of.get(*tree as usize) == Some(block);
            let Some(meant) = meant(
                few,
                &seasons,
                usual,
                |other| expected(picked, region, other).into_iter().filter(in_block).collect(),
                places,
            ) else {
                continue;
            };
            let mut at: Vec<(u32, u32)> = few.iter().map(|cut| cut.at).collect();
            at.sort_unstable();
            let Some((&first, rest)) = at.split_first() else { continue };
            outcome.warn(
                outcome.date_place(first),
                Code::SeasonStray,
                say!(
                    "{} before harvest {season} in block '{block}', where {usual} are usual, of trees that lack one before harvest {meant}, for which the block was pruned: a slip of the year?",
                    counted(at.len() as u64, text!("pruning"), text!("prunings"))
                ),
                say!(
                    "kept; compare the dates with the field book{}",
                    others(rest.iter(), outcome)
                ),
            );
        }
    }
    Ok(())
}

fn trees(cuts: &[&Visit]) -> BTreeSet<u32> {
    cuts.iter().map(|cut| cut.tree).collect()
}

/// Upper median over seasons of the number of trees pruned.
fn usual(seasons: &Seasons<'_>) -> usize {
    let mut counts: Vec<usize> = seasons.values().map(|cuts| trees(cuts).len()).collect();
    counts.sort_unstable();
    counts.get(counts.len() / 2).copied().unwrap_or_default()
}

/// Trees that would be pruned before a harvest: those picked in it, or, before the coming one, in the last.
pub(crate) fn expected(picked: &Trees, region: u32, season: i32) -> BTreeSet<u32> {
    let upto = picked.range((region, i32::MIN)..=(region, season)).next_back();
    upto.map(|(_, trees)| trees.clone()).unwrap_or_default()
}

/// The season, one slip of the year away, for which the block was pruned and all of these trees were not,
/// though hardly any other was left out; the likeliest of several.
fn meant(
    few: &[&Visit],
    seasons: &Seasons<'_>,
    usual: usize,
    expected: impl Fn(i32) -> BTreeSet<u32>,
    places: &Places,
) -> Option<i32> {
    let odd = trees(few);
    let chance = |season: i32, cuts: &[&Visit]| {
        let days = || cuts.iter().map(|cut| cut.day);
        let (first, last) = (days().min()?, days().max()?);
        // A file of another year holds what was done in that year, as a crew does that comes back for the
        // trees it left out.
        let files: BTreeSet<u32> = cuts.iter().map(|cut| cut.at.0).collect();
        let is_slip = few.iter().all(|cut| {
            let found = places.calendar(cut.region).zip(day(cut.day));
            files.contains(&cut.at.0)
                && found.is_some_and(|(calendar, day)| {
                    let year = year_for(calendar, day, season);
                    year.filter(|year| is_one_slip(day.year(), *year)).is_some_and(|year| {
                        let moved = cut.day + i32::from(year - day.year()) * YEAR;
                        (first - BESIDE..=last + BESIDE).contains(&moved)
                    })
                })
        });
        let (pruned, expected) = (trees(cuts), expected(season));
        if !is_slip
            || pruned.len() * 2 < usual
            || !odd.is_disjoint(&pruned)
            || !odd.is_subset(&expected)
        {
            return None;
        }
        let others = expected.difference(&odd).count();
        let left_out = expected.difference(&odd).filter(|tree| !pruned.contains(tree)).count();
        // Laplace's rule of succession: no block is so sure to be pruned whole that one tree proves a slip.
        let share = (left_out + 1) as f64 / (others + 2) as f64;
        let chance = share.powi(i32::try_from(odd.len()).unwrap_or(i32::MAX));
        (chance <= CHANCE).then_some((chance, season))
    };
    let likeliest = seasons.iter().filter_map(|(&season, cuts)| chance(season, cuts));
    likeliest.min_by(|one, other| one.0.total_cmp(&other.0)).map(|(_, season)| season)
}

/// Fewest other seasons of a place that tell how many visits are usual (this and the one below ours: conventions, of no
/// published source).
const OTHER_SEASONS: usize = 2;
/// How many times as many visits as in any other season make a season that holds those of two.
const OF_TWO: f64 = 1.5;

/// Fewest trees with a second visit in that season, more than in any other: those of both seasons.
const TWICE: usize = 5;

/// Tells places without a single visit before one harvest whose visits before the harvest of a year that is a slip
/// away are those of two seasons: a whole round under another year. The largest such place is told alone: a
/// region, a site or a block.
pub(crate) fn warn_of_rounds(
    cuts: &[Visit],
    picked: &Trees,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<BTreeSet<(u32, u32)>> {
    let (site_of, block_of) = (texts(&places.trees, ts::SITE)?, texts(&places.trees, ts::BLOCK)?);
    let place_of = |tree: u32, depth: usize| -> Option<[&str; 2]> {
        let site = site_of.get(tree as usize)?;
        match depth {
            0 => Some(["", ""]),
            1 => Some([site, ""]),
            _ => Some([site, block_of.get(tree as usize)?]),
        }
    };
    let mut told: BTreeSet<(u32, u32)> = BTreeSet::new();
    for depth in 0..3 {
        let mut of_places: BTreeMap<(u32, [&str; 2]), Seasons<'_>> = BTreeMap::new();
        for cut in cuts.iter().filter(|cut| !told.contains(&cut.at)) {
            if let Some(place) = place_of(cut.tree, depth) {
                let seasons = of_places.entry((cut.region, place)).or_default();
                seasons.entry(cut.season).or_default().push(cut);
            }
        }
        for ((region, place), seasons) in of_places {
            let is_picked = |season: i32| {
                let trees = picked.get(&(region, season));
                trees.is_some_and(|trees| {
                    let own = trees.iter().filter(|tree| place_of(**tree, depth) == Some(place));
                    own.count() >= USUAL_TREES
                })
            };
            let Some((lacking, double)) = of_two_seasons(&seasons, is_picked) else { continue };
            let Some(first) =
                seasons.get(&double).and_then(|own| own.iter().map(|cut| cut.at).min())
            else {
                continue;
            };
            told.extend(seasons.get(&double).into_iter().flatten().map(|cut| cut.at));
            let name = match (depth, place) {
                (0, _) => say!("region '{}'", places.region_id(region)),
                (1, [site, _]) => say!("site '{site}'"),
                (_, [_, block]) => say!("block '{block}'"),
            };
            outcome.warn(
                Place { line: None, ..outcome.place(first) },
                Code::SeasonStray,
                say!(
                    "{name}: no pruning before harvest {lacking}, and as many before harvest {double} as in two seasons: a round under the year of another?"
                ),
                text!("kept; compare the years with the field book: as they stand, trees of the one season count as unpruned and those of the other as pruned twice"),
            );
        }
    }
    Ok(told)
}

/// The season that lacks all visits, and the one that holds those of two.
fn of_two_seasons(seasons: &Seasons<'_>, is_picked: impl Fn(i32) -> bool) -> Option<(i32, i32)> {
    let (&double, most) = seasons.iter().max_by_key(|(_, cuts)| cuts.len())?;
    let others: Vec<usize> =
        seasons.iter().filter(|(other, _)| **other != double).map(|(_, own)| own.len()).collect();
    let usual = *others.iter().max()?;
    let is_known =
        others.len() >= OTHER_SEASONS && others.iter().all(|visits| *visits >= USUAL_TREES);
    if !is_known || (most.len() as f64) < OF_TWO * usual as f64 {
        return None;
    }
    // Twice the work in one season is no slip, where every tree was visited once.
    let twice = |cuts: &[&Visit]| cuts.len() - trees(cuts).len();
    let of_others = seasons.iter().filter(|(other, _)| **other != double);
    let usual_twice = of_others.map(|(_, own)| twice(own)).max()?;
    if twice(most) < TWICE.max(2 * usual_twice) {
        return None;
    }
    let (first, last) = (*seasons.keys().next()?, *seasons.keys().next_back()?);
    // Before the first and after the last of its own, the neighbour of the double season may be the one.
    let mut lacking = (first.min(double - 1)..=last.max(double + 1))
        .filter(|season| !seasons.contains_key(season) && is_picked(*season));
    let lacking = (lacking.next(), lacking.next());
    match lacking {
        (Some(season), None) if (season - double).abs() == 1 => Some((season, double)),
        _ => None,
    }
}
