//! What a site or a block has in every season but one: prunings that nobody entered, a round of picks whose file is
//! missing. Its trees would count as unpruned, or as bearing less. Prunings are asked for by site, as a block that
//! is left unpruned for a season is nothing odd.

use crate::frame::{flags, floats, ints, texts};
use crate::outcome::Outcome;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use records::{Code, Place, Table, counted};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Fewest other seasons that tell what a site or a block usually has (this and those below ours: conventions, of no
/// published source).
const OTHER_SEASONS: usize = 2;
/// Fewest tree-seasons in a season that tell what it has.
const TREES: usize = 5;
/// Least share of a site's trees that is pruned before every other harvest.
const PRUNED: f64 = 0.5;
/// Least share of a block's trees that have as many picks as the one in the middle in every other season, and
/// that have fewer in the one.
const ALIKE: f64 = 0.8;
/// Most blocks that are named.
const NAMED: usize = 6;

/// Routine tree-seasons past the training age of one site in one season, and those of them that were pruned.
#[derive(Default)]
struct Pruned {
    grown: usize,
    pruned: usize,
}

/// Picks of each tree of one block in one season.
#[derive(Default)]
struct Picked {
    picks: Vec<i32>,
}

impl Picked {
    /// Upper median of the picks of a tree, which must be sorted.
    fn middle(&self) -> i32 {
        self.picks.get(self.picks.len() / 2).copied().unwrap_or_default()
    }
}

impl Pruned {
    fn share(&self) -> Option<f64> {
        (self.grown >= TREES).then(|| self.pruned as f64 / self.grown as f64)
    }
}

/// A block, and the picks in the middle of a tree in the season that lacks some and in every other.
type Short<'a> = (&'a str, [i32; 2]);

/// Tells sites that lack prunings before one harvest, and blocks that lack a round of picks in one season, which
/// they have in every other; not the seasons that are `thin` in the whole region, which are told as such.
pub(crate) fn warn(
    linked: &DataFrame,
    thin: &BTreeSet<(String, i32)>,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let blocks = texts(linked, ts::SITE)?.iter().zip(texts(linked, ts::BLOCK)?.iter());
    let places = texts(linked, ts::REGION)?.iter().zip(blocks);
    let seasons = ints(linked, ts::SEASON)?.iter().zip(ints(linked, ts::PICKS)?.iter());
    let kinds = texts(linked, ts::TRIAL)?.iter().zip(flags(linked, ts::YOUNG)?.iter());
    let rows = places.zip(seasons).zip(kinds).zip(floats(linked, ts::INTENSITY)?.iter());
    let mut pruned: BTreeMap<(&str, &str), BTreeMap<i32, Pruned>> = BTreeMap::new();
    let mut picked: BTreeMap<(&str, &str), BTreeMap<i32, Picked>> = BTreeMap::new();
    for ((((region, (site, block)), (season, picks)), (trial, young)), intensity) in rows {
        let (Some(region), Some(season)) = (region, season) else { continue };
        if let Some(block) = block {
            let own = picked.entry((region, block)).or_default().entry(season).or_default();
            own.picks.extend(picks);
        }
        if let (Some(site), None, true) = (site, trial, young != Some(true)) {
            let own = pruned.entry((region, site)).or_default().entry(season).or_default();
            own.grown += 1;
            own.pruned += usize::from(intensity.is_some_and(|cut| cut > 0.0));
        }
    }
    for ((region, site), seasons) in pruned {
        let Some((season, trees)) = never_else(&seasons) else { continue };
        outcome.warn(
            Place::file(Table::Prunings.as_str()),
            Code::PruningsAbsent,
            say!(
                "region '{region}': no pruning before harvest {season} at '{site}', where half of the trees or more were pruned before every other harvest; {} count as unpruned",
                counted(trees as u64, text!("tree"), text!("trees"))
            ),
            text!("add the prunings if they were not entered yet; nothing to do where the trees were left unpruned"),
        );
    }
    let mut short: BTreeMap<(&str, i32), Vec<Short<'_>>> = BTreeMap::new();
    for ((region, block), mut seasons) in picked {
        seasons.values_mut().for_each(|own| own.picks.sort_unstable());
        let gap = fewer_once(&seasons);
        let gap = gap.filter(|(season, _)| !thin.contains(&(region.to_owned(), *season)));
        if let Some((season, middles)) = gap {
            short.entry((region, season)).or_default().push((block, middles));
        }
    }
    for ((region, season), blocks) in short {
        let Some(&(_, [own, usual])) = blocks.first() else { continue };
        let names: Vec<&str> = blocks.iter().map(|(block, _)| *block).collect();
        outcome.warn(
            Place::file(Table::Harvests.as_str()),
            Code::SeasonThin,
            say!(
                "region '{region}': in {} ({}) a tree of season {season} has {} in the middle, where {usual} stand in every other season; it counts as a whole harvest all the same",
                counted(names.len() as u64, text!("block"), text!("blocks")),
                named(&names),
                counted(u64::from(own.unsigned_abs()), text!("pick"), text!("picks")),
            ),
            text!("add the picks if a file or a round is missing; nothing to do if a round less was picked"),
        );
    }
    Ok(())
}

fn named(blocks: &[&str]) -> String {
    let more = if blocks.len() > NAMED { ", .." } else { "" };
    let named: Vec<&str> = blocks.iter().take(NAMED).copied().collect();
    format!("{}{more}", named.join(", "))
}

/// The one season in which none of a site's trees was pruned, and how many they are.
fn never_else(seasons: &BTreeMap<i32, Pruned>) -> Option<(i32, usize)> {
    let shares: Vec<(i32, f64)> =
        seasons.iter().filter_map(|(season, own)| Some((*season, own.share()?))).collect();
    let (none, some): (Vec<_>, Vec<_>) = shares.iter().partition(|(_, share)| *share == 0.0);
    let &[(season, _)] = none.as_slice() else { return None };
    // Of three seasons one between may be its turn to rest.
    let is_between = some.first().is_some_and(|(first, _)| *first < season)
        && some.last().is_some_and(|(last, _)| *last > season);
    let is_known = some.len() > OTHER_SEASONS || some.len() == OTHER_SEASONS && !is_between;
    let is_usual = is_known && some.iter().all(|(_, share)| *share >= PRUNED);
    seasons.get(&season).filter(|_| is_usual).map(|own| (season, own.grown))
}

/// The one season in which trees have fewer picks than in every other, in which nearly all have as many each;
/// the picks in the middle of both.
fn fewer_once(seasons: &BTreeMap<i32, Picked>) -> Option<(i32, [i32; 2])> {
    let known = || seasons.iter().filter(|(_, own)| own.picks.len() >= TREES);
    let usual = known().map(|(_, own)| own.middle()).max()?;
    let (mut as_usual, mut fewer) = (0, Vec::new());
    for (season, own) in known() {
        let share = |is: &dyn Fn(i32) -> bool| {
            own.picks.iter().filter(|picks| is(**picks)).count() as f64 / own.picks.len() as f64
        };
        if share(&|picks| picks == usual) >= ALIKE {
            as_usual += 1;
        } else if share(&|picks| picks < usual) >= ALIKE {
            fewer.push((*season, own.middle()));
        } else {
            return None;
        }
    }
    let &[(season, own)] = fewer.as_slice() else { return None };
    (as_usual >= OTHER_SEASONS).then_some((season, [own, usual]))
}
