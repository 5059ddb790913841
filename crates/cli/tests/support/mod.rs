//! Small record books on disk and the real program run on them.

mod ran;

pub use ran::Ran;

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

const TOML: &str = "\
[book]
name = \"Small Book\"

[economics]
currency = \"coins\"
price_per_kg = 1.2
wage_per_hour = 0.9

[economics.pruning_time]
minutes_per_tree = 4.0
minutes_full_canopy = 30.0

[regions.plain]
harvest = [\"02-01\", \"05-31\"]
rest = [\"06-01\", \"08-31\"]
flush = [\"09-01\", \"11-30\"]
";

/// What a small book holds.
#[derive(Clone, Copy)]
pub struct Plan {
    pub trees: usize,
    pub seasons: &'static [i32],
    /// Whether the intensity differs between trees and seasons.
    pub varied: bool,
}

/// Twelve trees in two blocks of one region over three seasons: nothing to find.
pub const TIDY: Plan = Plan { trees: 12, seasons: &[2022, 2023, 2024], varied: true };

/// A record book in a folder of its own.
pub struct Book {
    folder: TempDir,
}

impl Book {
    pub fn tidy() -> Self {
        Self::of(TIDY)
    }

    /// One pruning and one pick of every tree in every season, sorted by season and tree.
    pub fn of(plan: Plan) -> Self {
        let book = Self { folder: tempfile::tempdir().unwrap() };
        let mut trees = "tree,block\n".to_owned();
        let mut prunings = "tree,date,intensity,measured_as\n".to_owned();
        let mut harvests = "tree,date,nut_kg\n".to_owned();
        for tree in 1..=plan.trees {
            writeln!(trees, "T{tree:02},B{}", 1 + tree % 2).unwrap();
        }
        for &season in plan.seasons {
            let year = usize::try_from(season).unwrap();
            for tree in 1..=plan.trees {
                let level = if plan.varied { (tree + year) % 4 } else { 1 };
                let intensity = 0.1 * (level + 1) as f64;
                let before = season - 1;
                let day = 10 + tree % 15;
                writeln!(prunings, "T{tree:02},{before}-07-{day},{intensity:.1},canopy_fraction")
                    .unwrap();
                let chance = ((tree * 37 + year * 11) % 17) as f64 / 10.0;
                let kg = 5.0 + 8.0 * intensity - 14.0 * intensity * intensity + chance;
                writeln!(harvests, "T{tree:02},{season}-03-{day},{kg:.2}").unwrap();
            }
        }
        book.put("book.toml", TOML);
        book.put(
            "blocks.csv",
            "block,site,region,row_spacing_m,tree_spacing_m,planted\n\
             B1,Farm,plain,8,8,2008\nB2,Farm,plain,8,8,2012\n",
        );
        book.put("trees.csv", trees);
        book.put("prunings.csv", prunings);
        book.put("harvests.csv", harvests);
        book
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.path().join(name)
    }

    pub fn put(&self, name: &str, bytes: impl AsRef<[u8]>) {
        std::fs::write(self.file(name), bytes).unwrap();
    }

    pub fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.file(name)).unwrap()
    }

    pub fn remove(&self, name: &str) {
        std::fs::remove_file(self.file(name)).unwrap();
    }

    /// Adds a row to a table and returns its line.
    pub fn append(&self, name: &str, row: &str) -> usize {
        let mut file = std::fs::OpenOptions::new().append(true).open(self.file(name)).unwrap();
        writeln!(file, "{row}").unwrap();
        self.text(name).lines().count()
    }

    /// Puts another row in the place of a line counted from 1.
    pub fn spoil(&self, name: &str, line: usize, row: &str) {
        let text = self.text(name);
        let mut lines: Vec<&str> = text.lines().collect();
        lines[line - 1] = row;
        self.put(name, lines.join("\n") + "\n");
    }

    /// Replaces text that stands in a file, and returns the line where it stood.
    pub fn replace(&self, name: &str, from: &str, to: &str) -> usize {
        let text = self.text(name);
        let at = text.find(from).unwrap_or_else(|| panic!("{name} has no {from}"));
        self.put(name, text.replacen(from, to, 1));
        1 + text[..at].matches('\n').count()
    }

    pub fn check(&self) -> Ran {
        anacurve(&["check", self.arg()])
    }

    /// `check` as JSON, with its `quarantine.csv`.
    pub fn check_json(&self) -> (Ran, serde_json::Value, String) {
        let out = tempfile::tempdir().unwrap();
        let dir = out.path().to_str().unwrap();
        let ran = anacurve(&["check", self.arg(), "--format", "json", "--out", dir]);
        let json = serde_json::from_str(&ran.stdout).expect("stdout is one JSON document");
        let quarantine = std::fs::read_to_string(out.path().join("quarantine.csv")).unwrap();
        (ran, json, quarantine)
    }

    pub fn run(&self, out: &Path) -> Ran {
        anacurve(&["run", self.arg(), "--out", out.to_str().unwrap()])
    }

    pub fn arg(&self) -> &str {
        self.path().to_str().unwrap()
    }
}

/// The program, its output captured.
pub fn command(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_anacurve"));
    command.args(args).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// Runs the program to its end.
pub fn anacurve(args: &[&str]) -> Ran {
    Ran::of(command(args).output().unwrap())
}
