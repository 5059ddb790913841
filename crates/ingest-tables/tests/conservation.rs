//! Rows read = rows kept + rows quarantined, whatever the bytes; and rows set aside later.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a broken fixture fails the test")]

mod common;

use common::{Folder, counts};
use ingest_tables::{IngestError, SetAside, read_book, write_quarantine};
use proptest::prelude::*;
use records::Code;

const HEADER: &[u8] = b"tree,date,nut_kg,moisture_pct\n";

fn messy() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        proptest::collection::vec(any::<u8>(), 0..12),
        "[A-Z0-9,;\"\r\n.\t /-]{0,20}".prop_map(String::into_bytes),
        Just(b"T1,2024-03-01,3.5,8\n".to_vec()),
        Just(b"T2,01/03/2024,\"3,5\",\n".to_vec()),
        Just(b"\"".to_vec()),
        Just(b"\r\n".to_vec()),
        Just("Á,45000,1.234,5".as_bytes().to_vec()),
    ];
    proptest::collection::vec(piece, 0..40).prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn no_bytes_break_conservation(body in messy()) {
        let folder = Folder::new();
        folder.put("harvests_1.csv", [HEADER, &body].concat());
        let tables = read_book(folder.path(), &mut |_| ()).unwrap();
        let mut height = 0;
        for file in &tables.files {
            prop_assert!(file.is_conserved(), "{file:?}");
            let rows = tables.quarantine.iter().filter(|row| row.file == file.file).count();
            prop_assert_eq!(rows as u64, file.rows_quarantined);
            height += file.rows_kept;
        }
        let frames: usize = tables.frames.values().map(|frame| frame.height()).sum();
        prop_assert_eq!(frames as u64, height);
        write_quarantine(std::io::sink(), &tables.quarantine, "").unwrap();
    }

    /// Rows without quotation marks: each line that holds anything is one row, kept or set aside
    /// with its own text on its own line.
    #[test]
    fn plain_lines_are_rows_one_to_one(lines in proptest::collection::vec("[a-zA-Z0-9,./ -]{0,24}", 0..30)) {
        let folder = Folder::new();
        let body = lines.join("\n");
        folder.put("harvests_1.csv", [HEADER, body.as_bytes()].concat());
        let tables = folder.read();
        let blank = |line: &&String| line.chars().all(|c| c == ',' || c == ' ');
        let full = lines.iter().filter(|line| !blank(line)).count() as u64;
        prop_assert_eq!(counts(&tables, "harvests_1.csv").0, full);
        for row in tables.quarantine.iter().filter(|row| row.file == "harvests_1.csv") {
            prop_assert_eq!(&row.text, &lines[row.line as usize - 2]);
        }
    }
}

fn set_aside(file: u32, line: u32) -> SetAside {
    SetAside {
        file,
        line,
        column: Some("tree".into()),
        code: Code::TreeUnknown,
        reason: "the tree table does not list it".to_owned(),
        remedy: "add the tree".to_owned(),
    }
}

#[test]
fn rows_set_aside_later_keep_their_text() {
    let folder = Folder::new();
    folder.put(
        "harvests.csv",
        "tree,date,nut_kg\n\nT1,2024-03-01,3\n\"T\n9\",2024-03-01,\"4\"\nT2,x,1\n",
    );
    let mut tables = folder.read();
    assert_eq!(counts(&tables, "harvests.csv"), (3, 2, 1));
    tables.set_aside(vec![set_aside(3, 4), set_aside(3, 4)]).unwrap();
    assert_eq!(counts(&tables, "harvests.csv"), (3, 1, 2));
    let row = tables.quarantine.last().unwrap();
    assert_eq!((row.line, row.text.as_str()), (4, "\"T\n9\",2024-03-01,\"4\""));
    assert!(common::has_problem(&tables, Code::TreeUnknown, "harvests.csv:4:1"));
    assert!(matches!(tables.set_aside(vec![set_aside(99, 2)]), Err(IngestError::Internal(_))));

    let mut csv = Vec::new();
    write_quarantine(&mut csv, &tables.quarantine, "").unwrap();
    let text = String::from_utf8(csv).unwrap();
    assert!(text.contains("harvests.csv,4,1,tree-unknown,"), "{text}");
}

#[test]
fn a_file_that_changed_is_noticed() {
    let folder = Folder::new();
    let mut tables = folder.read();
    folder.put("harvests.csv", "tree,date,nut_kg\nT9,2024-03-01,3\n");
    assert!(matches!(tables.set_aside(vec![set_aside(3, 2)]), Err(IngestError::Refused(_))));
}

#[test]
fn inputs_that_change_after_reading_are_named() {
    let folder = Folder::new();
    let tables = folder.read();
    assert_eq!(tables.check_unchanged(folder.path()), Ok(()));
    let named = |folder: &Folder| match tables.check_unchanged(folder.path()) {
        Err(IngestError::Refused(problems)) => {
            assert!(problems.iter().all(|problem| problem.code == Code::FileChanged));
            problems.into_iter().map(|p| (p.place.file, p.what)).collect::<Vec<_>>()
        }
        other => panic!("{other:?}"),
    };
    let trees = std::fs::read(folder.path().join("trees.csv")).unwrap();
    folder.put("trees.csv", "tree,block\nT1,B1\n");
    folder.put("harvests_2.csv", "tree,date,nut_kg\n");
    let found = named(&folder);
    assert_eq!(found.len(), 2);
    assert!(found[0].0 == "trees.csv" && found[0].1.contains("changed"), "{found:?}");
    assert!(found[1].0 == "harvests_2.csv" && found[1].1.contains("was added"), "{found:?}");
    folder.put("trees.csv", trees);
    folder.remove("harvests_2.csv");
    assert_eq!(tables.check_unchanged(folder.path()), Ok(()));
    folder.remove("harvests.csv");
    assert!(named(&folder)[0].1.contains("vanished"));
    folder.settings("# a remark");
    assert_eq!(named(&folder)[0].0, "book.toml");
}

/// One fingerprint stands for all files: it follows names and bytes and nothing else.
#[test]
fn one_fingerprint_for_all_inputs() {
    let folder = Folder::new();
    let first = folder.read().fingerprint();
    assert_eq!(first.len(), 16);
    assert_eq!(folder.read().fingerprint(), first);
    folder.settings("# a remark");
    let second = folder.read().fingerprint();
    assert_ne!(second, first);
    folder.remove("harvests.csv");
    folder.put("harvests_1.csv", common::HARVESTS);
    assert_ne!(folder.read().fingerprint(), second);
}
