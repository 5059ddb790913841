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
    for key in ["book", "files", "linked", "practice", "problems", "quarantine", "spot_checks"] {
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
    let lenient = anacurve(&args);
    assert_eq!(lenient.code, 0);
    let line = "1 row was set aside; quarantine.csv";
    assert!(lenient.stdout.contains(line), "{}", lenient.stdout);
    let strict = anacurve(&[&args[..], &["--strict"]].concat());
    assert_eq!((strict.code, strict.stderr.as_str()), (1, ""));
    let quarantine = std::fs::read_to_string(out.join("small-book/2025/quarantine.csv")).unwrap();
    assert!(quarantine.contains(",\"T99,2024-03-01,5.5\","), "{quarantine}");
    let tidy = Book::tidy();
    let out = tidy.file("reports");
    let args = ["run", tidy.arg(), "--strict", "--out", out.to_str().unwrap()];
    assert_eq!(anacurve(&args).code, 0);
}

#[test]
fn help_tells_the_options_and_exit_codes() {
    for (command, options) in [
        ("run", &["--out", "--seed", "--format", "--strict"][..]),
        ("check", &["--out", "--seed", "--format"]),
        ("demo", &["--out", "--seed", "--format"]),
    ] {
        let ran = anacurve(&[command, "--help"]);
        assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
        for option in options {
            assert!(ran.stdout.contains(option), "{command} --help without {option}");
        }
        assert!(ran.stdout.contains("Examples:\n  anacurve "), "{}", ran.stdout);
    }
    let ran = anacurve(&["--help"]);
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
    let findings =
        "(check, trial; run with --strict; plan where a\n     window cannot hold the work or";
    for word in ["run", "check", "demo", "Exit codes", findings, "review where the records do not"]
    {
        assert!(ran.stdout.contains(word), "{word}");
    }
    let ran = anacurve(&["plan", "--help"]);
    assert!(ran.stdout.contains("or blocks or trees were set aside"), "{}", ran.stdout);
    let ran = anacurve(&["trial", "--help"]);
    assert!(
        ran.stdout.contains("were set aside, so that the\nresult is without"),
        "{}",
        ran.stdout
    );
}

#[test]
fn a_misspelt_command_line_fails_with_2() {
    for args in [&["chekc", "x"][..], &["check"], &["demo"], &["run", "x", "--seed", "many"], &[]] {
        let ran = anacurve(args);
        assert_eq!((ran.code, ran.stdout.as_str()), (2, ""), "{args:?}");
        assert!(ran.stderr.contains("--help"), "{}", ran.stderr);
    }
}

/// An option that a command does not have is no value of it, whatever the parser would make of it.
#[test]
fn an_unknown_option_is_not_offered_as_a_value() {
    let ran = anacurve(&["run", "x", "--season", "2028"]);
    assert_eq!((ran.code, ran.stdout.as_str()), (2, ""));
    assert!(ran.stderr.contains("season under [options] of book.toml"), "{}", ran.stderr);
    assert!(!ran.stderr.contains("-- --season"), "{}", ran.stderr);
    let ran = anacurve(&["run", "x", "--sede", "2"]);
    assert!(ran.stderr.contains("'--seed'"), "{}", ran.stderr);
}

/// What is wrong is told in words of the field, not of the parser.
#[test]
fn a_year_is_asked_for_as_a_year() {
    for args in [
        ["review", "x", "--season", "abc"],
        ["review", "x", "--through", "26"],
        ["run", "x", "--through", "2O25"],
    ] {
        let ran = anacurve(&args);
        assert_eq!((ran.code, ran.stdout.as_str()), (2, ""), "{args:?}");
        assert!(ran.stderr.contains("a year is wanted, such as 2026"), "{}", ran.stderr);
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

/// DIR and --out name the same folder; with both there is no telling which is meant.
#[test]
fn demo_takes_its_folder_either_way_but_not_twice() {
    let out = tempfile::tempdir().unwrap();
    let [one, other] = ["one", "other"].map(|name| out.path().join(name));
    let [one, other] = [&one, &other].map(|path| path.to_str().unwrap());
    assert_eq!(anacurve(&["demo", one, "--seed", "3"]).code, 0);
    assert_eq!(anacurve(&["demo", "--out", other, "--seed", "3"]).code, 0);
    let written = |dir: &str| {
        let entries = std::fs::read_dir(dir).unwrap().map(|entry| entry.unwrap().path());
        let mut files: Vec<_> = entries
            .map(|path| (path.file_name().unwrap().to_owned(), std::fs::read(&path).unwrap()))
            .collect();
        files.sort();
        files
    };
    assert_eq!(written(one), written(other));
    let ran = anacurve(&["demo", one, "--out", other]);
    assert_eq!((ran.code, ran.stdout.as_str()), (2, ""));
    assert!(
        ran.stderr.contains("--out") && ran.stderr.contains("cannot be used"),
        "{}",
        ran.stderr
    );
}

/// Rows shown for comparison are rows of the files, drawn by the seed.
#[test]
fn check_draws_rows_to_compare_by_seed() {
    let book = Book::tidy();
    // Set aside by linking, so never drawn.
    book.append("harvests.csv", "T99,2024-03-01,5.5");
    let drawn = |seed: &str| -> Vec<(String, u64, String)> {
        let ran = anacurve(&["check", book.arg(), "--format", "json", "--seed", seed]);
        let json: Value = serde_json::from_str(&ran.stdout).unwrap();
        assert_eq!(json["spot_checks"]["seed"].to_string(), seed);
        let rows = json["spot_checks"]["rows"].as_array().unwrap();
        let row = |row: &Value| {
            let values = row["values"].as_array().unwrap().iter();
            let values: Vec<_> = values.map(|value| value["value"].as_str().unwrap()).collect();
            (
                row["file"].as_str().unwrap().to_owned(),
                row["line"].as_u64().unwrap(),
                values.join(","),
            )
        };
        rows.iter().map(row).collect()
    };
    let first = drawn("1");
    assert_eq!(first, drawn("1"));
    assert_eq!(first.len(), 4);
    let mut seen = std::collections::BTreeSet::new();
    for seed in 1..20 {
        for (file, line, row) in drawn(&seed.to_string()) {
            let text = book.text(&file);
            let typed = text.lines().nth(line as usize - 1).unwrap();
            // Trailing zeros are the typist's.
            let typed = typed.strip_suffix('0').filter(|_| typed.contains('.')).unwrap_or(typed);
            assert_eq!(row, typed.trim_end_matches(".0"), "{file}:{line}");
            assert!(!row.contains("T99"));
            seen.insert((file, line));
        }
    }
    // 19 draws of 2 of 36 rows of either file miss a row with a chance of (34/36)^19 = 0.34.
    assert!(seen.len() > 30, "{}", seen.len());
    let text = anacurve(&["check", book.arg(), "--seed", "1"]).stdout;
    let (file, line, _) = &first[0];
    assert!(text.contains("(seed 1)") && text.contains(&format!("{file}:{line}  tree ")), "{text}");
}

/// One of a thing is named in the singular.
#[test]
fn check_counts_in_words_that_agree() {
    let book = Book::of(crate::support::Plan { trees: 1, seasons: &[2024], varied: true });
    let text = book.check().stdout;
    let line = "1 tree-season of 1 tree in 1 block at 1 site; season 2024; advice is for 2025";
    assert!(text.contains(line), "{text}");
    let text = Book::tidy().check().stdout;
    let line = "36 tree-seasons of 12 trees in 2 blocks at 1 site; seasons 2022, 2023, 2024";
    assert!(text.contains(line), "{text}");
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
