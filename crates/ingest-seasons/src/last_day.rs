//! The day of a book's last record.

use crate::frame::DATE;
use crate::seasons::day;
use ingest_tables::{BookTables, IngestError};
use jiff::civil::Date;
use polars::prelude::*;
use records::Table;

/// The last day on which a book records a pick, a cut or a frame; `None` where no row has a day.
///
/// # Errors
/// When the tables break their own promise.
pub fn last_day(tables: &BookTables) -> Result<Option<Date>, IngestError> {
    read(tables).map_err(|error| IngestError::Internal(error.to_string()))
}

fn read(tables: &BookTables) -> PolarsResult<Option<Date>> {
    let mut last = None;
    for table in [Table::Harvests, Table::Prunings, Table::Laterals] {
        if let Some(frame) = tables.frames.get(&table) {
            last = last.max(frame.column(DATE)?.cast(&DataType::Int32)?.i32()?.max());
        }
    }
    Ok(last.and_then(day))
}
