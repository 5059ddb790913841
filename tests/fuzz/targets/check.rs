//! A whole book in one input, through `anacurve check` with its outputs.
//!
//! Files follow one another, each begun by a line `%% name`.
#![no_main]

use anacurve::args::Cli;
use clap::Parser;
use fuzz::Folder;
use libfuzzer_sys::fuzz_target;
use std::process::ExitCode;

const NAMES: [&str; 8] = [
    "book.toml",
    "blocks.csv",
    "trees.csv",
    "prunings.csv",
    "laterals.csv",
    "harvests.csv",
    "trials.csv",
    "harvests_2.tsv",
];

fuzz_target!(|data: &[u8]| {
    let folder = Folder::empty();
    let mut rest = data;
    while let Some(start) = find(rest, b"%% ") {
        let part = &rest[start + 3..];
        let end = find(part, b"\n%% ").map_or(part.len(), |end| end + 1);
        let line = find(part, b"\n").unwrap_or(part.len());
        let name = &part[..line.min(part.len())];
        if let Some(name) = NAMES.iter().find(|known| known.as_bytes() == name) {
            folder.put(name, part.get(line + 1..end).unwrap_or_default());
        }
        rest = &part[end.min(part.len())..];
    }
    let out = folder.path().join("out");
    let book = folder.path().to_str().expect("a name in UTF-8");
    let arguments =
        ["anacurve", "check", book, "--format", "json", "--out", out.to_str().unwrap_or_default()];
    let code = anacurve::execute(&Cli::parse_from(arguments));
    if code == ExitCode::from(2) {
        assert!(!out.exists(), "a failed check wrote something");
    } else {
        assert!(out.join("tree_seasons.parquet").is_file() && out.join("quarantine.csv").is_file());
    }
});

fn find(text: &[u8], part: &[u8]) -> Option<usize> {
    text.windows(part.len()).position(|window| window == part)
}
