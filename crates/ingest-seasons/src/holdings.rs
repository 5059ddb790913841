//! Blocks, their trees and every pruning visit as recorded, for the plan of work.

use crate::differing::Differing;
use crate::frame::{stands, texts};
use crate::outcome::Outcome;
use crate::seasons::day;
use ingest_tables::{BookTables, IngestError};
use jiff::civil::Date;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Code, Table};
use std::cmp::Ordering;
use std::collections::BTreeMap;
use words::say;

/// Words of the tree table's `status` for a tree that is no longer there, in English, Portuguese, French
/// and Spanish.
const GONE: [&str; 34] = [
    "dead",
    "removed",
    "felled",
    "missing",
    "gone",
    "cut down",
    "uprooted",
    "morta",
    "morto",
    "removida",
    "removido",
    "derrubada",
    "derrubado",
    "arrancada",
    "arrancado",
    "faltante",
    "ausente",
    "mort",
    "morte",
    "arrach\u{e9}",
    "arrach\u{e9}e",
    "abattu",
    "abattue",
    "manquant",
    "manquante",
    "absent",
    "absente",
    "disparu",
    "disparue",
    "muerto",
    "muerta",
    "talado",
    "talada",
    "\u{2020}",
];
/// Words for a tree that stands, of which nothing has to be told.
const STANDING: [&str; 20] = [
    "alive",
    "living",
    "standing",
    "ok",
    "good",
    "healthy",
    "present",
    "viva",
    "vivo",
    "em p\u{e9}",
    "boa",
    "bom",
    "sadia",
    "presente",
    "vivant",
    "vivante",
    "sain",
    "bon",
    "sana",
    "sano",
];
/// Cut counts of the pruning table, thin to thick.
const CUTS: [&str; 4] = ["cuts_to_3cm", "cuts_3_to_5cm", "cuts_5_to_10cm", "cuts_over_10cm"];

/// Whether a tree of this `status` is no longer there.
pub(crate) fn is_gone(status: &str) -> bool {
    let status = status.trim().to_lowercase();
    GONE.contains(&status.as_str())
}

/// Tells the words of `status` that are in no list, each with its number of trees: these stand, which may
/// not be what was meant.
pub(crate) fn warn_of_words(trees: &DataFrame, outcome: &mut Outcome) -> PolarsResult<()> {
    let mut words: BTreeMap<String, u64> = BTreeMap::new();
    let mut first = None;
    for (status, at) in trees.column("status")?.str()?.iter().zip(stands(trees)?) {
        let word = status.unwrap_or_default().trim().to_lowercase();
        let is_told = word.is_empty() || STANDING.contains(&word.as_str());
        if !is_told && !GONE.contains(&word.as_str()) {
            *words.entry(word).or_default() += 1;
            first.get_or_insert(at);
        }
    }
    let (Some(first), Some(one)) = (first, words.keys().next()) else { return Ok(()) };
    let remedy = say!(
        "nothing to do if they stand; for trees that are gone say what the word means: values = {{ status = {{ '{one}' = \"dead\" }} }} under [[files.trees]] in book.toml"
    );
    let told: Vec<String> =
        words.iter().take(STATUS_TOLD).map(|(word, trees)| format!("'{word}' ({trees})")).collect();
    let more = if words.len() > STATUS_TOLD { ", ..." } else { "" };
    let what = say!(
        "trees whose status is one of these words are read as standing: {}",
        told.join(", ") + more
    );
    outcome.warn(outcome.place(first), Code::WordUnknown, what, remedy);
    Ok(())
}

/// Words of `status` that are told by name.
const STATUS_TOLD: usize = 10;

/// A tree that stands.
#[derive(Debug, Clone, PartialEq)]
pub struct HeldTree {
    /// Tree id.
    pub tree: String,
    /// Planting day of its own, else of its block; `None` where nothing tells it, or two rows of the tree
    /// differ.
    pub planted: Option<Date>,
    /// Height, m.
    pub height_m: Option<f64>,
    /// Canopy spread north to south and east to west, m.
    pub spread_m: Option<[f64; 2]>,
}

/// A block with its trees.
#[derive(Debug, Clone, PartialEq)]
pub struct HeldBlock {
    /// Block id.
    pub block: String,
    /// Site.
    pub site: String,
    /// Region id.
    pub region: String,
    /// Row and tree spacing, m.
    pub spacing_m: Option<[f64; 2]>,
    /// Planting day of the block.
    pub planted: Option<Date>,
    /// Training system, as the block table words it.
    pub training: Option<String>,
    /// Trees that stand in it, by id.
    pub trees: Vec<HeldTree>,
}

/// One pruning visit to a tree.
#[derive(Debug, Clone, PartialEq)]
pub struct Visit {
    /// Tree id.
    pub tree: String,
    /// Day.
    pub date: Option<Date>,
    /// Fraction of the canopy removed.
    pub intensity: f64,
    /// How it was measured, in the word of the pruning table.
    pub measured_as: String,
    /// Cuts by class, thin to thick; `None` where not counted.
    pub cuts: [Option<f64>; 4],
    /// Working minutes.
    pub minutes: Option<f64>,
    /// Tool.
    pub tool: Option<String>,
}

/// Blocks of the book's regions with the trees that stand in them, in the order of region, site and
/// block. A block id that stands twice counts once, as in linking.
///
/// # Errors
/// When the tables break their own promise.
pub fn held_blocks(tables: &BookTables) -> Result<Vec<HeldBlock>, IngestError> {
    read_blocks(tables).map_err(|error| IngestError::Internal(error.to_string()))
}

