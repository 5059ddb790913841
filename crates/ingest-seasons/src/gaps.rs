//! What a site or a block has in every season but one: prunings that nobody entered, picks whose file is missing, a
//! round more or less. Its trees would count as unpruned, or as bearing less or more. Blocks that are left unpruned
//! for a season are nothing odd where many are so, each in its season.

mod rounds;

use self::rounds::Picked;
use crate::frame::{ROUNDS, flags, floats, ints, texts};
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
/// Least share of a block's trees that is pruned before every other harvest: a block left for a season is nothing odd
/// where some of its trees are left in any. Half of the trees before three others or more tell as much where half of
/// every other block's were pruned in that season too.
const PRUNED_OF_BLOCK: f64 = 0.9;
/// Most of a region's blocks that are told as lacking the prunings of a season, or one of three or more: more are a
/// practice.
const FEW_BLOCKS: f64 = 0.25;
/// Fewest blocks of a region of which one may lack the prunings of a season without being a practice.
const BLOCKS: usize = 3;
/// Most blocks that are named.
const NAMED: usize = 6;

/// Routine tree-seasons past the training age of one site in one season, and those of them that were pruned.
#[derive(Default)]
struct Pruned {
    grown: usize,
    pruned: usize,
}

impl Pruned {
    fn share(&self) -> Option<f64> {
        (self.grown >= TREES).then(|| self.pruned as f64 / self.grown as f64)
    }
}

