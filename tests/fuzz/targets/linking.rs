//! Rows of a few trees and days in two orders: linking keeps every row and does not mind the order.
//!
//! Where rows repeat a tree, a block or a trial's tree the first row counts, by a rule that is
//! stated and warned of; the order is free only where nothing repeats.
#![no_main]

use arrow::record_batch::RecordBatch;
use fuzz::{Folder, SETTINGS, read};
use ingest_seasons::{LinkError, Linked, link};
use libfuzzer_sys::fuzz_target;
use records::{Code, Problem};

const TREES: [&str; 6] = ["T1", "T2", "T3", "T4", "t1", "T1 "];
const REGIONS: &str = r#"
[regions.south]
harvest = ["11-15", "02-28"]
rest = ["03-01", "06-30"]
flush = ["07-01", "08-31"]
"#;

/// Five bytes make a row of one of the tables.
fn tables(rows: &[[u8; 5]], backwards: bool) -> [(&'static str, String); 5] {
    let mut blocks = Vec::new();
    let mut trees = Vec::new();
    let mut prunings = Vec::new();
    let mut harvests = Vec::new();
    let mut trials = Vec::new();
    for [kind, who, year, day, much] in rows {
        let tree = TREES[usize::from(*who) % TREES.len()];
        let year = 2020 + u32::from(*year) % 6;
        let (month, date) = (1 + u32::from(*day) / 29 % 12, 1 + u32::from(*day) % 29);
        let much = u32::from(*much);
        match kind % 8 {
            0 => blocks.push(format!(
                "B{},S{},{}",
                who % 3,
                much % 2,
                ["coast", "south", "nowhere"][much as usize / 2 % 3]
            )),
            1 => trees.push(format!("{tree},B{},{}", much % 4, 2000 + much % 30)),
            2 | 3 => prunings.push(format!(
                "{tree},{year}-{month:02}-{date:02},{},canopy_fraction",
                f64::from(much % 110) / 100.0
            )),
            4 => trials.push(format!("X{},{tree},{}", much % 2, much % 3)),
            _ => harvests.push(format!(
                "{tree},{year}-{month:02}-{date:02},{},{}",
                f64::from(much) / 8.0,
                if much % 3 == 0 { "9" } else { "" }
            )),
        }
    }
    let written = |head: &str, mut rows: Vec<String>| {
        if backwards {
            rows.reverse();
        }
        format!("{head}\n{}\n", rows.join("\n"))
    };
    [
        ("blocks", written("block,site,region", blocks)),
        ("trees", written("tree,block,planted", trees)),
        ("prunings", written("tree,date,intensity,measured_as", prunings)),
        ("harvests", written("tree,date,nut_kg,moisture_pct", harvests)),
        ("trials", written("trial,tree,replicate", trials)),
    ]
}

/// What came of a book: refused, nothing linked, or linked; and whether rows repeat one another.
fn linked(rows: &[[u8; 5]], backwards: bool) -> (Option<Option<Linked>>, bool) {
    let folder = Folder::empty();
    folder.put("book.toml", format!("{SETTINGS}{REGIONS}"));
    for (name, text) in tables(rows, backwards) {
        folder.put(&format!("{name}.csv"), text);
    }
    let Some(mut tables) = read(&folder) else { return (None, false) };
    let outcome = link(&mut tables);
    let repeats = |problems: &[Problem]| problems.iter().any(|p| p.code == Code::RowDuplicate);
    let repeated = repeats(&tables.problems);
    for file in &tables.files {
        assert!(file.is_conserved(), "{file:?}");
    }
    match outcome {
        Ok(linked) => {
            for part in &linked.summary.tables {
                let away: u64 = part.not_linked.iter().map(|part| part.rows).sum();
                assert_eq!(part.kept, part.linked + away, "{part:?}");
            }
            let repeated = repeated || repeats(&linked.problems);
            (Some(Some(linked)), repeated)
        }
        Err(LinkError::NothingLinked { .. }) => (Some(None), repeated),
        Err(error) => panic!("{error}"),
    }
}

/// The columns that say nothing of places in files, as text.
fn shown(batch: &RecordBatch) -> String {
    format!("{batch:?}")
}

fuzz_target!(|data: &[u8]| {
    let rows: Vec<[u8; 5]> = data.chunks_exact(5).filter_map(|c| c.try_into().ok()).collect();
    let (there, repeated) = linked(&rows, false);
    let (back, again) = linked(&rows, true);
    assert_eq!(repeated, again, "the order decides whether rows repeat");
    if repeated {
        return;
    }
    match (there, back) {
        (Some(Some(there)), Some(Some(back))) => {
            assert_eq!(shown(&there.tree_seasons), shown(&back.tree_seasons), "order of rows");
            assert_eq!(shown(&there.frame_counts), shown(&back.frame_counts), "order of rows");
            assert_eq!(there.practice, back.practice, "order of rows");
        }
        (None, None) | (Some(None), Some(None)) => {}
        (there, back) => {
            panic!("the order decides what is linked: {} {}", there.is_some(), back.is_some())
        }
    }
});
