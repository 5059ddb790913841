//! Days on which trees were picked.

use crate::frame::{DATE, texts};
use crate::seasons::day;
use ingest_tables::{BookTables, IngestError};
use jiff::civil::Date;
use polars::prelude::*;
use records::Table;
use records::tree_season as ts;
use std::collections::{BTreeMap, BTreeSet};

/// The days of every tree's picks as read, whatever linking made of them: that a round was written
/// down is told by a pick that another table contradicts, too.
///
/// # Errors
/// When the tables break their own promise.
pub fn pick_days(tables: &BookTables) -> Result<BTreeMap<String, BTreeSet<Date>>, IngestError> {
    read(tables).map_err(|error| IngestError::Internal(error.to_string()))
}

fn read(tables: &BookTables) -> PolarsResult<BTreeMap<String, BTreeSet<Date>>> {
    let mut found: BTreeMap<String, BTreeSet<Date>> = BTreeMap::new();
    let Some(frame) = tables.frames.get(&Table::Harvests) else { return Ok(found) };
    let days = frame.column(DATE)?.cast(&DataType::Int32)?;
    for (tree, date) in texts(frame, ts::TREE)?.iter().zip(days.i32()?.iter()) {
        if let (Some(tree), Some(date)) = (tree, date.and_then(day)) {
            match found.get_mut(tree) {
                Some(own) => own.insert(date),
                None => found.entry(tree.to_owned()).or_default().insert(date),
            };
        }
    }
    Ok(found)
}
