//! A book as it stood when a season closed: later visits taken out, to see what would have been advised.

use crate::frame::{DATE, only, texts};
use crate::seasons::{day, day_number};
use ingest_tables::{BookTables, IngestError};
use polars::prelude::*;
use records::tree_season as ts;
use records::{Calendar, Table};
use std::collections::{BTreeMap, BTreeSet};

/// The seasons of which a pick is on record, by the calendar of its tree's region.
///
/// # Errors
/// When the tables break their own promise.
pub fn seasons_picked(tables: &BookTables) -> Result<BTreeSet<i16>, IngestError> {
    picked(tables).map_err(|error| IngestError::Internal(error.to_string()))
}

fn picked(tables: &BookTables) -> PolarsResult<BTreeSet<i16>> {
    let Some(frame) = tables.frames.get(&Table::Harvests) else { return Ok(BTreeSet::new()) };
    let calendars = by_tree(tables, |calendar| calendar)?;
    let grace = tables.book.options.harvest_grace_days;
    let days = frame.column(DATE)?.cast(&DataType::Int32)?;
    let season = |(tree, number): (Option<&str>, Option<i32>)| {
        calendars.get(tree?)?.season_of_pick(day(number?)?, grace)
    };
    Ok(texts(frame, ts::TREE)?.iter().zip(days.i32()?.iter()).filter_map(season).collect())
}

/// Takes out the picks, prunings and frame counts made after the harvest of `season` closed in the
/// region of their tree, and returns their number by table; the season to advise for is the next. Rows whose tree, block or region is not
/// known stay: linking says what is wrong with them.
///
/// # Errors
/// When the tables break their own promise.
pub fn through(tables: &mut BookTables, season: i16) -> Result<BTreeMap<Table, u64>, IngestError> {
    cut(tables, season).map_err(|error| IngestError::Internal(error.to_string()))
}

fn cut(tables: &mut BookTables, season: i16) -> PolarsResult<BTreeMap<Table, u64>> {
    let closes = by_tree(tables, |calendar| day_number(calendar.harvest.close_of(season)))?;
    let grace = tables.book.options.harvest_grace_days;
    let mut later = BTreeMap::new();
    for table in [Table::Prunings, Table::Laterals, Table::Harvests] {
        let Some(frame) = tables.frames.get(&table) else { continue };
        let days = frame.column(DATE)?.cast(&DataType::Int32)?;
        let keep: Vec<bool> = texts(frame, ts::TREE)?
            .iter()
            .zip(days.i32()?.iter())
            .map(|(tree, day)| {
                let last = tree.and_then(|tree| closes.get(tree));
                let grace = if table == Table::Harvests { grace } else { 0 };
                last.zip(day).is_none_or(|(last, day)| day <= last + grace)
            })
            .collect();
        let gone = keep.iter().filter(|keep| !**keep).count() as u64;
        if gone > 0 {
            let kept = only(frame, keep)?;
            tables.frames.insert(table, kept);
            later.insert(table, gone);
        }
    }
    // The season advised for follows from what is left.
    tables.book.options.season = None;
    Ok(later)
}

/// Something of the calendar of each tree's region.
fn by_tree<T: Copy>(
    tables: &BookTables,
    of: impl Fn(Calendar) -> T,
) -> PolarsResult<BTreeMap<String, T>> {
    let (Some(blocks), Some(trees)) =
        (tables.frames.get(&Table::Blocks), tables.frames.get(&Table::Trees))
    else {
        return Ok(BTreeMap::new());
    };
    let regions: BTreeMap<&str, T> = tables
        .book
        .regions
        .iter()
        .filter_map(|(id, region)| Some((id.as_str(), of(region.calendar()?))))
        .collect();
    let of_block: BTreeMap<&str, T> = texts(blocks, ts::BLOCK)?
        .iter()
        .zip(texts(blocks, ts::REGION)?.iter())
        .filter_map(|(block, region)| Some((block?, *regions.get(region?)?)))
        .collect();
    Ok(texts(trees, ts::TREE)?
        .iter()
        .zip(texts(trees, ts::BLOCK)?.iter())
        .filter_map(|(tree, block)| Some((tree?.to_owned(), *of_block.get(block?)?)))
        .collect())
}
