//! The same records and seed give the same bytes, whatever the number of threads and the order of rows.
#![allow(clippy::unwrap_used, reason = "helpers of a test may fail as loudly as the test itself")]

#[path = "support/folder.rs"]
mod folder;
#[path = "support/simulated.rs"]
mod simulated;

use arrow::record_batch::RecordBatch;
use folder::contents;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{Seek, Write};
use std::path::{Path, PathBuf};

fn report_of(book: &Path, out: &Path, settings: &[(&str, &str)]) -> BTreeMap<PathBuf, Vec<u8>> {
    simulated::run(book, out, &[], settings);
    contents(&simulated::report(out))
}

/// Names of files that differ, or that only one of the two has.
fn differences(
    one: &BTreeMap<PathBuf, Vec<u8>>,
    other: &BTreeMap<PathBuf, Vec<u8>>,
) -> Vec<PathBuf> {
    let names: BTreeSet<&PathBuf> = one.keys().chain(other.keys()).collect();
    names.into_iter().filter(|name| one.get(*name) != other.get(*name)).cloned().collect()
}

#[test]
fn threads_and_repetition_change_no_byte() {
    let temporary = tempfile::tempdir().unwrap();
    let book = temporary.path().join("book");
    simulated::write(&book);
    let out = |name: &str| temporary.path().join(name);
    let first = report_of(&book, &out("first"), &[]);
    assert!(first.len() > 20, "a whole report: {:?}", first.keys());
    for threads in ["1", "3"] {
        let settings = [("RAYON_NUM_THREADS", threads), ("POLARS_MAX_THREADS", threads)];
        let again = report_of(&book, &out(threads), &settings);
        assert_eq!(differences(&first, &again), Vec::<PathBuf>::new(), "{threads} threads");
    }
}

/// Puts the rows of a table, its header aside, into an order without a pattern.
fn shuffle(file: &Path) {
    let text = std::fs::read_to_string(file).unwrap();
    let mut lines: Vec<&str> = text.lines().collect();
    let scattered = |line: &&str| {
        line.bytes().fold(0x9e37_79b9_7f4a_7c15_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3).rotate_left(17)
        })
    };
    lines[1..].sort_by_key(scattered);
    std::fs::write(file, lines.join("\n") + "\n").unwrap();
}

/// Fingerprints of the inputs, which a report names and which the order of rows does change.
fn fingerprints(report: &BTreeMap<PathBuf, Vec<u8>>) -> BTreeSet<String> {
    let fit: serde_json::Value = serde_json::from_slice(&report[Path::new("fit.json")]).unwrap();
    let mut found = BTreeSet::new();
    let mut open = vec![&fit];
    while let Some(value) = open.pop() {
        match value {
            serde_json::Value::Array(items) => open.extend(items),
            serde_json::Value::Object(fields) => {
                for (key, value) in fields {
                    match value.as_str() {
                        Some(text) if key.ends_with("fingerprint") => {
                            found.insert(text.to_owned());
                        }
                        _ => open.push(value),
                    }
                }
            }
            _ => {}
        }
    }
    assert!(found.len() > 4, "{found:?}");
    found
}

fn rows(bytes: &[u8]) -> Vec<RecordBatch> {
    let mut file = tempfile::tempfile().unwrap();
    file.write_all(bytes).unwrap();
    file.rewind().unwrap();
    let reader = ParquetRecordBatchReaderBuilder::try_new(file).unwrap().build().unwrap();
    reader.map(Result::unwrap).collect()
}

/// What the two reports must share: texts without the inputs' fingerprints, and the rows of tables.
/// Workbooks are left out, since each of their sheets is a CSV file beside them, and so is the
/// manifest, which holds hashes of the files compared here.
fn assert_alike(one: &BTreeMap<PathBuf, Vec<u8>>, other: &BTreeMap<PathBuf, Vec<u8>>) {
    assert_eq!(one.keys().collect::<Vec<_>>(), other.keys().collect::<Vec<_>>());
    let (of_one, of_other) = (fingerprints(one), fingerprints(other));
    let plain = |bytes: &[u8], fingerprints: &BTreeSet<String>| -> String {
        let text = String::from_utf8(bytes.to_vec()).unwrap();
        fingerprints.iter().fold(text, |text, hash| text.replace(hash, "FINGERPRINT"))
    };
    let mut compared = 0;
    for (name, bytes) in one {
        let ending = name.extension().and_then(|ending| ending.to_str()).unwrap_or("");
        match ending {
            "xlsx" => {}
            "json" if name.ends_with("manifest.json") => {}
            "parquet" => {
                let (a, b) = (rows(bytes), rows(&other[name]));
                assert_eq!(a.len(), b.len(), "{}", name.display());
                for (a, b) in a.iter().zip(&b) {
                    assert_eq!(a.schema().fields(), b.schema().fields(), "{}", name.display());
                    for field in a.schema().fields() {
                        let column = field.name();
                        let same = a.column_by_name(column) == b.column_by_name(column);
                        let fingerprint = column.ends_with("fingerprint");
                        assert!(same != fingerprint, "{} {column}", name.display());
                    }
                }
                compared += 1;
            }
            "arrow" => {
                let read = |bytes: &[u8]| -> Vec<RecordBatch> {
                    let reader = arrow::ipc::reader::FileReader::try_new(
                        std::io::Cursor::new(bytes.to_vec()),
                        None,
                    );
                    reader.unwrap().map(Result::unwrap).collect()
                };
                for (a, b) in read(bytes).iter().zip(&read(&other[name])) {
                    assert_eq!(a.columns(), b.columns(), "{}", name.display());
                }
                compared += 1;
            }
            _ => {
                let (a, b) = (plain(bytes, &of_one), plain(&other[name], &of_other));
                let differs = a.lines().zip(b.lines()).find(|(a, b)| a != b);
                assert!(a == b, "{}: {differs:?}", name.display());
                compared += 1;
            }
        }
    }
    assert!(compared > 20);
}

#[test]
fn the_order_of_rows_changes_nothing_but_fingerprints() {
    let temporary = tempfile::tempdir().unwrap();
    let book = temporary.path().join("book");
    simulated::write(&book);
    let in_order = report_of(&book, &temporary.path().join("in-order"), &[]);
    let mut shuffled = 0;
    for entry in std::fs::read_dir(&book).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "csv") {
            shuffle(&path);
            shuffled += 1;
        }
    }
    assert_eq!(shuffled, 6, "every table");
    let scattered = report_of(&book, &temporary.path().join("scattered"), &[]);
    assert_alike(&in_order, &scattered);
}
