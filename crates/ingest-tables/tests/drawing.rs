//! A share of the trees: what is kept, counted and passed over.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a broken fixture fails the test")]

mod common;

use common::{Folder, report};
use ingest_tables::{BookTables, ReadSettings, read_book_with};
use records::{Code, Severity, Table};
use std::fmt::Write as _;

const TREES: usize = 300;
const TRIAL_TREES: [usize; 2] = [7, 8];

fn id(tree: usize) -> String {
    format!("T{tree:03}")
}

/// A book of 300 trees with two visits and a frame count each; rows of those that `wanted` names.
fn book(wanted: &dyn Fn(&str) -> bool) -> Folder {
    let folder = Folder::new();
    let mut trees = "tree,block\n".to_owned();
    let mut prunings = "tree,date,intensity,measured_as\n".to_owned();
    let mut laterals = "tree,date,frame_m2,laterals\n".to_owned();
    let mut harvests = "tree,date,nut_kg\n".to_owned();
    for id in (0..TREES).map(id) {
        writeln!(trees, "{id},B1").unwrap();
        if wanted(&id) {
            writeln!(prunings, "{id},2023-07-01,0.2,canopy_fraction").unwrap();
            writeln!(laterals, "{id},2023-11-01,0.5,9").unwrap();
            for day in 1..3 {
                writeln!(harvests, "{id},2024-03-0{day},1.5").unwrap();
            }
        }
    }
    let mut trials = "trial,plot,replicate,tree,treatment\n".to_owned();
    for (plot, tree) in TRIAL_TREES.into_iter().enumerate() {
        writeln!(trials, "X,{plot},1,{},a{plot}", id(tree)).unwrap();
    }
    for (name, text) in [
        ("trees.csv", trees),
        ("prunings.csv", prunings),
        ("laterals.csv", laterals),
        ("harvests.csv", harvests),
        ("trials.csv", trials),
    ] {
        folder.put(name, text);
    }
    folder
}

fn drawn(folder: &Folder, share: f64) -> BookTables {
    let settings = ReadSettings { trees: Some(share), ..ReadSettings::default() };
    read_book_with(folder.path(), settings, &mut |_| ()).unwrap()
}

fn ids(tables: &BookTables, table: Table) -> Vec<String> {
    let column = tables.frames[&table].column("tree").unwrap().str().unwrap();
    column.iter().flatten().map(str::to_owned).collect()
}

#[test]
fn rows_of_other_trees_are_counted_and_passed_over() {
    let tables = drawn(&book(&|_| true), 0.3);
    let draw = tables.draw.clone().unwrap();
    let chosen = (0..TREES).map(id).filter(|id| draw.has(id)).count();
    // Five standard deviations of a draw of 300 with chance 0.3, and the trees of the trial.
    assert!((50..=132).contains(&chosen), "{chosen}");
    assert!(TRIAL_TREES.iter().all(|tree| draw.has(&id(*tree))), "trees of trials");
    for file in &tables.files {
        assert!(file.is_conserved(), "{file:?}");
    }
    for (table, name, each) in [
        (Table::Prunings, "prunings.csv", 1),
        (Table::Laterals, "laterals.csv", 1),
        (Table::Harvests, "harvests.csv", 2),
    ] {
        let file = report(&tables, name);
        assert_eq!(file.rows_read as usize, each * TREES);
        assert_eq!(file.rows_not_drawn as usize, each * (TREES - chosen));
        assert!(ids(&tables, table).iter().all(|id| draw.has(id)));
        let told = tables.problems.iter().find(|problem| problem.place.file == name).unwrap();
        assert_eq!((told.code, told.severity), (Code::TreesNotDrawn, Severity::Warning));
        let rows = format!("{} rows of trees", file.rows_not_drawn);
        assert!(told.what.starts_with(&rows), "{}", told.what);
    }
    // The trees themselves all stay, for the work plan.
    assert_eq!(ids(&tables, Table::Trees).len(), TREES);
}

/// A drawn book holds what a book of the drawn trees' rows alone would hold, faults and all.
#[test]
fn a_drawn_book_is_the_book_of_the_drawn_trees() {
    let spoiled = |folder: &Folder| {
        let text = std::fs::read_to_string(folder.path().join("harvests.csv")).unwrap();
        // A row that cannot be read, one that repeats another, and one of a tree without an id.
        let first = text.lines().nth(1).unwrap();
        folder.put("harvests.csv", format!("{text}{first}\nT007,2024-03-09,many\n,2024-03-01,1\n"));
    };
    let whole = book(&|_| true);
    spoiled(&whole);
    let tables = drawn(&whole, 0.4);
    let draw = tables.draw.clone().unwrap();
    let few = book(&|tree| draw.has(tree));
    spoiled(&few);
    let alone = few.read();
    for table in [Table::Prunings, Table::Laterals, Table::Harvests] {
        let of = |tables: &BookTables| tables.frames[&table].drop_many([".line", ".file"]);
        assert!(of(&tables).equals_missing(&of(&alone)), "{table}");
    }
    let faults = |tables: &BookTables| -> Vec<(Code, String)> {
        tables.quarantine.iter().map(|row| (row.code, row.text.clone())).collect()
    };
    let of_trees =
        |(_, text): &(Code, String)| text.split(',').next().is_some_and(|id| draw.has(id));
    let expected: Vec<_> = faults(&alone).into_iter().filter(of_trees).collect();
    assert_eq!(faults(&tables), expected);
    assert!(expected.iter().any(|(code, _)| *code == Code::NumberUnreadable));
}
