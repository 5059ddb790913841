//! What linking found: rows by fate, and what each region has to learn from.

use crate::assemble::Parts;
use crate::frame::{REGION_NO, TREE_NO, flags, floats, indices, ints, texts};
use crate::laterals::FRAMES;
use crate::outcome::{Outcome, TableLinks};
use crate::picks::{MoistureConversion, Yields};
use crate::places::Places;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Table};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Counts of a linked book.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LinkSummary {
    /// Fate of the rows of each table, in reading order.
    pub tables: Vec<TableLinks>,
    /// Regions with tree-seasons, by id.
    pub regions: Vec<RegionSummary>,
    /// Picks without a moisture, taken at the book's default moisture.
    pub picks_at_default_moisture: u64,
    /// Picks without a moisture in a book without a default, taken as weighed at reference moisture.
    pub picks_at_reference_moisture: u64,
    /// Picks brought to the reference moisture; `None` where all were weighed at it.
    pub moisture: Option<MoistureConversion>,
}

/// Counts of one region.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct RegionSummary {
    /// Region id.
    pub region: String,
    /// Sites with tree-seasons.
    pub sites: u64,
    /// Blocks with tree-seasons.
    pub blocks: u64,
    /// Trees with tree-seasons.
    pub trees: u64,
    /// Tree-seasons.
    pub tree_seasons: u64,
    /// Trees at or over the training age in at least one season, or of unknown age.
    pub mature_trees: u64,
    /// Seasons with tree-seasons, ascending.
    pub seasons: Vec<i32>,
    /// Season to advise for: the one set in `book.toml`, else the one after the last recorded.
    pub next_season: i32,
    /// Tree-seasons with a cut.
    pub pruned: u64,
    /// Tree-seasons of trees in a trial.
    pub trial: u64,
    /// Tree-seasons under the training age.
    pub young: u64,
    /// Picks behind the tree-seasons.
    pub picks: u64,
    /// Pruning visits behind them.
    pub prunings: u64,
    /// Least and greatest intensity of tree-seasons not young, fraction.
    pub intensity: Option<[f64; 2]>,
    /// Least and greatest lead of pruned tree-seasons not young, days.
    pub lead_days: Option<[f64; 2]>,
    /// Pruned tree-seasons by basis.
    pub bases: BTreeMap<String, u64>,
    /// Tree-seasons without a pick although the block was picked and the tree in other seasons.
    pub without_a_pick: u64,
}

impl LinkSummary {
    /// Counts the linked table and the rows that are not in it.
    pub(crate) fn of(
        parts: &Parts<'_>,
        linked: &DataFrame,
        kept: &BTreeMap<Table, u64>,
        yields: &Yields,
        places: &Places,
        book: &Book,
        outcome: &Outcome,
    ) -> PolarsResult<Self> {
        let mut tables = Vec::new();
        for (&table, &kept) in kept {
            tables.push(outcome.links(table, kept, linked_rows(table, parts, linked, places)?));
        }
        let missing: BTreeMap<u32, u64> =
            crate::assemble::without_a_pick(parts.yields, places)?.into_iter().collect();
        Ok(Self {
            tables,
            regions: regions(linked, places, book, &missing)?,
            picks_at_default_moisture: yields.at_default_moisture,
            picks_at_reference_moisture: yields.at_reference_moisture,
            moisture: yields.converted,
        })
    }
}

/// Rows of a table behind the linked table, counted from the linked table itself so that the
/// conservation check compares two independent counts.
fn linked_rows(
    table: Table,
    parts: &Parts<'_>,
    linked: &DataFrame,
    places: &Places,
) -> PolarsResult<u64> {
    let total = |column: &str| -> PolarsResult<u64> {
        Ok(ints(linked, column)?.iter().flatten().map(|n| u64::from(n.unsigned_abs())).sum())
    };
    Ok(match table {
        Table::Blocks => places.blocks,
        Table::Trees => trees(linked)?.len() as u64,
        Table::Harvests => total(ts::PICKS)?,
        Table::Prunings => total(ts::PRUNINGS)?,
        Table::Laterals => total(FRAMES)?,
        Table::Trials => match parts.plots {
            Some(plots) => {
                let linked = trees(linked)?;
                let plots = indices(plots, TREE_NO)?.iter().flatten();
                plots.filter(|tree| linked.binary_search(tree).is_ok()).count() as u64
            }
            None => 0,
        },
    })
}

/// Trees of the linked table, which is sorted by them.
fn trees(linked: &DataFrame) -> PolarsResult<Vec<u32>> {
    let mut trees: Vec<u32> = indices(linked, TREE_NO)?.iter().flatten().collect();
    trees.dedup();
    Ok(trees)
}

