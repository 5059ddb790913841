//! The day of a book's last record.

use crate::frame::DATE;
use crate::seasons::day;
use ingest_tables::{BookTables, IngestError};
use jiff::civil::Date;
use polars::prelude::*;
use records::Table;
use std::collections::BTreeMap;

/// The last day on which a book records a pick, a cut or a frame; `None` where no row has a day.
///
/// # Errors
/// When the tables break their own promise.
pub fn last_day(tables: &BookTables) -> Result<Option<Date>, IngestError> {
    read(&tables.frames).map_err(|error| IngestError::Internal(error.to_string()))
}

fn read(frames: &BTreeMap<Table, DataFrame>) -> PolarsResult<Option<Date>> {
    let mut last = None;
    for table in [Table::Harvests, Table::Prunings, Table::Laterals] {
        if let Some(frame) = frames.get(&table) {
            last = last.max(frame.column(DATE)?.cast(&DataType::Int32)?.i32()?.max());
        }
    }
    Ok(last.and_then(day))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tests::small;

    /// The last of picks and cuts; a book without a day has none.
    #[test]
    fn the_last_day_is_that_of_any_table() {
        let book = small().rows(Table::Harvests, &["N1,2024-03-01,5,9,", "N2,2023-05-01,5,9,"]);
        assert_eq!(read(&book.frames()).unwrap(), Some(jiff::civil::date(2024, 3, 1)));
        let cut = book.rows(Table::Prunings, &["N1,2024-07-09,0.2,canopy_fraction,"]);
        assert_eq!(read(&cut.frames()).unwrap(), Some(jiff::civil::date(2024, 7, 9)));
        assert_eq!(read(&small().frames()).unwrap(), None);
    }
}
