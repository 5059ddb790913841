//! The small example books: written by `demo --kind`, checked, run and held against their truth.

// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[allow(dead_code, reason = "shared with the tests of bad input")]
mod support;

use serde_json::Value;
use std::path::{Path, PathBuf};
use support::{Ran, anacurve};
use tempfile::TempDir;

/// An example book in a folder of its own.
struct Written {
    folder: TempDir,
    book: PathBuf,
}

impl Written {
    fn of(kind: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let book = folder.path().join("book");
        let ran = anacurve(&["demo", book.to_str().unwrap(), "--kind", kind]);
        assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
        Self { folder, book }
    }

    fn on(&self, command: &str, more: &[&str]) -> Ran {
        let mut words = vec![command, self.book.to_str().unwrap()];
        words.extend(more);
        anacurve(&words)
    }

    fn truth(&self) -> Value {
        read(&self.book.join("truth.json"))
    }

    /// Runs the book to the end and returns `advice.json`.
    fn advice(&self) -> Value {
        let out = self.folder.path().join("reports");
        let ran =
            self.on("run", &["--seed", "1", "--out", out.to_str().unwrap(), "--format", "json"]);
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        serde_json::from_str(&ran.stdout).unwrap()
    }

    /// One region whose verdict is the expected one, whose band and intervals hold the truth, with so
    /// many tree-seasons left out as not whole.
    fn advice_holds_the_truth(&self, left_out: u64) {
        let (advice, truth) = (self.advice(), self.truth());
        let (found, expected) = (&advice["regions"][0], &truth["regions"][0]);
        assert_eq!(advice["regions"].as_array().unwrap().len(), 1);
        assert_eq!(found["verdict"], expected["verdict"], "{}", found["reason"]);
        let rows = found["rows"].as_u64().unwrap();
        assert_eq!(Some(rows + left_out), expected["tree_seasons"].as_u64());
        let best = number(&expected["net_optimum"]["intensity"]);
        let band = [number(&found["band"][0]), number(&found["band"][1])];
        assert!(band[0] <= best && best <= band[1], "{best} outside {band:?}");
        for gain in ["gain_over_unpruned_kg", "gain_over_present_kg"] {
            let own = number(&expected[gain]);
            let (low, high) = (number(&found[gain]["low"]), number(&found[gain]["high"]));
            assert!(low <= own && own <= high, "{gain}: {own} outside {low} to {high}");
        }
    }
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn read(path: &Path) -> Value {
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

#[test]
fn nothing_is_wrong_in_the_first_book_and_its_advice_holds_the_truth() {
    let written = Written::of("first");
    let ran = written.on("check", &[]);
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{}", ran.stdout);
    written.advice_holds_the_truth(0);
}

#[test]
fn the_trial_field_is_analysed_and_its_means_follow_the_true_treatments() {
    let written = Written::of("trial");
    let ran = written.on("check", &[]);
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{}", ran.stdout);
    written.advice_holds_the_truth(0);

    let ran = written.on("trial", &["OT-depth", "--format", "json"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let trials: Value = serde_json::from_str(&ran.stdout).unwrap();
    let combined = &trials[0]["together"][0]["combined"]["Ok"];
    let means = combined["means"].as_array().unwrap();
    let mean = |level: &str| {
        number(&means.iter().find(|row| row["treatment"] == level).expect(level)["mean"])
    };
    // The difference that the trial tells apart is what its means may stray.
    let stray = number(&combined["differences"]["minimum_difference"]["largest"]);
    let truth = written.truth();
    let treatments = truth["trials"][0]["treatments"].as_array().unwrap();
    assert_eq!(means.len(), treatments.len());
    for treatment in treatments {
        let level = treatment["levels"]["intensity_level"].as_str().unwrap();
        let expected = mean("0") * number(&treatment["ratio"]);
        let found = mean(level);
        assert!((found - expected).abs() < stray, "{level}: {found} against {expected}");
    }
}

#[test]
fn slips_in_the_untidy_spreadsheets_are_set_aside_and_the_advice_holds_the_truth() {
    let written = Written::of("untidy");
    let ran = written.on("check", &["--format", "json"]);
    assert_eq!((ran.code, ran.stderr.as_str()), (1, ""), "{}", ran.stdout);
    let told: Value = serde_json::from_str(&ran.stdout).unwrap();
    let truth = written.truth();
    for (file, rows) in truth["rows_written"].as_object().unwrap() {
        let files = told["files"].as_array().unwrap();
        let of = |own: &&Value| own["file"].as_str().unwrap().starts_with(file.as_str());
        let own = files.iter().find(of).unwrap_or_else(|| panic!("{file} was not read"));
        assert_eq!(&own["rows_read"], rows, "{file}");
    }
    // "7 tree-seasons with a row set aside are not whole and left out".
    let told = told["problems"].as_array().unwrap().iter();
    let left_out = told.filter(|problem| problem["code"] == "tree-season-incomplete");
    let left_out = left_out.filter_map(|problem| {
        let (count, rest) = problem["what"].as_str().unwrap().split_once(' ')?;
        rest.contains("left out").then(|| count.parse::<u64>().unwrap())
    });
    let left_out = left_out.sum();
    assert!(left_out > 0);
    written.advice_holds_the_truth(left_out);
}

#[test]
fn another_kind_is_refused_with_the_known_ones() {
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("book");
    let ran = anacurve(&["demo", book.to_str().unwrap(), "--kind", "frist"]);
    assert_eq!((ran.code, ran.stdout.as_str()), (2, ""));
    assert!(ran.stderr.contains("known are demo, first, trial, untidy"), "{}", ran.stderr);
    assert!(!book.exists());
}

/// As one who works in the folder of the book names it, and its harvests by a pattern.
#[test]
fn a_book_is_read_from_within_its_folder() {
    let book = support::Book::tidy();
    std::fs::create_dir(book.file("picks")).unwrap();
    std::fs::rename(book.file("harvests.csv"), book.file("picks/all.csv")).unwrap();
    let settings = book.text("book.toml") + "[[files.harvests]]\npath = \"picks/*.csv\"\n";
    book.put("book.toml", settings);
    let told = |folder: &Path, book: &str| {
        let mut program = std::process::Command::new(env!("CARGO_BIN_EXE_anacurve"));
        let output = program.current_dir(folder).args(["check", book]).output().unwrap();
        let message = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(0), "{book}: {message}");
        output.stdout
    };
    let outside = told(Path::new("/"), book.arg());
    assert!(String::from_utf8_lossy(&outside).contains("picks/all.csv"));
    for name in [".", "./", "./picks/.."] {
        assert_eq!(told(book.path(), name), outside, "{name}");
    }
    assert_eq!(told(&book.file("picks"), ".."), outside);
}

/// Every tree pruned, at 15 or at 35 %: by lot, which runs, and all alike in a season, of which nothing is advised.
#[test]
fn two_intensities_without_an_unpruned_tree_are_no_defect() {
    let run = |level: fn(usize, usize) -> f64| -> Value {
        let book = support::Book::tidy();
        let mut rows = "tree,date,intensity,measured_as\n".to_owned();
        for year in 2021..2024 {
            for tree in 1..=12 {
                rows += &format!("T{tree:02},{year}-07-12,{},canopy_fraction\n", level(tree, year));
            }
        }
        book.put("prunings.csv", rows);
        let out = tempfile::tempdir().unwrap();
        let ran = anacurve(&[
            "run",
            book.arg(),
            "--out",
            out.path().to_str().unwrap(),
            "--format",
            "json",
        ]);
        assert!(ran.code < 2, "{}", ran.stderr);
        serde_json::from_str(&ran.stdout).unwrap()
    };
    run(|tree, year| if (tree * 7 + year * 3) % 5 < 2 { 0.15 } else { 0.35 });
    let alike = run(|_, year| if year == 2022 { 0.15 } else { 0.35 });
    assert_eq!(alike["regions"][0]["verdict"], "trial");
}
