//! The files that a book was read from, by their fingerprints: one for all, and whether they are still the same.

use crate::discover::discover;
use crate::read::read_settings;
use crate::report::fingerprint;
use crate::{BookTables, IngestError};
use records::{Code, Place, Problem, Severity};
use std::collections::BTreeMap;
use std::path::Path;
use words::{say, text};

const SETTINGS: &str = "book.toml";

impl BookTables {
    /// Name and fingerprint of every file read, `book.toml` first, then in reading order.
    #[must_use]
    pub fn inputs(&self) -> Vec<(&str, &str)> {
        let files = self.files.iter().map(|file| (file.file.as_str(), file.fingerprint.as_str()));
        std::iter::once((SETTINGS, self.settings.as_str())).chain(files).collect()
    }

    /// One fingerprint of all inputs: the fingerprint of their names and fingerprints, a line each.
    #[must_use]
    pub fn fingerprint(&self) -> String {
        let lines = self.inputs().into_iter().map(|(name, hash)| format!("{name}\t{hash}\n"));
        fingerprint(lines.collect::<String>().as_bytes())
    }

    /// Looks at the files again: a result computed from records that changed meanwhile would mix
    /// two states of the book.
    ///
    /// # Errors
    /// [`IngestError::Refused`] with every file that changed, vanished or was added since the book
    /// in `dir` was read.
    pub fn check_unchanged(&self, dir: &Path) -> Result<(), IngestError> {
        let changed = |name: &str, what: &str| {
            Problem::new(
                Place::file(name),
                Severity::Fatal,
                Code::FileChanged,
                say!("the file {what} while it was being used"),
                text!("run again when nothing writes to the book"),
            )
        };
        let (book, toml) = read_settings(dir)?;
        if fingerprint(toml.as_bytes()) != self.settings {
            return Err(IngestError::Refused(vec![changed(SETTINGS, "changed")]));
        }
        let mut problems = Vec::new();
        let mut hashes: BTreeMap<&Path, Option<String>> = BTreeMap::new();
        for (source, report) in self.sources.iter().zip(&self.files) {
            let hash = hashes.entry(&source.path).or_insert_with(|| {
                std::fs::read(&source.path).ok().map(|bytes| fingerprint(&bytes))
            });
            match hash {
                None => problems.push(changed(&report.file, "vanished")),
                Some(hash) if *hash != report.fingerprint => {
                    problems.push(changed(&report.file, "changed"));
                }
                Some(_) => {}
            }
        }
        let (sources, _) = discover(dir, &book, &toml, |_| false);
        let is_new = |name: &str| !self.sources.iter().any(|source| source.name == name);
        for source in sources.iter().filter(|source| is_new(&source.name)) {
            problems.push(changed(&source.name, text!("was added")));
        }
        if problems.is_empty() { Ok(()) } else { Err(IngestError::Refused(problems)) }
    }
}
