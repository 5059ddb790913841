//! A season added to a book: only its files are parsed, and the report is that of a cold run.
#![allow(clippy::unwrap_used, reason = "helpers of a test may fail as loudly as the test itself")]

#[path = "support/folder.rs"]
mod folder;
#[path = "support/simulated.rs"]
mod simulated;

use folder::contents;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Splits a table by the year of the rows' day, as a book grows; the latest year goes to `aside`.
fn split_by_year(book: &Path, table: &str, aside: &Path) {
    let text = std::fs::read_to_string(book.join(format!("{table}.csv"))).unwrap();
    let (header, rows) = text.split_once('\n').unwrap();
    let mut years: BTreeMap<&str, String> = BTreeMap::new();
    for row in rows.lines() {
        let year = &row.split(',').nth(1).unwrap()[..4];
        years.entry(year).or_insert_with(|| format!("{header}\n")).push_str(&format!("{row}\n"));
    }
    std::fs::remove_file(book.join(format!("{table}.csv"))).unwrap();
    let latest = *years.keys().next_back().unwrap();
    for (year, text) in &years {
        let folder = if *year == latest { aside } else { book };
        std::fs::write(folder.join(format!("{table}_{year}.csv")), text).unwrap();
    }
}

struct Place {
    temporary: tempfile::TempDir,
}

impl Place {
    fn path(&self, name: &str) -> PathBuf {
        self.temporary.path().join(name)
    }

    /// Files of the book and those taken from the cache, in a run that wrote its report to `out`.
    fn run(&self, out: &str) -> (u64, u64) {
        let (cache, timings) = (self.path("cache"), self.path("timings.json"));
        let more = ["--cache", cache.to_str().unwrap(), "--timings", timings.to_str().unwrap()];
        simulated::run(&self.path("book"), &self.path(out), &more, &[]);
        let told: serde_json::Value =
            serde_json::from_slice(&std::fs::read(timings).unwrap()).unwrap();
        let stages: Vec<&str> = told["stages"]
            .as_array()
            .unwrap()
            .iter()
            .map(|s| s["stage"].as_str().unwrap())
            .collect();
        assert!(stages.starts_with(&["reading", "linking"]), "{stages:?}");
        let work = &told["work"];
        (work["files"].as_u64().unwrap(), work["files_from_cache"].as_u64().unwrap())
    }

    fn report(&self, out: &str) -> BTreeMap<PathBuf, Vec<u8>> {
        contents(&simulated::report(&self.path(out)))
    }
}

#[test]
fn only_new_files_are_parsed_and_the_report_is_that_of_a_cold_run() {
    let place = Place { temporary: tempfile::tempdir().unwrap() };
    let (book, later) = (place.path("book"), place.path("later"));
    simulated::write(&book);
    std::fs::create_dir(&later).unwrap();
    for table in ["harvests", "prunings", "laterals"] {
        split_by_year(&book, table, &later);
    }
    let (before, from_cache) = place.run("before");
    assert_eq!(from_cache, 0, "the first run parses all");

    let added: Vec<PathBuf> =
        std::fs::read_dir(&later).unwrap().map(|entry| entry.unwrap().path()).collect();
    for path in &added {
        std::fs::rename(path, book.join(path.file_name().unwrap())).unwrap();
    }
    let (files, from_cache) = place.run("added");
    assert_eq!(files, before + added.len() as u64);
    // The trial table, whose factors are no columns of a schema, is always parsed.
    assert_eq!(files - from_cache, added.len() as u64 + 1);

    simulated::run(&book, &place.path("cold"), &[], &[]);
    assert!(place.report("cold") == place.report("added"), "same bytes without the cache");

    // One byte of every entry is changed: none is believed, and all are written again.
    for entry in std::fs::read_dir(place.path("cache")).unwrap() {
        let path = entry.unwrap().path();
        let mut bytes = std::fs::read(&path).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 0x20;
        std::fs::write(&path, bytes).unwrap();
    }
    assert_eq!(place.run("damaged"), (files, 0));
    assert!(place.report("cold") == place.report("damaged"));
    assert_eq!(place.run("whole"), (files, files - 1));
    assert!(place.report("cold") == place.report("whole"));
}

#[test]
fn a_cache_that_cannot_be_written_is_told_with_a_remedy() {
    let temporary = tempfile::tempdir().unwrap();
    let book = temporary.path().join("book");
    simulated::write(&book);
    let file = temporary.path().join("a-file");
    std::fs::write(&file, "").unwrap();
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_anacurve"))
        .args(["check", book.to_str().unwrap(), "--cache", file.to_str().unwrap()])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let text = String::from_utf8(output.stderr).unwrap();
    assert!(text.contains("the cache cannot be written") && text.contains("--cache"), "{text}");
}
