//! `results.csv`: appended plantation by plantation, so that a cut-off run goes on where it stopped.

use crate::args::Plantation;
use crate::row::Row;
use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The results so far and the file they are kept in.
pub struct Results {
    path: PathBuf,
    known: BTreeMap<Plantation, Vec<Row>>,
    file: File,
}

impl Results {
    /// Reads what is there, leaves out plantations that were cut off, and opens the file for more.
    pub fn open(path: &Path) -> io::Result<Self> {
        let mut known: BTreeMap<Plantation, Vec<Row>> = BTreeMap::new();
        if path.exists() {
            let mut reader = csv::Reader::from_path(path)?;
            // A line that was cut off ends its plantation.
            for row in reader.deserialize::<Row>().map_while(Result::ok) {
                if let Some(plantation) = row.plantation() {
                    known.entry(plantation).or_default().push(row);
                }
            }
            known.retain(|plantation, rows| rows.len() == usize::from(plantation.cell.regions));
        }
        replace(path, &known)?;
        let file = OpenOptions::new().append(true).open(path)?;
        Ok(Self { path: path.to_owned(), known, file })
    }

    /// Whether a plantation is done.
    pub fn has(&self, plantation: &Plantation) -> bool {
        self.known.contains_key(plantation)
    }

    /// Appends the rows of a plantation in one write.
    pub fn push(&mut self, plantation: Plantation, rows: Vec<Row>) -> io::Result<()> {
        self.file.write_all(&lines(&rows, self.known.is_empty())?)?;
        self.known.insert(plantation, rows);
        Ok(())
    }

    /// Rewrites the file in the order of the factorial and gives back all rows.
    pub fn finish(self) -> io::Result<Vec<Row>> {
        replace(&self.path, &self.known)?;
        Ok(self.known.into_values().flatten().collect())
    }
}

fn lines(rows: &[Row], header: bool) -> io::Result<Vec<u8>> {
    let mut writer = csv::WriterBuilder::new().has_headers(header).from_writer(Vec::new());
    for row in rows {
        writer.serialize(row)?;
    }
    writer.into_inner().map_err(|error| error.into_error())
}

/// Writes all rows to a new file and renames it into place.
fn replace(path: &Path, known: &BTreeMap<Plantation, Vec<Row>>) -> io::Result<()> {
    let rows: Vec<Row> = known.values().flatten().cloned().collect();
    let beside = path.with_extension("part");
    std::fs::write(&beside, lines(&rows, true)?)?;
    std::fs::rename(beside, path)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cell::Cell;

    #[test]
    fn a_cut_off_plantation_is_done_again() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("results.csv");
        let cells = Cell::all();
        let rows = |plantation: Plantation| -> Vec<Row> {
            (1..=u32::from(plantation.cell.regions)).map(|r| Row::of(plantation, r)).collect()
        };
        let [first, second] = [cells[0], cells[1]].map(|cell| Plantation { cell, replicate: 0 });
        let mut results = Results::open(&path).unwrap();
        results.push(first, rows(first)).unwrap();
        results.push(second, rows(second)).unwrap();
        drop(results);
        let text = std::fs::read_to_string(&path).unwrap();
        // Lose the second half of the last line.
        std::fs::write(&path, &text[..text.len() - 40]).unwrap();
        let mut results = Results::open(&path).unwrap();
        assert!(results.has(&first) && !results.has(&second));
        results.push(second, rows(second)).unwrap();
        assert_eq!(results.finish().unwrap().len(), rows(first).len() + rows(second).len());
    }
}
