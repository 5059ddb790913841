//! Codes are explained by examples that really produce them; commands have completions and pages.

#![expect(clippy::unwrap_used, reason = "tests fail by panicking")]

use records::Code;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn anacurve(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_anacurve")).args(arguments).output().unwrap()
}

/// A book of two trees in which everything is right.
fn small_book() -> BTreeMap<&'static str, String> {
    let book = "[book]\nname = \"Small\"\n\n[economics]\ncurrency = \"crowns\"\n\
                price_per_kg = 1.2\nwage_per_hour = 0.9\n\n[regions.coast]\nname = \"Coast\"\n\
                harvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n";
    BTreeMap::from([
        ("book.toml", book.to_owned()),
        ("blocks.csv", "block,site,region,planted\nA1,Home,coast,2010-06-01\n".to_owned()),
        ("trees.csv", "tree,block\nA1-01,A1\nA1-02,A1\n".to_owned()),
        (
            "harvests.csv",
            "tree,date,nut_kg\nA1-01,2023-02-11,1.6\nA1-02,2023-02-12,1.8\n".to_owned(),
        ),
        (
            "prunings.csv",
            "tree,date,intensity,measured_as\nA1-01,2022-07-01,0.2,canopy_fraction\n".to_owned(),
        ),
    ])
}

/// Codes that `check` finds in a book.
fn found(files: &BTreeMap<&'static str, String>) -> String {
    let dir = tempfile::tempdir().unwrap();
    for (name, text) in files {
        fs::write(dir.path().join(name), text).unwrap();
    }
    let output = anacurve(&["check", dir.path().to_str().unwrap()]);
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

#[test]
fn every_example_produces_its_code_and_its_mended_line_does_not() {
    let clean = found(&small_book());
    let mut tried = 0;
    for code in Code::ALL {
        let Some(example) = code.explanation().example else { continue };
        assert!(!clean.contains(code.as_str()), "{code} in a clean book:\n{clean}");
        let with = |line: &str| {
            let mut files = small_book();
            let file = files.get_mut(example.file).unwrap();
            if *code == Code::ColumnMissing {
                *file = file.replacen("tree,date,nut_kg", line, 1);
            } else {
                file.push_str(line);
                file.push('\n');
            }
            found(&files)
        };
        let wrong = with(example.wrong);
        assert!(wrong.contains(code.as_str()), "{code} is not found:\n{wrong}");
        let right = with(example.right);
        assert!(!right.contains(code.as_str()), "{code} is still found:\n{right}");
        tried += 1;
    }
    assert_eq!(tried, 19);
}

#[test]
fn a_code_that_does_not_exist_names_near_ones() {
    let output = anacurve(&["explain", "tree-unknwon"]);
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2));
    assert!(message.contains("tree-unknown"), "{message}");
    let output = anacurve(&["explain", "--format", "json"]);
    let all: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(all.as_array().unwrap().len(), Code::ALL.len());
}

#[test]
fn completions_and_pages_cover_every_command() {
    let help = String::from_utf8(anacurve(&["--help"]).stdout).unwrap();
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.trim().is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|command| *command != "help")
        .collect();
    assert!(commands.len() > 10, "{commands:?}");
    for shell in ["bash", "zsh", "fish"] {
        let script = String::from_utf8(anacurve(&["completions", shell]).stdout).unwrap();
        for command in &commands {
            assert!(script.contains(command), "{command} in {shell}");
        }
    }
    // Values of closed sets are completed too.
    let script = String::from_utf8(anacurve(&["completions", "bash"]).stdout).unwrap();
    for values in ["\"en pt\"", "\"demo first trial untidy\"", "randomised_blocks latin_square "] {
        assert!(script.contains(values), "{values}");
    }
    let dir = tempfile::tempdir().unwrap();
    assert!(anacurve(&["manual", dir.path().to_str().unwrap()]).status.success());
    for command in commands {
        let page = dir.path().join(format!("anacurve-{command}.1"));
        let text = fs::read_to_string(&page).unwrap();
        assert!(text.contains(".SH SYNOPSIS"), "{}", Path::new(&page).display());
    }
    let run = fs::read_to_string(dir.path().join("anacurve-run.1")).unwrap();
    assert!(
        run.contains("[\\fB\\-\\-out\\fR \\fIDIR\\fR]") && run.contains("[\\fB\\-\\-keep\\fR]"),
        "{run}"
    );
}
