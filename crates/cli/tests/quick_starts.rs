//! The quick starts, walked as they stand: every command with the real program, in a folder of its
//! own, its exit code, what it prints, and every file that the text names.
#![cfg(unix)]
// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;
use std::process::{Command, Stdio};

/// Files of other kinds than these are not looked for.
const KINDS: [&str; 9] =
    [".html", ".csv", ".xlsx", ".ics", ".svg", ".json", ".toml", ".parquet", ".arrow"];

/// A fenced block: its first line after the fence, and its text.
struct Block {
    label: String,
    text: String,
}

/// The fenced blocks and the text between them.
fn parts(guide: &str) -> (Vec<Block>, String) {
    let (mut blocks, mut prose) = (Vec::new(), String::new());
    let mut open: Option<Block> = None;
    for line in guide.lines() {
        match (line.strip_prefix("```"), &mut open) {
            (Some(label), None) => {
                open = Some(Block { label: label.to_owned(), text: String::new() });
            }
            (Some(_), Some(_)) => blocks.extend(open.take()),
            (None, Some(block)) => block.text.extend([line, "\n"]),
            (None, None) => prose.extend([line, "\n"]),
        }
    }
    assert!(open.is_none(), "a block is not closed");
    (blocks, prose)
}

fn run(commands: &str, folder: &Path) -> (i32, String) {
    let program = Path::new(env!("CARGO_BIN_EXE_anacurve")).parent().unwrap();
    let path = std::env::var("PATH").unwrap_or_default();
    let output = Command::new("sh")
        .args(["-euc", commands])
        .current_dir(folder)
        .env("PATH", format!("{}:{path}", program.display()))
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let text = [output.stdout, output.stderr].map(|bytes| String::from_utf8(bytes).unwrap());
    (output.status.code().expect("ended by itself"), text.concat())
}

/// Whether the pieces of `wanted` between `...` stand in this order on one line of the text.
fn shows(text: &str, wanted: &str) -> bool {
    let plain = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let pieces: Vec<String> =
        wanted.split("...").map(plain).filter(|piece| !piece.is_empty()).collect();
    let follows = |line: &str| {
        let mut rest = line;
        pieces.iter().all(|piece| match rest.find(piece.as_str()) {
            Some(at) => {
                rest = &rest[at + piece.len()..];
                true
            }
            None => false,
        })
    };
    text.lines().any(|line| follows(&plain(line)))
}

/// Inline code that is a path to a file.
fn named_files(prose: &str) -> Vec<&str> {
    let is_path = |code: &&str| {
        code.contains('/') && !code.contains(' ') && KINDS.iter().any(|kind| code.ends_with(kind))
    };
    prose.split('`').skip(1).step_by(2).filter(is_path).collect()
}

fn walk(name: &str, least_commands: usize) {
    let guides = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data-demo/quick-start");
    let guide = std::fs::read_to_string(guides.join(name)).unwrap();
    let (blocks, prose) = parts(&guide);
    let folder = tempfile::tempdir().unwrap();
    let (mut printed, mut commands) = (String::new(), 0);
    for block in &blocks {
        let words: Vec<&str> = block.label.split(' ').collect();
        match words.as_slice() {
            ["sh", rest @ ..] => {
                let expected = match rest {
                    [] => 0,
                    [exit] => exit.strip_prefix("exit=").unwrap().parse().unwrap(),
                    _ => panic!("{name}: unknown label {}", block.label),
                };
                let (code, text) = run(&block.text, folder.path());
                assert_eq!(code, expected, "{name}: {}\n{text}", block.text);
                printed = text;
                commands += 1;
            }
            ["text"] => {
                for line in block.text.lines() {
                    assert!(shows(&printed, line), "{name}: no '{line}' in\n{printed}");
                }
            }
            _ => panic!("{name}: unknown label {}", block.label),
        }
    }
    let files = named_files(&prose);
    assert!(commands >= least_commands && files.len() > 3, "{name}: {commands} {files:?}");
    for file in files {
        assert!(folder.path().join(file).is_file(), "{name}: {file} was not written");
    }
}

#[test]
fn the_managers_quick_start() {
    walk("manager.md", 7);
}

#[test]
fn the_analysts_quick_start() {
    walk("analyst.md", 10);
}

#[test]
fn the_researchers_quick_start() {
    walk("researcher.md", 6);
}

/// The check itself can fail.
#[test]
fn what_is_not_printed_is_not_shown() {
    assert!(shows("a\nHessel   Brook   Change  30 %\n", "Hessel Brook ... Change ... 30 %"));
    assert!(!shows("Hessel Brook\nChange 30 %", "Hessel Brook ... Change"));
    assert!(!shows("Change Hessel Brook", "Hessel Brook ... Change"));
    let (blocks, prose) = parts("See `a/b.csv` and `no path`.\n```sh exit=1\nfalse\n```\n");
    assert_eq!((blocks[0].label.as_str(), blocks[0].text.as_str()), ("sh exit=1", "false\n"));
    assert_eq!(named_files(&prose), ["a/b.csv"]);
}
