//! What the tree table lists and can hardly be: trees of great age, and two trees at one place.

use crate::frame::{PLANTED, REGION_NO, indices, ints, stands, texts};
use crate::holdings::is_gone;
use crate::misdated::others;
use crate::outcome::Outcome;
use crate::places::Places;
use crate::seasons::day;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use records::{Code, counted};
use std::collections::BTreeMap;
use words::{say, text};

/// Years from planting to the first harvest recorded from which a planting date is no cashew's that is picked
/// tree by tree: such trees bear for some thirty to fifty years.
const OLDEST: i32 = 100;
/// Share of the trees with a place that share one from which places are not numbered one by one.
const NUMBERED_OTHERWISE: f64 = 0.05;

/// By block, row and position: the trees that stand there, each with its place in the files.
type Held<'a> = BTreeMap<(&'a str, i64, i64), Vec<((u32, u32), &'a str)>>;

/// Tells trees of great age, all at once, and each tree at the place of another; `trees` hold one row for each tree.
pub(crate) fn warn(
    trees: &DataFrame,
    yields: &DataFrame,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    warn_of_age(trees, yields, places, outcome)?;
    warn_of_shared_places(trees, outcome)
}

fn warn_of_age(
    trees: &DataFrame,
    yields: &DataFrame,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let mut first_season: BTreeMap<u32, i32> = BTreeMap::new();
    let regions = indices(yields, REGION_NO)?.iter();
    for (region, season) in regions.zip(ints(yields, ts::SEASON)?.iter()) {
        if let (Some(region), Some(season)) = (region, season) {
            let first = first_season.entry(region).or_insert(season);
            *first = season.min(*first);
        }
    }
    let names = texts(&places.trees, ts::TREE)?.iter();
    let planted = ints(&places.trees, PLANTED)?.iter();
    let old = names.zip(planted).zip(indices(&places.trees, REGION_NO)?.iter());
    let old: BTreeMap<&str, i32> = old
        .filter_map(|((tree, planted), region)| {
            let (planted, first) = (planted?, first_season.get(&region?)?);
            let is_old = i32::from(day(planted)?.year()) < first - OLDEST;
            is_old.then_some((tree?, planted))
        })
        .collect();
    let rows = texts(trees, ts::TREE)?.iter().zip(stands(trees)?);
    let mut rows: Vec<((u32, u32), i32)> =
        rows.filter_map(|(tree, at)| Some((at, *old.get(tree?)?))).collect();
    rows.sort_unstable();
    let Some((&(first, planted), rest)) = rows.split_first() else { return Ok(()) };
    let year = day(planted).map_or(0, |day| i32::from(day.year()));
    outcome.warn(
        outcome.place(first),
        Code::RangeUnusual,
        say!(
            "{} planted more than {OLDEST} years before the first harvest recorded, here first, in {year}",
            counted(rows.len() as u64, text!("tree"), text!("trees"))
        ),
        say!(
            "kept, and its age counts; correct the year of planting of the tree or its block, or leave it empty where nobody knows it{}",
            others(rest.iter().map(|(at, _)| at), outcome)
        ),
    );
    Ok(())
}

fn warn_of_shared_places(trees: &DataFrame, outcome: &mut Outcome) -> PolarsResult<()> {
    let (rows, columns) = (trees.column("row")?.i64()?, trees.column("column")?.i64()?);
    let of_trees = texts(trees, ts::TREE)?.iter().zip(texts(trees, ts::BLOCK)?.iter());
    let of_trees = of_trees.zip(texts(trees, "status")?.iter()).zip(stands(trees)?);
    let mut held: Held<'_> = BTreeMap::new();
    for ((((tree, block), status), at), (row, column)) in
        of_trees.zip(rows.iter().zip(columns.iter()))
    {
        // Where one is gone another may have been planted.
        if let (Some(tree), Some(block), Some(row), Some(column)) = (tree, block, row, column)
            && !status.is_some_and(is_gone)
        {
            held.entry((block, row, column)).or_default().push((at, tree));
        }
    }
    let all: usize = held.values().map(Vec::len).sum();
    let mut shared: Vec<((u32, u32), String)> = Vec::new();
    for ((block, row, column), mut trees) in held {
        trees.sort_unstable();
        let Some((&(_, first), more)) = trees.split_first() else { continue };
        shared.extend(more.iter().map(|&(at, tree)| {
            let told = say!(
                "tree '{tree}' stands at row {row}, position {column} of block '{block}', as tree '{first}' does"
            );
            (at, told)
        }));
    }
    if shared.is_empty() || shared.len() as f64 > NUMBERED_OTHERWISE * all as f64 {
        return Ok(());
    }
    shared.sort_unstable();
    for (at, told) in shared {
        outcome.warn(
            outcome.place(at),
            Code::RowDuplicate,
            told,
            text!(
                "kept as two trees; correct the row or the position, or say by status that one is gone"
            ),
        );
    }
    Ok(())
}
