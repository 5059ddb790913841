//! Trees that bore and have nothing but zeros since: dead ones, most likely, whose cells were filled; and picks of trees
//! that are gone by the tree table and were not picked before: a neighbour's, most likely.

use crate::frame::{floats, ints, texts};
use crate::holdings::is_gone;
use crate::outcome::Outcome;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use records::{Code, Place, Table, counted};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Fewest last seasons with 0 kg (ours: a convention, of no published source; one is the lean year of a living tree).
const SEASONS: usize = 2;
/// Most trees that are named.
const NAMED: usize = 6;

/// Tells them by region; of a tree that is gone by the tree table one season is enough.
pub(crate) fn warn(
    linked: &DataFrame,
    trees: &DataFrame,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let status = texts(trees, ts::TREE)?.iter().zip(texts(trees, "status")?.iter());
    let gone: BTreeSet<&str> =
        status.filter_map(|(tree, status)| tree.filter(|_| status.is_some_and(is_gone))).collect();
    let trees = texts(linked, ts::REGION)?.iter().zip(texts(linked, ts::TREE)?.iter());
    let yields = ints(linked, ts::SEASON)?.iter().zip(floats(linked, ts::YIELD_KG)?.iter());
    let mut regions: BTreeMap<&str, Trees<'_>> = BTreeMap::new();
    for row in trees.zip(yields) {
        let ((Some(region), Some(tree)), (Some(season), Some(kg))) = row else { continue };
        *regions.entry(region).or_default().entry(tree).or_default().entry(season).or_default() +=
            kg;
    }
    for (region, trees) in regions {
        warn_of_picks_of_gone(region, &trees, &gone, outcome);
        let is_bare = |tree: &str, seasons: &BTreeMap<i32, f64>| {
            let zeros = seasons.values().rev().take_while(|kg| **kg == 0.0).count();
            let least = if gone.contains(tree) { 1 } else { SEASONS };
            (least..seasons.len()).contains(&zeros)
        };
        let bare: Vec<&str> =
            trees.iter().filter(|(tree, own)| is_bare(tree, own)).map(|(tree, _)| *tree).collect();
        if bare.is_empty() {
            continue;
        }
        let more = if bare.len() > NAMED { ", .." } else { "" };
        let named: Vec<&str> = bare.iter().take(NAMED).copied().collect();
        outcome.warn(
            Place::file(Table::Harvests.as_str()),
            Code::TreeBearsNoMore,
            say!(
                "region '{region}': {} with 0 kg in the last seasons and some before: {}{more}",
                counted(bare.len() as u64, text!("tree"), text!("trees")),
                named.join(", ")
            ),
            text!("where a tree is dead, take its picks out from then on (no row, or an empty cell that values = { nut_kg = { \"\" = \"\" } } under its file calls no pick) and write status = dead in the tree table; else its zeros pass for what leaving a tree unpruned costs"),
        );
    }
    Ok(())
}

/// Kilograms of each tree by season.
type Trees<'a> = BTreeMap<&'a str, BTreeMap<i32, f64>>;

/// Tells trees that are gone by the tree table, lack a season of their region and bear in the one after it.
fn warn_of_picks_of_gone(
    region: &str,
    trees: &Trees<'_>,
    gone: &BTreeSet<&str>,
    outcome: &mut Outcome,
) {
    let mut picked: BTreeMap<i32, usize> = BTreeMap::new();
    for season in trees.values().flat_map(BTreeMap::keys) {
        *picked.entry(*season).or_default() += 1;
    }
    // Not a season in which much of the region was not picked.
    let is_full = |season: &i32| 2 * picked.get(season).copied().unwrap_or_default() > trees.len();
    let after_a_gap = |own: &BTreeMap<i32, f64>| {
        let mut last = own.iter().rev();
        let ((&latest, kg), (&before, _)) = (last.next()?, last.next()?);
        let gap = (before + 1..latest).any(|season| is_full(&season));
        (gap && *kg > 0.0).then_some(latest)
    };
    let odd: Vec<String> = gone
        .iter()
        .filter_map(|tree| Some((tree, after_a_gap(trees.get(tree)?)?)))
        .map(|(tree, season)| format!("{tree} ({season})"))
        .collect();
    if odd.is_empty() {
        return;
    }
    let more = if odd.len() > NAMED { ", .." } else { "" };
    let named: Vec<&str> = odd.iter().take(NAMED).map(String::as_str).collect();
    outcome.warn(
        Place::file(Table::Harvests.as_str()),
        Code::TreeBearsNoMore,
        say!(
            "region '{region}': {} gone by the tree table with picks after a season without any: {}{more}",
            counted(odd.len() as u64, text!("tree"), text!("trees")),
            named.join(", ")
        ),
        text!("kept; compare the ids with the field book: the picks may be a neighbour's"),
    );
}
