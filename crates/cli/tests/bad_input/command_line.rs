//! What programs and people at the other end of the command rely on.

use crate::support::{Book, Ran, anacurve, command};
use serde_json::Value;
use std::process::Stdio;

#[test]
fn json_of_check_is_the_whole_of_standard_output() {
    let book = Book::tidy();
    book.append("harvests.csv", "T99,2024-03-01,5.5");
    let ran = anacurve(&["check", book.arg(), "--format", "json"]);
    assert_eq!((ran.code, ran.stderr.as_str()), (1, ""));
    let json: Value = serde_json::from_str(&ran.stdout).unwrap();
    for key in ["book", "files", "linked", "practice", "problems", "quarantine"] {
        assert!(!json[key].is_null(), "{key}");
    }
    let problem = &json["problems"][0];
    assert_eq!((&problem["file"], &problem["line"]), (&"harvests.csv".into(), &38.into()));
    assert_eq!(problem["code"], "tree-unknown");
    assert!(problem["remedy"].as_str().unwrap().len() > 10);
}

#[test]
fn json_of_run_is_the_whole_of_standard_output() {
    let book = Book::tidy();
    let out = book.file("reports");
    let out = out.to_str().unwrap();
    let ran = anacurve(&["run", book.arg(), "--out", out, "--format", "json", "--seed", "7"]);
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
    let json: Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!((&json["seed"], &json["season"]), (&7.into(), &2025.into()));
    let written =
        std::fs::read_to_string(book.file("reports/small-book/2025/advice.json")).unwrap();
    assert_eq!(json, serde_json::from_str::<Value>(&written).unwrap());
}

#[test]
fn all_is_well_in_silence() {
    let book = Book::tidy();
    let ran = book.check();
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{}", ran.stdout);
    let ran = book.run(&book.file("reports"));
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{}", ran.stdout);
    assert!(ran.stdout.contains("index.html"), "{}", ran.stdout);
}

#[test]
fn strict_runs_end_with_1_on_findings_and_write_all_the_same() {
    let book = Book::tidy();
    book.append("harvests.csv", "T99,2024-03-01,5.5");
    let out = book.file("reports");
    let args = ["run", book.arg(), "--out", out.to_str().unwrap()];
    assert_eq!(anacurve(&args).code, 0);
    let strict = anacurve(&[&args[..], &["--strict"]].concat());
    assert_eq!((strict.code, strict.stderr.as_str()), (1, ""));
    let quarantine = std::fs::read_to_string(out.join("small-book/2025/quarantine.csv")).unwrap();
    assert!(quarantine.trim_end().ends_with("\"T99,2024-03-01,5.5\""), "{quarantine}");
    let tidy = Book::tidy();
    let out = tidy.file("reports");
    let args = ["run", tidy.arg(), "--strict", "--out", out.to_str().unwrap()];
    assert_eq!(anacurve(&args).code, 0);
}

#[test]
fn help_tells_the_options_and_exit_codes() {
    for (command, options) in [
        ("run", &["--out", "--seed", "--format", "--strict"][..]),
        ("check", &["--out", "--format"]),
        ("demo", &["--seed", "--format"]),
    ] {
        let ran = anacurve(&[command, "--help"]);
        assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
        for option in options {
            assert!(ran.stdout.contains(option), "{command} --help without {option}");
        }
    }
    let ran = anacurve(&["--help"]);
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
    for word in ["run", "check", "demo", "Exit codes"] {
        assert!(ran.stdout.contains(word), "{word}");
    }
}

#[test]
fn a_misspelt_command_line_fails_with_2() {
    for args in [&["chekc", "x"][..], &["check"], &["run", "x", "--seed", "many"], &[]] {
        let ran = anacurve(args);
        assert_eq!((ran.code, ran.stdout.as_str()), (2, ""), "{args:?}");
        assert!(ran.stderr.contains("--help"), "{}", ran.stderr);
    }
}

/// A reader that has gone away (`anacurve check book | head -1`) is no failure of ours.
#[test]
fn a_broken_pipe_is_success() {
    let book = Book::tidy();
    for args in [&["check", book.arg()][..], &["check", book.arg(), "--format", "json"]] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let child = command(args).stdout(Stdio::from(writer)).spawn().unwrap();
        let ran = Ran::of(child.wait_with_output().unwrap());
        assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
    }
}

#[test]
fn demo_leaves_a_folder_in_use_untouched() {
    let book = Book::tidy();
    let before = names(&book);
    let ran = anacurve(&["demo", book.arg()]);
    ran.fails_saying(&["is not empty", "new or empty folder"]);
    assert_eq!(names(&book), before);
    assert_eq!(book.text("harvests.csv"), Book::tidy().text("harvests.csv"));
    let file = book.file("trees.csv");
    anacurve(&["demo", file.to_str().unwrap()]).fails_saying(&["trees.csv"]);
}

fn names(book: &Book) -> Vec<String> {
    let entries = std::fs::read_dir(book.path()).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn an_out_that_is_a_file_fails_with_2() {
    let book = Book::tidy();
    let taken = book.file("trees.csv");
    let before = book.text("trees.csv");
    book.run(&taken).fails_saying(&["trees.csv", "--out"]);
    let ran = anacurve(&["check", book.arg(), "--out", taken.to_str().unwrap()]);
    ran.fails_saying(&["trees.csv", "--out"]);
    book.run(&taken.join("below")).fails_saying(&["trees.csv", "--out"]);
    assert_eq!(book.text("trees.csv"), before);
}
