//! Quarantines rows that a later step rejects, with their text fetched from the file again.

use crate::read::open;
use crate::summary::quarantine_problems;
use crate::{BookTables, IngestError, QuarantinedRow, SetAside};
use records::{Code, Place, Problem, Severity};
use std::collections::{BTreeMap, HashMap};

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
            let texts = self.texts(file, &rows)?;
            let report = self
                .files
                .get_mut(file as usize)
                .ok_or_else(|| IngestError::Internal(format!("no file has the index {file}")))?;
            report.rows_kept = report.rows_kept.checked_sub(count).ok_or_else(|| {
                IngestError::Internal(format!("{}: more rows set aside than kept", report.file))
            })?;
            report.rows_quarantined += count;
            for (row, text) in rows.into_iter().zip(texts) {
                added.push(QuarantinedRow {
                    file: report.file.clone(),
                    line: u64::from(row.line),
                    column: row.column,
                    code: row.code,
                    reason: row.reason,
                    remedy: row.remedy,
                    text,
                });
            }
        }
        self.problems.extend(quarantine_problems(&added));
        self.problems.sort();
        self.quarantine.append(&mut added);
        Ok(())
    }

    /// The texts of rows of one file, in their order.
    fn texts(&self, file: u32, rows: &[SetAside]) -> Result<Vec<String>, IngestError> {
        let Some(source) = self.sources.get(file as usize) else {
            return Ok(vec![String::new(); rows.len()]);
        };
        let refuse = |problem| IngestError::Refused(vec![problem]);
        let (mut reader, hash) =
            open(source).map_err(|fault| refuse(fault.into_problem(&source.name)))?;
        if self.files.get(file as usize).is_some_and(|report| report.fingerprint != hash) {
            return Err(refuse(Problem::new(
                Place::file(&source.name),
                Severity::Fatal,
                Code::FileUnreadable,
                "the file changed while it was being used",
                "run again when nothing writes to it",
            )));
        }
        let wanted: HashMap<u64, usize> =
            rows.iter().enumerate().map(|(at, row)| (u64::from(row.line), at)).collect();
        let mut texts = vec![String::new(); rows.len()];
        reader
            .each(&mut |row| {
                if let Some(text) = wanted.get(&row.line).and_then(|&at| texts.get_mut(at)) {
                    *text = row.text();
                }
            })
            .map_err(|fault| refuse(fault.into_problem(&source.name)))?;
        Ok(texts)
    }
}
