//! A book as it stood when a season closed: later visits taken out, to see what would have been advised.

use crate::frame::{DATE, only, texts};
use crate::seasons::day_number;
use ingest_tables::{BookTables, IngestError};
use polars::prelude::*;
use records::Table;
use records::tree_season as ts;
use std::collections::BTreeMap;

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
    let closes = closing_days(tables, season)?;
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

/// Last day of the season's harvest by tree.
fn closing_days(tables: &BookTables, season: i16) -> PolarsResult<BTreeMap<String, i32>> {
    let (Some(blocks), Some(trees)) =
        (tables.frames.get(&Table::Blocks), tables.frames.get(&Table::Trees))
    else {
        return Ok(BTreeMap::new());
    };
    let regions: BTreeMap<&str, i32> = tables
        .book
        .regions
        .iter()
        .filter_map(|(id, region)| {
            Some((id.as_str(), day_number(region.calendar()?.harvest.close_of(season))))
        })
        .collect();
    let of_block: BTreeMap<&str, i32> = texts(blocks, ts::BLOCK)?
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
