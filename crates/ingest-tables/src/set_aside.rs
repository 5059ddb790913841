//! Quarantines rows that a later step rejects, with their text fetched from the file again.

use crate::read::Loaded;
use crate::rows::Fault;
use crate::summary::quarantine_problems;
use crate::{BookTables, IngestError, QuarantinedRow, SetAside};
use records::{Code, Place, Problem, Severity};
use std::collections::{BTreeMap, HashMap};
use words::{say, text};

/// What the file holds of a row set aside.
#[derive(Debug, Clone, Default)]
struct Found {
    text: String,
    /// Cell at fault, from 1.
    column: Option<u32>,
}

impl BookTables {
    /// Moves kept rows to the quarantine: their file's counts, [`Self::quarantine`] and
    /// [`Self::problems`] change; the frames do not, as the caller has filtered its own copy.
    ///
    /// The text of the rows is read from the files again. A row given twice is set aside once.
    ///
    /// # Errors
    /// [`IngestError::Refused`] when a file changed or vanished since it was read;
    /// [`IngestError::Internal`] when a row names a file that does not exist or was not kept.
    pub fn set_aside(&mut self, mut rows: Vec<SetAside>) -> Result<(), IngestError> {
        rows.sort_by_key(|row| (row.file, row.line));
        rows.dedup_by_key(|row| (row.file, row.line));
        let mut by_file: BTreeMap<u32, Vec<SetAside>> = BTreeMap::new();
        for row in rows {
            by_file.entry(row.file).or_default().push(row);
        }
        let mut added = Vec::new();
        for (file, rows) in by_file {
            let count = rows.len() as u64;
            let found = self.find(file, &rows)?;
            let report = self
                .files
                .get_mut(file as usize)
                .ok_or_else(|| IngestError::Internal(say!("no file has the index {file}")))?;
            report.rows_kept = report.rows_kept.checked_sub(count).ok_or_else(|| {
                IngestError::Internal(say!("{}: more rows set aside than kept", report.file))
            })?;
            report.rows_quarantined += count;
            for (row, Found { text, column }) in rows.into_iter().zip(found) {
                added.push(QuarantinedRow {
                    file: report.file.clone(),
                    line: u64::from(row.line),
                    column,
                    code: row.code,
                    reason: row.reason,
                    remedy: row.remedy,
                    text,
                    // Linking, which rejects the row, knows its tree and day.
                    visit: None,
                    of_place: None,
                    table: report.table,
                });
            }
        }
        self.problems.extend(quarantine_problems(&added));
        self.problems.sort();
        self.quarantine.append(&mut added);
        Ok(())
    }

    /// What the file holds of rows of one file, in their order.
    fn find(&self, file: u32, rows: &[SetAside]) -> Result<Vec<Found>, IngestError> {
        let Some(source) = self.sources.get(file as usize) else {
            return Ok(vec![Found::default(); rows.len()]);
        };
        let refuse = |problem| IngestError::Refused(vec![problem]);
        let refuse_fault = |fault: Fault| refuse(fault.into_problem(&source.name));
        let loaded = Loaded::of(source).map_err(refuse_fault)?;
        let hash = &loaded.fingerprint;
        if self.files.get(file as usize).is_some_and(|report| report.fingerprint != *hash) {
            return Err(refuse(Problem::new(
                Place::file(&source.name),
                Severity::Fatal,
                Code::FileChanged,
                text!("the file changed while it was being used"),
                text!("run again when nothing writes to it"),
            )));
        }
        let mut reader = loaded.open(source).map_err(refuse_fault)?;
        let wanted: HashMap<u64, usize> =
            rows.iter().enumerate().map(|(at, row)| (u64::from(row.line), at)).collect();
        let mut found: Vec<Found> = rows
            .iter()
            .map(|row| Found {
                column: row.column.as_ref().and_then(|column| self.cell_of(file, column)),
                ..Found::default()
            })
            .collect();
        reader
            .each(&mut |row| {
                if let Some(found) = wanted.get(&row.line).and_then(|&at| found.get_mut(at)) {
                    found.text = row.text();
                }
            })
            .map_err(|fault| refuse(fault.into_problem(&source.name)))?;
        Ok(found)
    }
}
