//! Trees that bore and have nothing but zeros since: dead ones, most likely, whose cells were filled.

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
    let mut regions: BTreeMap<&str, BTreeMap<&str, BTreeMap<i32, f64>>> = BTreeMap::new();
    for row in trees.zip(yields) {
        let ((Some(region), Some(tree)), (Some(season), Some(kg))) = row else { continue };
        *regions.entry(region).or_default().entry(tree).or_default().entry(season).or_default() +=
            kg;
    }
    for (region, trees) in regions {
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