fn regions(
    linked: &DataFrame,
    places: &Places,
    book: &Book,
    missing: &BTreeMap<u32, u64>,
) -> PolarsResult<Vec<RegionSummary>> {
    let rows = Rows::of(linked)?;
    let mut found: BTreeMap<u32, Growing<'_>> = BTreeMap::new();
    for row in 0..linked.height() {
        let Some(region) = rows.region.get(row) else { continue };
        found.entry(region).or_default().add(&rows, row);
    }
    Ok(found
        .into_iter()
        .map(|(region, growing)| {
            let without_a_pick = missing.get(&region).copied().unwrap_or(0);
            growing.finish(places.region_id(region), book.options.season, without_a_pick)
        })
        .collect())
}

/// The columns the counts are taken from.
struct Rows<'a> {
    region: &'a UInt32Chunked,
    tree: &'a UInt32Chunked,
    site: &'a StringChunked,
    block: &'a StringChunked,
    season: &'a Int32Chunked,
    picks: &'a Int32Chunked,
    prunings: &'a Int32Chunked,
    intensity: &'a Float64Chunked,
    lead: &'a Float64Chunked,
    basis: &'a StringChunked,
    trial: &'a StringChunked,
    young: &'a BooleanChunked,
}

impl<'a> Rows<'a> {
    fn of(linked: &'a DataFrame) -> PolarsResult<Self> {
        Ok(Self {
            region: indices(linked, REGION_NO)?,
            tree: indices(linked, TREE_NO)?,
            site: texts(linked, ts::SITE)?,
            block: texts(linked, ts::BLOCK)?,
            season: ints(linked, ts::SEASON)?,
            picks: ints(linked, ts::PICKS)?,
            prunings: ints(linked, ts::PRUNINGS)?,
            intensity: floats(linked, ts::INTENSITY)?,
            lead: floats(linked, ts::LEAD_DAYS)?,
            basis: texts(linked, ts::BASIS)?,
            trial: texts(linked, ts::TRIAL)?,
            young: flags(linked, ts::YOUNG)?,
        })
    }
}

/// Counts of a region while its rows, sorted by site, block and tree, go by.
#[derive(Default)]
struct Growing<'a> {
    counts: RegionSummary,
    site: Option<&'a str>,
    block: Option<&'a str>,
    tree: Option<u32>,
    mature_tree: Option<u32>,
    seasons: BTreeSet<i32>,
    bases: BTreeMap<&'a str, u64>,
}

impl<'a> Growing<'a> {
    fn add(&mut self, rows: &Rows<'a>, row: usize) {
        let counts = &mut self.counts;
        let (site, block, tree) = (rows.site.get(row), rows.block.get(row), rows.tree.get(row));
        counts.sites += u64::from(site != self.site);
        counts.blocks += u64::from(site != self.site || block != self.block);
        counts.trees += u64::from(tree != self.tree);
        (self.site, self.block, self.tree) = (site, block, tree);
        self.seasons.extend(rows.season.get(row));
        counts.tree_seasons += 1;
        counts.trial += u64::from(rows.trial.get(row).is_some());
        counts.picks += u64::from(rows.picks.get(row).unwrap_or(0).unsigned_abs());
        counts.prunings += u64::from(rows.prunings.get(row).unwrap_or(0).unsigned_abs());
        let intensity = rows.intensity.get(row).unwrap_or(0.0);
        if intensity > 0.0 {
            counts.pruned += 1;
            *self.bases.entry(rows.basis.get(row).unwrap_or("")).or_default() += 1;
        }
        if rows.young.get(row) == Some(true) {
            counts.young += 1;
            return;
        }
        counts.mature_trees += u64::from(tree != self.mature_tree);
        self.mature_tree = tree;
        widen(&mut counts.intensity, intensity);
        if let Some(lead) = rows.lead.get(row) {
            widen(&mut counts.lead_days, lead);
        }
    }

    fn finish(self, region: &str, season: Option<i16>, without_a_pick: u64) -> RegionSummary {
        let last = self.seasons.last().copied().unwrap_or(0);
        RegionSummary {
            region: region.to_owned(),
            seasons: self.seasons.into_iter().collect(),
            next_season: season.map_or(last + 1, i32::from),
            bases: self.bases.into_iter().map(|(basis, n)| (basis.to_owned(), n)).collect(),
            without_a_pick,
            ..self.counts
        }
    }
}

fn widen(range: &mut Option<[f64; 2]>, value: f64) {
    let [low, high] = range.unwrap_or([value, value]);
    *range = Some([low.min(value), high.max(value)]);
}
