//! The sizes up to which a record book is read, so that no file can exhaust the machine.

use serde::Serialize;

/// One limit, as it is stated in the help.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Limit {
    /// What is limited.
    pub what: &'static str,
    /// The most that is read.
    pub most: u64,
    /// Unit of `most`.
    pub unit: &'static str,
}

const MIB: u64 = 1 << 20;

/// Bytes of `book.toml`.
pub const SETTINGS: Limit = Limit { what: "book.toml", most: 4 * MIB, unit: "bytes" };
/// Bytes of a text file.
pub const TEXT_FILE: Limit = Limit { what: "a text file", most: 8192 * MIB, unit: "bytes" };
/// Bytes of one row of any file; a longer row is set aside.
pub const ROW: Limit = Limit { what: "a row", most: MIB, unit: "bytes" };
/// Characters of a name, id or other text that is kept; a row with a longer one is set aside.
pub const TEXT: Limit = Limit { what: "a name or other text", most: 1000, unit: "characters" };
/// Columns of any file.
pub const COLUMNS: Limit = Limit { what: "a header", most: 1024, unit: "columns" };
/// Bytes of a workbook on disk.
pub const WORKBOOK: Limit = Limit { what: "a workbook", most: 512 * MIB, unit: "bytes" };
/// Parts packed into a workbook.
pub const WORKBOOK_PARTS: Limit = Limit { what: "a workbook", most: 10_000, unit: "parts" };
/// Bytes of all parts of a workbook together, unpacked.
pub const UNPACKED: Limit = Limit { what: "a workbook unpacked", most: 2048 * MIB, unit: "bytes" };
/// Cells of a sheet, counted from the first column to the last that is filled in each row.
pub const SHEET_CELLS: Limit = Limit { what: "a sheet", most: 40_000_000, unit: "cells" };
/// Bytes of text in a sheet, repeated cells counted as often as they repeat.
pub const SHEET_TEXT: Limit =
    Limit { what: "the text of a sheet", most: 1024 * MIB, unit: "bytes" };
/// Rows of a Parquet file.
pub const PARQUET_ROWS: Limit = Limit { what: "a Parquet file", most: 200_000_000, unit: "rows" };
/// Bytes of one column of one row group of a Parquet file, unpacked, as the file states them.
pub const PARQUET_CHUNK: Limit =
    Limit { what: "a column of a row group of Parquet, unpacked", most: 2048 * MIB, unit: "bytes" };

/// Every limit.
pub const ALL: [Limit; 12] = [
    SETTINGS,
    TEXT_FILE,
    ROW,
    TEXT,
    COLUMNS,
    WORKBOOK,
    WORKBOOK_PARTS,
    UNPACKED,
    SHEET_CELLS,
    SHEET_TEXT,
    PARQUET_ROWS,
    PARQUET_CHUNK,
];

impl Limit {
    /// Whether a size is within the limit.
    #[must_use]
    pub fn holds(self, size: u64) -> bool {
        size <= self.most
    }

    /// The limit in words, such as `1000 characters` or `4 MiB`.
    #[must_use]
    pub fn words(self) -> String {
        if self.unit == "bytes" && self.most.is_multiple_of(1024 * MIB) {
            format!("{} GiB", self.most / (1024 * MIB))
        } else if self.unit == "bytes" && self.most.is_multiple_of(MIB) {
            format!("{} MiB", self.most / MIB)
        } else {
            format!("{} {}", self.most, self.unit)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_told_in_round_units() {
        assert_eq!(SETTINGS.words(), "4 MiB");
        assert_eq!(TEXT_FILE.words(), "8 GiB");
        assert_eq!(TEXT.words(), "1000 characters");
        assert!(TEXT.holds(1000) && !TEXT.holds(1001));
    }
}
