//! What was read from one file: counts, repairs and a fingerprint.

use records::{Code, Table};
use serde::{Deserialize, Serialize};

/// One file (or sheet) of a table: rows read = rows kept + rows quarantined + rows not drawn.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileReport {
    /// Path relative to the book folder, with `#sheet` for a spreadsheet.
    pub file: String,
    /// Table the file belongs to.
    pub table: Table,
    /// Rows below the header; blank ones, and those that `not_rows` calls none, are not counted.
    pub rows_read: u64,
    /// Rows that reached the table.
    pub rows_kept: u64,
    /// Rows set aside.
    pub rows_quarantined: u64,
    /// Rows of trees that were not drawn, where a share of the trees was asked for.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub rows_not_drawn: u64,
    /// Repairs by column and kind, sorted; they concern kept rows only.
    pub repairs: Vec<Repair>,
    /// FNV-1a hash of the file's bytes, 16 hexadecimal digits: for noticing change, not for security.
    pub fingerprint: String,
}

/// Something read and understood by a stated rule.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Repair {
    /// Column repaired, empty when it concerns the file.
    pub column: String,
    /// Kind of repair.
    pub code: Code,
    /// How often.
    pub count: u64,
    /// First line it happened on.
    pub first_line: u64,
}

/// How far reading has come; sent at the start of a file, every 65,536 rows, and at its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress<'a> {
    /// File being read, as in [`FileReport::file`].
    pub file: &'a str,
    /// Its table.
    pub table: Table,
    /// Rows read of it so far.
    pub rows: u64,
    /// Files finished.
    pub files_done: usize,
    /// Files of the book.
    pub files: usize,
}

impl FileReport {
    /// Whether every row read is accounted for.
    #[must_use]
    pub fn is_conserved(&self) -> bool {
        self.rows_read == self.rows_kept + self.rows_quarantined + self.rows_not_drawn
    }
}

/// 64-bit FNV-1a of bytes as 16 hexadecimal digits.
/// Source: Fowler, Noll and Vo; offset basis and prime of RFC 9923.
pub(crate) fn fingerprint(bytes: &[u8]) -> String {
    format!("{:016x}", hash(bytes))
}

/// 64-bit FNV-1a of bytes.
pub(crate) fn hash(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, &byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

// Serde hands over a reference.
#[expect(clippy::trivially_copy_pass_by_ref)]
fn is_zero(count: &u64) -> bool {
    *count == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_fnv_values() {
        // Test vectors of the FNV authors (RFC 9923, 64-bit FNV-1a): "", "a", "foobar".
        assert_eq!(fingerprint(b""), "cbf29ce484222325");
        assert_eq!(fingerprint(b"a"), "af63dc4c8601ec8c");
        assert_eq!(fingerprint(b"foobar"), "85944171f73967e8");
    }
}
