//! What the report says about the records.

use super::Checked;
use report::{FileLine, LinkLine, Quality};

/// Row counts, repairs and findings of a checked book.
pub fn quality(checked: &Checked) -> Quality {
    let files = checked
        .tables
        .files
        .iter()
        .map(|file| FileLine {
            file: file.file.clone(),
            table: file.table.to_string(),
            rows_read: file.rows_read,
            rows_kept: file.rows_kept,
            rows_quarantined: file.rows_quarantined,
            rows_not_drawn: file.rows_not_drawn,
            repairs: file
                .repairs
                .iter()
                .map(|repair| (repair.code.to_string(), repair.column.clone(), repair.count))
                .collect(),
            fingerprint: file.fingerprint.clone(),
        })
        .collect();
    let linked = checked
        .linked
        .summary
        .tables
        .iter()
        .map(|table| LinkLine {
            table: table.table.to_string(),
            kept: table.kept,
            linked: table.linked,
            not_linked: table
                .not_linked
                .iter()
                .map(|part| (part.reason.to_string(), part.rows))
                .collect(),
        })
        .collect();
    Quality {
        files,
        linked,
        findings: checked.problems(),
        quarantine_rows: checked.tables.quarantine.len() as u64,
    }
}
