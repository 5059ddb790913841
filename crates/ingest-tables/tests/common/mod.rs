//! Builds small record books in temporary folders.
#![allow(dead_code, reason = "each test file uses its own part")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a broken fixture fails the test")]

use ingest_tables::{BookTables, FileReport, IngestError, QuarantinedRow, read_book};
use polars::prelude::{AnyValue, DataFrame};
use records::{Code, Problem, Table};
use std::path::Path;
use tempfile::TempDir;

pub const SETTINGS: &str = r#"
[book]
name = "Example"

[regions.coast]
harvest = ["02-01", "05-31"]
flush = ["09-01", "11-30"]

[economics]
currency = "USD"
price_per_kg = 1.2
wage_per_hour = 0.8
"#;

pub const BLOCKS: &str = "block,site,region\nB1,S1,coast\n";
pub const TREES: &str = "tree,block\nT1,B1\nT2,B1\n";
pub const PRUNINGS: &str = "tree,date,intensity,measured_as\nT1,2023-07-01,0.2,canopy_fraction\n";
pub const HARVESTS: &str = "tree,date,nut_kg\nT1,2024-03-01,3.5\nT2,2024-03-01,4.5\n";

/// A book of four good tables; tests overwrite the files they are about.
pub struct Folder(TempDir);

impl Folder {
    pub fn new() -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        folder.put("book.toml", SETTINGS);
        folder.put("blocks.csv", BLOCKS);
        folder.put("trees.csv", TREES);
        folder.put("prunings.csv", PRUNINGS);
        folder.put("harvests.csv", HARVESTS);
        folder
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    pub fn put(&self, name: &str, bytes: impl AsRef<[u8]>) {
        let path = self.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }

    pub fn remove(&self, name: &str) {
        std::fs::remove_file(self.path().join(name)).unwrap();
    }

    /// Adds lines to the end of `book.toml`.
    pub fn settings(&self, more: &str) {
        self.put("book.toml", format!("{SETTINGS}{more}"));
    }

    /// The only problem for which the book is refused.
    pub fn refused_for(&self) -> Problem {
        let problems = self.refused();
        assert_eq!(problems.len(), 1, "{problems:#?}");
        problems.into_iter().next().unwrap()
    }

    pub fn read(&self) -> BookTables {
        let tables = read_book(self.path(), &mut |_| ()).unwrap_or_else(|error| {
            panic!("{error}: {:#?}", error.problems());
        });
        for file in &tables.files {
            assert!(file.is_conserved(), "{file:?}");
        }
        tables
    }

    pub fn refused(&self) -> Vec<Problem> {
        match read_book(self.path(), &mut |_| ()) {
            Err(IngestError::Refused(problems)) => problems,
            other => panic!("not refused: {other:?}"),
        }
    }

    /// Reads the book with another harvest file.
    pub fn harvests(bytes: impl AsRef<[u8]>) -> BookTables {
        let folder = Self::new();
        folder.put("harvests.csv", bytes);
        folder.read()
    }
}

pub fn report<'t>(tables: &'t BookTables, file: &str) -> &'t FileReport {
    tables.files.iter().find(|report| report.file == file).unwrap_or_else(|| panic!("no {file}"))
}

/// (read, kept, quarantined).
pub fn counts(tables: &BookTables, file: &str) -> (u64, u64, u64) {
    let report = report(tables, file);
    (report.rows_read, report.rows_kept, report.rows_quarantined)
}

/// (code, column, count, first line) of every repair.
pub fn repairs(tables: &BookTables, file: &str) -> Vec<(Code, String, u64, u64)> {
    let repairs = report(tables, file).repairs.iter();
    repairs.map(|r| (r.code, r.column.clone(), r.count, r.first_line)).collect()
}

/// (line, column, code) of every quarantined row.
pub fn aside(tables: &BookTables) -> Vec<(u64, Option<u32>, Code)> {
    tables.quarantine.iter().map(|row| (row.line, row.column, row.code)).collect()
}

pub fn only(tables: &BookTables) -> &QuarantinedRow {
    assert_eq!(tables.quarantine.len(), 1, "{:#?}", tables.quarantine);
    &tables.quarantine[0]
}

pub fn frame(tables: &BookTables, table: Table) -> &DataFrame {
    &tables.frames[&table]
}

/// A column as text, `null` where there is nothing.
pub fn column(tables: &BookTables, table: Table, name: &str) -> Vec<String> {
    let column = frame(tables, table).column(name).unwrap();
    (0..column.len())
        .map(|row| match column.get(row).unwrap() {
            AnyValue::String(text) => text.to_owned(),
            AnyValue::StringOwned(text) => text.to_string(),
            AnyValue::Date(days) => {
                let day = jiff::civil::date(1970, 1, 1) + jiff::Span::new().days(i64::from(days));
                day.to_string()
            }
            AnyValue::Null => "null".to_owned(),
            AnyValue::Float64(value) => value.to_string(),
            AnyValue::Int64(value) => value.to_string(),
            AnyValue::UInt32(value) => value.to_string(),
            AnyValue::Boolean(value) => value.to_string(),
            other => panic!("{other:?}"),
        })
        .collect()
}

pub fn has_problem(tables: &BookTables, code: Code, words: &str) -> bool {
    tables.problems.iter().any(|p| p.code == code && p.to_string().contains(words))
}