/// Tells sites that lack prunings before one harvest, and blocks that lack a round of picks in one season, which
/// they have in every other, and trees that lack half of the picks; not the seasons that are `thin` in the whole region, which are told as such. Trees and seasons of `missed` are told by themselves.
pub(crate) fn warn(
    linked: &DataFrame,
    thin: &BTreeSet<(String, i32)>,
    missed: &BTreeSet<(u32, i32)>,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let blocks = texts(linked, ts::SITE)?.iter().zip(texts(linked, ts::BLOCK)?.iter());
    let places = texts(linked, ts::REGION)?.iter().zip(blocks);
    let seasons = ints(linked, ts::SEASON)?.iter().zip(ints(linked, ROUNDS)?.iter());
    let kinds = texts(linked, ts::TRIAL)?.iter().zip(flags(linked, ts::YOUNG)?.iter());
    let rows = places.zip(seasons).zip(kinds).zip(floats(linked, ts::INTENSITY)?.iter());
    let mut pruned: BTreeMap<(&str, &str), BTreeMap<i32, Pruned>> = BTreeMap::new();
    let mut pruned_blocks: BTreeMap<(&str, &str), BTreeMap<i32, Pruned>> = BTreeMap::new();
    let mut picked: BTreeMap<(&str, &str), BTreeMap<i32, Picked>> = BTreeMap::new();
    let mut harvested: BTreeMap<&str, BTreeMap<&str, BTreeSet<i32>>> = BTreeMap::new();
    for ((((region, (site, block)), (season, picks)), (trial, young)), intensity) in rows {
        let (Some(region), Some(season)) = (region, season) else { continue };
        if let Some(block) = block {
            let own = picked.entry((region, block)).or_default().entry(season).or_default();
            own.extend(picks);
        }
        if let Some(site) = site {
            harvested.entry(region).or_default().entry(site).or_default().insert(season);
        }
        if trial.is_none() && young != Some(true) {
            let cut = usize::from(intensity.is_some_and(|cut| cut > 0.0));
            for (places, name) in [(&mut pruned, site), (&mut pruned_blocks, block)] {
                let Some(name) = name else { continue };
                let own = places.entry((region, name)).or_default().entry(season).or_default();
                own.grown += 1;
                own.pruned += cut;
            }
        }
    }
    tell_unharvested(&harvested, thin, outcome);
    tell_unpruned_blocks(&pruned_blocks, &pruned, outcome);
    for ((region, site), seasons) in pruned {
        let Some((season, trees)) = never_else(&seasons, PRUNED) else { continue };
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
    rounds::tell(picked, thin, outcome);
    rounds::tell_trees(linked, missed, outcome)
}

/// Sites without any harvest in a season that others of their region have, and they themselves before and in
/// two others; not in the first seasons of a site, nor in those that are thin.
fn tell_unharvested(
    harvested: &BTreeMap<&str, BTreeMap<&str, BTreeSet<i32>>>,
    thin: &BTreeSet<(String, i32)>,
    outcome: &mut Outcome,
) {
    for (region, sites) in harvested {
        let all: BTreeSet<i32> = sites.values().flatten().copied().collect();
        for (site, own) in sites.iter().filter(|(_, own)| own.len() >= OTHER_SEASONS) {
            let Some(first) = own.first() else { continue };
            let lacking = all.iter().filter(|season| *season > first && !own.contains(season));
            let lacking: Vec<String> = lacking
                .filter(|season| !thin.contains(&((*region).to_owned(), **season)))
                .map(ToString::to_string)
                .collect();
            if lacking.is_empty() {
                continue;
            }
            outcome.warn(
                Place::file(Table::Harvests.as_str()),
                Code::SeasonThin,
                say!(
                    "region '{region}': no harvest of {} at '{site}', which the region's other sites have",
                    lacking.join(", ")
                ),
                text!("add the picks if their file is missing or under another year; nothing to do if nothing was picked or recorded there"),
            );
        }
    }
}

/// Blocks without a pruning before one harvest that were pruned before every other, where few of the region's are so
/// and their site is not told as a whole.
fn tell_unpruned_blocks(
    blocks: &BTreeMap<(&str, &str), BTreeMap<i32, Pruned>>,
    sites: &BTreeMap<(&str, &str), BTreeMap<i32, Pruned>>,
    outcome: &mut Outcome,
) {
    let mut found: BTreeMap<&str, Vec<(&str, i32, usize)>> = BTreeMap::new();
    let mut all: BTreeMap<&str, usize> = BTreeMap::new();
    for ((region, block), seasons) in blocks {
        *all.entry(region).or_default() += 1;
        let of_all = never_else(seasons, PRUNED_OF_BLOCK);
        let of_half = never_else(seasons, PRUNED).filter(|(season, _)| {
            let others = blocks.iter().filter(|((own, other), _)| own == region && other != block);
            let shares: Vec<f64> = others.filter_map(|(_, own)| own.get(season)?.share()).collect();
            let are_pruned = shares.iter().all(|share| *share >= PRUNED);
            seasons.len() > OTHER_SEASONS + 1 && shares.len() + 1 >= BLOCKS && are_pruned
        });
        if let Some((season, trees)) = of_all.or(of_half) {
            found.entry(region).or_default().push((block, season, trees));
        }
    }
    for (region, lacking) in found {
        let of_sites: BTreeSet<i32> = sites
            .iter()
            .filter(|((own, _), _)| *own == region)
            .filter_map(|(_, seasons)| Some(never_else(seasons, PRUNED)?.0))
            .collect();
        let all = all.get(region).copied().unwrap_or_default();
        let is_lone = lacking.len() == 1 && all >= BLOCKS;
        if !is_lone && lacking.len() as f64 > FEW_BLOCKS * all as f64 {
            continue;
        }
        let mut by_season: BTreeMap<i32, Vec<(&str, usize)>> = BTreeMap::new();
        for (block, season, trees) in lacking {
            if !of_sites.contains(&season) {
                by_season.entry(season).or_default().push((block, trees));
            }
        }
        for (season, lacking) in by_season {
            let names: Vec<&str> = lacking.iter().map(|(block, _)| *block).collect();
            let trees: usize = lacking.iter().map(|(_, trees)| trees).sum();
            outcome.warn(
                Place::file(Table::Prunings.as_str()),
                Code::PruningsAbsent,
                say!(
                    "region '{region}': no pruning before harvest {season} in {} ({}), where half of the trees or more were pruned before every other harvest; {} count as unpruned",
                    counted(names.len() as u64, text!("block"), text!("blocks")),
                    named(&names),
                    counted(trees as u64, text!("tree"), text!("trees"))
                ),
                text!("add the prunings if they were not entered yet; nothing to do where the trees were left unpruned"),
            );
        }
    }
}

fn named(blocks: &[&str]) -> String {
    let more = if blocks.len() > NAMED { ", .." } else { "" };
    let named: Vec<&str> = blocks.iter().take(NAMED).copied().collect();
    format!("{}{more}", named.join(", "))
}

/// The one season in which none of a place's trees was pruned, where `usual` is the least share of every other, and how
/// many they are.
fn never_else(seasons: &BTreeMap<i32, Pruned>, usual: f64) -> Option<(i32, usize)> {
    let shares: Vec<(i32, f64)> =
        seasons.iter().filter_map(|(season, own)| Some((*season, own.share()?))).collect();
    let (none, some): (Vec<_>, Vec<_>) = shares.iter().partition(|(_, share)| *share == 0.0);
    let &[(season, _)] = none.as_slice() else { return None };
    // Of three seasons one between may be its turn to rest.
    let is_between = some.first().is_some_and(|(first, _)| *first < season)
        && some.last().is_some_and(|(last, _)| *last > season);
    let is_known = some.len() > OTHER_SEASONS || some.len() == OTHER_SEASONS && !is_between;
    let is_usual = is_known && some.iter().all(|(_, share)| *share >= usual);
    seasons.get(&season).filter(|_| is_usual).map(|own| (season, own.grown))
}
