//! Rows drawn at random to be compared with the field books they were typed from.

use crate::cell::number::plain;
use crate::parquet_rows::day;
use crate::{BookTables, IngestError};
use polars::prelude::{AnyValue, DataFrame, PolarsResult};
use rand::SeedableRng;
use rand::seq::index::sample;
use rand_chacha::ChaCha8Rng;
use records::Table;
use serde::Serialize;
use std::collections::{BTreeMap, HashSet};

/// Tables of visits, which field books hold.
const VISITS: [Table; 3] = [Table::Prunings, Table::Laterals, Table::Harvests];

/// A kept row as it was understood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SpotCheck {
    /// File as in [`crate::FileReport::file`].
    pub file: String,
    /// Line of the file, sheet row or Parquet row.
    pub line: u64,
    /// Its table.
    pub table: Table,
    /// What was read, in schema order, empty cells left out.
    pub values: Vec<SpotValue>,
}

/// One value of a row.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SpotValue {
    /// Column of the table.
    pub column: String,
    /// The value as it was understood: dates as year-month-day, numbers in [`Self::unit`].
    pub value: String,
    /// Unit of the table, empty when there is none.
    pub unit: String,
}

impl BookTables {
    /// Draws up to `per_file` kept rows from every file of prunings, laterals and harvests, by file
    /// and line. The same files and seed give the same rows.
    ///
    /// # Errors
    /// [`IngestError::Internal`] when a table breaks the promise of its columns.
    pub fn spot_checks(&self, per_file: usize, seed: u64) -> Result<Vec<SpotCheck>, IngestError> {
        let set_aside: HashSet<(&str, u64)> =
            self.quarantine.iter().map(|row| (row.file.as_str(), row.line)).collect();
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let mut drawn = Vec::new();
        for table in VISITS {
            let Some(frame) = self.frames.get(&table) else { continue };
            let rows = self.kept(frame, &set_aside);
            for (file, rows) in rows.map_err(|error| IngestError::Internal(error.to_string()))? {
                let mut chosen = sample(&mut dice, rows.len(), per_file.min(rows.len())).into_vec();
                chosen.sort_unstable();
                for &(row, line) in chosen.into_iter().filter_map(|at| rows.get(at)) {
                    drawn.push(SpotCheck {
                        file: self.file_name(file).to_owned(),
                        line: u64::from(line),
                        table,
                        values: values(table, frame, row),
                    });
                }
            }
        }
        Ok(drawn)
    }

    fn file_name(&self, file: u32) -> &str {
        self.files.get(file as usize).map_or("", |report| report.file.as_str())
    }

    /// Row and line of the kept rows of each file.
    fn kept(
        &self,
        frame: &DataFrame,
        set_aside: &HashSet<(&str, u64)>,
    ) -> PolarsResult<BTreeMap<u32, Vec<(usize, u32)>>> {
        let mut rows: BTreeMap<u32, Vec<(usize, u32)>> = BTreeMap::new();
        let places = frame.column(".file")?.u32()?.iter().zip(frame.column(".line")?.u32()?.iter());
        for (row, place) in places.enumerate() {
            let (Some(file), Some(line)) = place else { continue };
            if !set_aside.contains(&(self.file_name(file), u64::from(line))) {
                rows.entry(file).or_default().push((row, line));
            }
        }
        Ok(rows)
    }
}

fn values(table: Table, frame: &DataFrame, row: usize) -> Vec<SpotValue> {
    let columns = table.spec().columns.iter();
    columns
        .filter_map(|spec| {
            let value = frame.column(spec.name).ok()?.get(row).ok()?;
            Some(SpotValue {
                column: spec.name.to_owned(),
                value: written(&value)?,
                unit: spec.unit.to_owned(),
            })
        })
        .collect()
}

fn written(value: &AnyValue<'_>) -> Option<String> {
    match value {
        AnyValue::String(text) => Some((*text).to_owned()),
        AnyValue::StringOwned(text) => Some(text.to_string()),
        AnyValue::Float64(number) => Some(plain(*number)),
        AnyValue::Int64(count) => Some(count.to_string()),
        AnyValue::Boolean(flag) => Some(if *flag { "yes" } else { "no" }.to_owned()),
        AnyValue::Date(days) => day(*days).map(|day| day.to_string()),
        _ => None,
    }
}
