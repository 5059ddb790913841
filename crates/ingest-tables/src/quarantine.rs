//! Rows set aside, and the file that keeps them.

use records::{Code, Table};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::io;

/// A row that could not be used, with everything needed to find and mend it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct QuarantinedRow {
    /// File as in [`crate::FileReport::file`].
    pub file: String,
    /// Physical line (sheet row, Parquet row) where the row starts, from 1.
    pub line: u64,
    /// First offending cell, from 1.
    pub column: Option<u32>,
    /// Kind of the first problem.
    pub code: Code,
    /// Everything wrong with the row, joined by `; `.
    pub reason: String,
    /// What to do about it.
    pub remedy: String,
    /// The row as it stands in the file; cut with a note when it is very long.
    pub text: String,
    /// The pick, pruning visit or count of a frame that is missing without the row; `None` when the row repeats another,
    /// when its tree cannot be read, and for other tables.
    pub visit: Option<MissingVisit>,
    /// The block or tree that the row is of, where its id can be read; `None` when the row repeats
    /// another, and for other tables.
    pub of_place: Option<String>,
    /// Table that the row was read for: one sheet may be read for several.
    pub table: Table,
}

/// What a row set aside tells of the visit that it recorded.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct MissingVisit {
    /// Tree as written.
    pub tree: String,
    /// The days that it may have been on, as first and last of each stretch, days since 1970-01-01:
    /// one day where it can be read, two where day and month may be swapped, the month or the year of
    /// a day that does not exist; empty where nothing is known.
    pub days: Vec<(i32, i32)>,
}

/// A kept row that a later step rejects.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// Index into [`crate::BookTables::files`], the `.file` column.
    pub file: u32,
    /// The `.line` column.
    pub line: u32,
    /// Column of the schema whose cell is at fault, when one is.
    pub column: Option<Cow<'static, str>>,
    /// Kind of problem.
    pub code: Code,
    /// What is wrong.
    pub reason: String,
    /// What to do about it.
    pub remedy: String,
}

/// Writes quarantined rows as CSV, sorted by file and line.
///
/// A cell that a spreadsheet would run as a formula (it begins with `=`, `+`, `-`, `@`, tab or
/// carriage return) gets a single quote in front.
///
/// As every table that is written, its last column holds the fingerprint of the `inputs`.
///
/// # Errors
/// When writing fails.
pub fn write_quarantine(
    writer: impl io::Write,
    rows: &[QuarantinedRow],
    inputs: &str,
) -> io::Result<()> {
    let mut sorted: Vec<&QuarantinedRow> = rows.iter().collect();
    sorted.sort();
    let mut csv = csv::Writer::from_writer(writer);
    let own = ["file", "line", "column", "code", "reason", "remedy", "text"];
    csv.write_record(own.into_iter().chain(["inputs_fingerprint"]))?;
    for row in sorted {
        let (line, column) =
            (row.line.to_string(), row.column.map_or_else(String::new, |c| c.to_string()));
        let cells =
            [&row.file, &line, &column, row.code.as_str(), &row.reason, &row.remedy, &row.text];
        csv.write_record(cells.map(harmless).iter().map(String::as_str).chain([inputs]))?;
    }
    csv.flush()
}

fn harmless(cell: &str) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(line: u64, text: &str) -> QuarantinedRow {
        QuarantinedRow {
            file: "harvests.csv".to_owned(),
            line,
            column: Some(3),
            code: Code::NumberUnreadable,
            reason: "-".to_owned(),
            remedy: String::new(),
            text: text.to_owned(),
            visit: None,
            of_place: None,
            table: Table::Harvests,
        }
    }

    #[test]
    fn formulas_are_disarmed_and_rows_sorted() {
        let mut out = Vec::new();
        let rows = [row(10, "@x"), row(9, "=HYPERLINK(\"x\")"), row(2, "T1,2")];
        write_quarantine(&mut out, &rows, "00ff").unwrap();
        let text = String::from_utf8(out).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines[0].ends_with(",text,inputs_fingerprint"), "{}", lines[0]);
        assert_eq!(lines[1], "harvests.csv,2,3,number-unreadable,'-,,\"T1,2\",00ff");
        assert!(lines[2].ends_with(",\"'=HYPERLINK(\"\"x\"\")\",00ff"), "{}", lines[2]);
        assert!(lines[3].ends_with(",'@x,00ff"));
    }
}
