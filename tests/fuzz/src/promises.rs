//! Promises of reading: conservation, no repair without a count, and cleaned rows that read as themselves.

use crate::{Folder, SETTINGS, canonical};
use ingest_tables::{BookTables, FileReport, quiet_guarded_panics, read_book, write_quarantine};
use records::{Severity, Table};
use std::collections::BTreeSet;
use std::sync::Once;

/// The fuzzer ends at every panic, those that reading turns into messages too.
static QUIET: Once = Once::new();

/// Reads a book; `None` when it is refused, which must come with a reason and a remedy.
pub fn read(folder: &Folder) -> Option<BookTables> {
    QUIET.call_once(quiet_guarded_panics);
    match read_book(folder.path(), &mut |_| ()) {
        Ok(tables) => Some(tables),
        Err(error) => {
            let problems = error.problems();
            assert!(!problems.is_empty(), "refused without a problem: {error}");
            for problem in problems {
                assert!(problem.severity == Severity::Fatal, "{problem}");
                assert!(!problem.what.is_empty() && !problem.place.file.is_empty(), "{problem}");
                assert!(!problem.remedy.is_empty(), "no remedy: {problem}");
            }
            None
        }
    }
}

/// Conservation in every file, in the frames and in the quarantine; then idempotence.
pub fn assert_promises(tables: &BookTables) {
    let mut kept = 0;
    for file in &tables.files {
        assert!(file.is_conserved(), "{file:?}");
        let aside = tables.quarantine.iter().filter(|row| row.file == file.file).count();
        assert_eq!(aside as u64, file.rows_quarantined, "{file:?}");
        kept += file.rows_kept;
    }
    let frames: usize = tables.frames.values().map(|frame| frame.height()).sum();
    assert_eq!(frames as u64, kept, "rows of the frames");
    let places: BTreeSet<(&str, u64)> =
        tables.quarantine.iter().map(|row| (row.file.as_str(), row.line)).collect();
    assert_eq!(places.len(), tables.quarantine.len(), "two rows in one place");
    for row in &tables.quarantine {
        assert!(!row.reason.is_empty() && !row.remedy.is_empty(), "{row:?}");
    }
    write_quarantine(std::io::sink(), &tables.quarantine, "")
        .expect("a quarantine that can be written");
    assert_idempotent(tables);
}

fn repairs(files: &[FileReport]) -> u64 {
    files.iter().flat_map(|file| &file.repairs).map(|repair| repair.count).sum()
}

/// What was kept, written out plainly, is kept whole, unrepaired and unchanged.
fn assert_idempotent(tables: &BookTables) {
    let folder = Folder::empty();
    folder.put("book.toml", SETTINGS);
    let mut written = Vec::new();
    for (table, frame) in &tables.frames {
        let text = canonical(frame);
        // A table without rows is absent for a second reading, and may then be refused as missing.
        if frame.height() == 0 && Table::spec(*table).required {
            return;
        }
        if frame.height() > 0 {
            folder.put(&format!("{table}.csv"), &text);
            written.push((*table, text));
        }
    }
    let again = read(&folder).expect("kept rows are read again");
    assert!(
        again.quarantine.is_empty(),
        "set aside at the second reading: {:#?}",
        again.quarantine
    );
    assert_eq!(repairs(&again.files), 0, "repaired at the second reading: {:#?}", again.files);
    for (table, text) in written {
        assert_eq!(canonical(&again.frames[&table]), text, "{table} changed at the second reading");
    }
}
