//! Rows kept from an earlier reading: the same tables, and nothing believed that no longer holds.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

mod common;

use common::{Folder, aside, report};
use ingest_tables::{BookTables, ReadSettings, read_book_with};
use records::{Code, Table};
use std::path::Path;

fn read(folder: &Folder, cache: &Path) -> BookTables {
    let settings = ReadSettings { cache: Some(cache), ..ReadSettings::default() };
    read_book_with(folder.path(), settings, &mut |_| ()).unwrap()
}

/// Everything that a reader of the tables can see.
fn seen(tables: &BookTables) -> String {
    let BookTables { frames, files, problems, quarantine, .. } = tables;
    let frames: Vec<String> = frames
        .iter()
        .map(|(table, frame)| {
            let columns = frame.columns().iter();
            let columns = columns.map(|column| {
                let values: Vec<String> = (0..column.len())
                    .map(|row| format!("{:?}", column.get(row).unwrap().into_static()))
                    .collect();
                format!("{} {:?} {values:?}", column.name(), column.dtype())
            });
            format!("{table}: {:?}", columns.collect::<Vec<_>>())
        })
        .collect();
    format!("{frames:#?}\n{files:#?}\n{problems:#?}\n{quarantine:#?}")
}

#[test]
fn tables_repairs_and_rows_set_aside_are_the_same_with_and_without() {
    let folder = Folder::new();
    let cache = tempfile::tempdir().unwrap();
    folder.put(
        "harvests.csv",
        "tree,date,nut_kg,moisture_pct,who\nT1,2024-03-01,\"3,5\",,x\nT2,2024-03-01,4000,8%,\n\
         T1,2024-03-02,70,9,\nT1,2024-03-02,70,9,\n",
    );
    folder.put("blocks.csv", "block,site,region,planted,training\nB1,S1,coast,2009,open centre\n");
    folder.put("trials.csv", "trial,tree,replicate,dose\nA,T1,R1,low\nA,T2,R1,high\n");
    let plain = folder.read();
    let cold = read(&folder, cache.path());
    let warm = read(&folder, cache.path());
    assert_eq!((cold.from_cache, warm.from_cache), (0, 4), "all but the trial table");
    assert_eq!(seen(&plain), seen(&cold));
    assert_eq!(seen(&plain), seen(&warm));
    assert!(!aside(&warm).is_empty() && !warm.problems.is_empty());
}

#[test]
fn a_row_that_repeats_one_of_a_kept_file_is_noticed() {
    let folder = Folder::new();
    let cache = tempfile::tempdir().unwrap();
    folder.remove("harvests.csv");
    folder.put("harvests_2024.csv", common::HARVESTS);
    read(&folder, cache.path());
    folder.put("harvests_2025.csv", "tree,date,nut_kg\nT2,2024-03-01,4.5\nT2,2025-03-01,5\n");
    let grown = read(&folder, cache.path());
    assert_eq!(grown.from_cache, 4);
    assert_eq!(aside(&grown), [(2, Some(1), Code::RowDuplicate)]);
    assert!(grown.quarantine[0].reason.contains("harvests_2024.csv:3"));
    assert_eq!(seen(&folder.read()), seen(&grown));
}

#[test]
fn what_reading_depends_on_makes_another_entry() {
    let folder = Folder::new();
    let cache = tempfile::tempdir().unwrap();
    read(&folder, cache.path());
    // Another file name, another declaration, another byte.
    folder.settings("\n[[files.harvests]]\npath = \"harvests.csv\"\nunits = { nut_kg = \"g\" }\n");
    let grams = read(&folder, cache.path());
    assert_eq!(grams.from_cache, 3);
    let kg = grams.frames[&Table::Harvests].column("nut_kg").unwrap().f64().unwrap().get(0);
    assert_eq!(kg, Some(0.0035));
    folder.settings("");
    folder.put("trees.csv", "tree,block\nT1,B1\nT2,B1\nT3,B1\n");
    let grown = read(&folder, cache.path());
    assert_eq!(grown.from_cache, 3);
    assert_eq!(report(&grown, "trees.csv").rows_kept, 3);
}

#[test]
fn damaged_and_foreign_entries_are_passed_over() {
    let folder = Folder::new();
    let cache = tempfile::tempdir().unwrap();
    read(&folder, cache.path());
    let entries: Vec<_> =
        std::fs::read_dir(cache.path()).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(entries.len(), 4);
    let whole: Vec<Vec<u8>> = entries.iter().map(|path| std::fs::read(path).unwrap()).collect();
    let spoil: [&dyn Fn(usize) -> Vec<u8>; 4] = [
        &|_| Vec::new(),
        &|at| whole[at][..whole[at].len() - 1].to_vec(),
        &|at| [&whole[at][..], b"x"].concat(),
        // Whole, but of another file.
        &|at| whole[(at + 1) % whole.len()].clone(),
    ];
    for spoil in spoil {
        for (at, path) in entries.iter().enumerate() {
            std::fs::write(path, spoil(at)).unwrap();
        }
        let again = read(&folder, cache.path());
        assert_eq!(again.from_cache, 0);
        assert_eq!(seen(&folder.read()), seen(&again));
    }
    assert_eq!(read(&folder, cache.path()).from_cache, 4, "written again");
}
