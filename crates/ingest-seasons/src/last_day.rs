//! The day of a book's last record.

use crate::frame::{DATE, stands};
use crate::seasons::day;
use ingest_tables::{BookTables, IngestError};
use jiff::civil::Date;
use polars::prelude::*;
use records::Table;
use std::collections::{BTreeMap, BTreeSet};

/// Rows that tell the last day: one or two days far ahead may be slips (ours: a convention).
const ROWS: usize = 3;

/// The last day on or after which a book records three picks, cuts or frames that were not set aside (the first of all
/// where there are fewer); `None` where no row has a day.
///
/// # Errors
/// When the tables break their own promise.
pub fn last_day(tables: &BookTables) -> Result<Option<Date>, IngestError> {
    let aside: BTreeSet<(&str, u64)> =
        tables.quarantine.iter().map(|row| (row.file.as_str(), row.line)).collect();
    let is_aside = |(file, line): (u32, u32)| {
        let file = tables.files.get(file as usize);
        file.is_some_and(|file| aside.contains(&(file.file.as_str(), u64::from(line))))
    };
    read(&tables.frames, is_aside).map_err(|error| IngestError::Internal(error.to_string()))
}

fn read(
    frames: &BTreeMap<Table, DataFrame>,
    is_aside: impl Fn((u32, u32)) -> bool,
) -> PolarsResult<Option<Date>> {
    // The latest first.
    let mut last: Vec<i32> = Vec::with_capacity(ROWS + 1);
    for table in [Table::Harvests, Table::Prunings, Table::Laterals] {
        let Some(frame) = frames.get(&table) else { continue };
        let days = frame.column(DATE)?.cast(&DataType::Int32)?;
        for (own, at) in days.i32()?.iter().zip(stands(frame)?) {
            let is_later = |own: &i32| last.len() < ROWS || last.last().is_some_and(|l| own > l);
            let Some(own) = own.filter(is_later).filter(|_| !is_aside(at)) else { continue };
            let place = last.partition_point(|later| *later >= own);
            last.insert(place, own);
            last.truncate(ROWS);
        }
    }
    Ok(last.last().copied().and_then(day))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tests::small;

    /// The last of picks and cuts; one or two far ahead tell nothing, nor do rows set aside; a book without a day has
    /// none.
    #[test]
    fn the_last_day_is_that_of_any_table() {
        let date = jiff::civil::date;
        let of = |picks: &[&str], cuts: &[&str], aside: &[u32]| {
            let book = small().rows(Table::Harvests, picks).rows(Table::Prunings, cuts);
            read(&book.frames(), |(_, line)| aside.contains(&line)).unwrap()
        };
        let picks = ["N1,2024-03-01,5,9,", "N2,2024-03-01,5,9,", "S1,2024-03-01,5,9,"];
        assert_eq!(of(&picks, &[], &[]), Some(date(2024, 3, 1)));
        let cut = ["N1,2024-07-09,0.2,canopy_fraction,", "N2,2024-07-09,0.2,canopy_fraction,"];
        assert_eq!(of(&picks, &cut, &[]), Some(date(2024, 3, 1)));
        let third = [cut.as_slice(), &["S1,2024-07-08,0.2,canopy_fraction,"]].concat();
        assert_eq!(of(&picks, &third, &[]), Some(date(2024, 7, 8)));
        assert_eq!(of(&[], &cut, &[]), Some(date(2024, 7, 9)));
        assert_eq!(of(&picks, &third, &[4]), Some(date(2024, 3, 1)));
        assert_eq!(of(&[], &[], &[]), None);
    }
}