/// Every pruning visit as read, by tree, then by what was recorded: sums over visits are taken in
/// this order, whatever that of the rows.
///
/// # Errors
/// When the tables break their own promise.
pub fn visits(tables: &BookTables) -> Result<Vec<Visit>, IngestError> {
    read_visits(tables).map_err(|error| IngestError::Internal(error.to_string()))
}

fn read_blocks(tables: &BookTables) -> PolarsResult<Vec<HeldBlock>> {
    let (Some(blocks), Some(trees)) =
        (tables.frames.get(&Table::Blocks), tables.frames.get(&Table::Trees))
    else {
        return Ok(Vec::new());
    };
    let (names, sites, regions) =
        (texts(blocks, ts::BLOCK)?, texts(blocks, ts::SITE)?, texts(blocks, ts::REGION)?);
    let (across, along) =
        (blocks.column("row_spacing_m")?.f64()?, blocks.column("tree_spacing_m")?.f64()?);
    let (planted, training) = (dates(blocks, "planted")?, texts(blocks, ts::TRAINING)?);
    let mut found: BTreeMap<&str, HeldBlock> = BTreeMap::new();
    for at in 0..blocks.height() {
        let (Some(block), Some(site), Some(region)) =
            (names.get(at), sites.get(at), regions.get(at))
        else {
            continue;
        };
        if tables.book.regions.contains_key(region) {
            found.entry(block).or_insert_with(|| HeldBlock {
                block: block.to_owned(),
                site: site.to_owned(),
                region: region.to_owned(),
                spacing_m: across.get(at).zip(along.get(at)).map(|(a, b)| [a, b]),
                planted: planted.get(at).and_then(day),
                training: training.get(at).map(str::to_owned),
                trees: Vec::new(),
            });
        }
    }
    fill(&mut found, trees)?;
    let mut blocks: Vec<HeldBlock> = found.into_values().collect();
    // Sums over trees are taken in this order, whatever that of the rows.
    for block in &mut blocks {
        block.trees.sort_by(|a, b| a.tree.cmp(&b.tree));
    }
    blocks.sort_by(|a, b| (&a.region, &a.site, &a.block).cmp(&(&b.region, &b.site, &b.block)));
    Ok(blocks)
}

fn fill(blocks: &mut BTreeMap<&str, HeldBlock>, trees: &DataFrame) -> PolarsResult<()> {
    let (trees, differing) = &Differing::settled(trees)?;
    let (names, homes) = (texts(trees, ts::TREE)?, texts(trees, ts::BLOCK)?);
    let (planted, status) = (dates(trees, "planted")?, texts(trees, "status")?);
    let heights = trees.column("height_m")?.f64()?;
    let (ns, ew) = (trees.column("spread_ns_m")?.f64()?, trees.column("spread_ew_m")?.f64()?);
    for at in 0..trees.height() {
        let gone = status.get(at).is_some_and(is_gone);
        let (Some(tree), Some(block)) =
            (names.get(at), homes.get(at).and_then(|block| blocks.get_mut(block)))
        else {
            continue;
        };
        if !gone {
            let own = planted.get(at).and_then(day).or(block.planted);
            block.trees.push(HeldTree {
                tree: tree.to_owned(),
                planted: own.filter(|_| !differing.is_unknown(tree, "planted")),
                height_m: heights.get(at),
                spread_m: ns.get(at).zip(ew.get(at)).map(|(ns, ew)| [ns, ew]),
            });
        }
    }
    Ok(())
}

fn read_visits(tables: &BookTables) -> PolarsResult<Vec<Visit>> {
    let Some(frame) = tables.frames.get(&Table::Prunings) else { return Ok(Vec::new()) };
    let (trees, bases, tools) =
        (texts(frame, ts::TREE)?, texts(frame, "measured_as")?, texts(frame, "tool")?);
    let days = dates(frame, "date")?;
    let (intensities, minutes) =
        (frame.column(ts::INTENSITY)?.f64()?, frame.column(ts::MINUTES)?.f64()?);
    let cuts = CUTS
        .iter()
        .map(|name| frame.column(name)?.i64())
        .collect::<PolarsResult<Vec<&Int64Chunked>>>()?;
    let visit = |at: usize| {
        let mut counted = [None; 4];
        for (slot, column) in counted.iter_mut().zip(&cuts) {
            *slot = column.get(at).map(|count| count as f64);
        }
        Some(Visit {
            tree: trees.get(at)?.to_owned(),
            date: days.get(at).and_then(day),
            intensity: intensities.get(at)?,
            measured_as: bases.get(at)?.to_owned(),
            cuts: counted,
            minutes: minutes.get(at),
            tool: tools.get(at).map(str::to_owned),
        })
    };
    let mut visits: Vec<Visit> = (0..frame.height()).filter_map(visit).collect();
    let number = |value: Option<f64>| value.unwrap_or(f64::NEG_INFINITY);
    visits.sort_by(|a, b| {
        let numbers = number(a.minutes).total_cmp(&number(b.minutes));
        let cuts = a.cuts.iter().zip(&b.cuts).map(|(a, b)| number(*a).total_cmp(&number(*b)));
        (a.tree.cmp(&b.tree))
            .then(a.date.cmp(&b.date))
            .then(a.intensity.total_cmp(&b.intensity))
            .then(numbers)
            .then_with(|| (&a.tool, &a.measured_as).cmp(&(&b.tool, &b.measured_as)))
            .then_with(|| cuts.fold(Ordering::Equal, Ordering::then))
    });
    Ok(visits)
}

fn dates(frame: &DataFrame, name: &str) -> PolarsResult<Int32Chunked> {
    frame.column(name)?.cast(&DataType::Int32)?.i32().cloned()
}
