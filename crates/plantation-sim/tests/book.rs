//! The written books: same bytes, readable settings, the promised untidiness.

#![expect(clippy::unwrap_used, reason = "helpers of tests, outside the test functions")]

use plantation_sim::{DEMO_SEED, Plantation, RegionPlan, Tidiness, demo, render_book, simulate};
use records::{Book, MeasuredAs, Table};
use std::collections::BTreeMap;
use std::path::Path;

fn demo_files(seed: u64) -> BTreeMap<String, Vec<u8>> {
    let plantation = demo();
    render_book(&simulate(&plantation, seed), &plantation, Tidiness::Demo).unwrap()
}

fn text(files: &BTreeMap<String, Vec<u8>>, path: &str) -> String {
    String::from_utf8(files[path].clone()).unwrap()
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_does_not() {
    let first = demo_files(DEMO_SEED);
    assert!(first == demo_files(DEMO_SEED));
    assert!(first["harvests_orrin_coast.csv"] != demo_files(1)["harvests_orrin_coast.csv"]);
}

#[test]
fn a_region_does_not_depend_on_its_neighbours() {
    let mut fewer = demo();
    fewer.regions.truncate(2);
    let files = render_book(&simulate(&fewer, DEMO_SEED), &fewer, Tidiness::Clean).unwrap();
    let all = render_book(&simulate(&demo(), DEMO_SEED), &demo(), Tidiness::Clean).unwrap();
    assert!(text(&all, "harvests.csv").starts_with(&text(&files, "harvests.csv")));
}

#[test]
fn the_committed_demo_is_what_the_code_writes() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data-demo");
    let mut committed = BTreeMap::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        // Folders hold what the program kept, not what was simulated.
        if entry.file_type().unwrap().is_dir() {
            continue;
        }
        let name = entry.file_name().into_string().unwrap();
        committed.insert(name, std::fs::read(entry.path()).unwrap());
    }
    let fresh = demo_files(DEMO_SEED);
    let names = |files: &BTreeMap<String, Vec<u8>>| files.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&committed), names(&fresh));
    for (name, bytes) in &fresh {
        assert!(&committed[name] == bytes, "{name} differs; write data-demo again");
    }
}

#[test]
fn the_demo_is_small_and_about_one_row_in_a_hundred_is_bad() {
    let files = demo_files(DEMO_SEED);
    let size: usize = files.values().map(Vec::len).sum();
    assert!(size < 8_000_000, "{size}");
    let truth: serde_json::Value = serde_json::from_slice(&files["truth.json"]).unwrap();
    let count = |value: &serde_json::Value| value.as_u64().unwrap();
    let mut rows = 0;
    for (path, written) in truth["rows_written"].as_object().unwrap() {
        rows += count(written);
        if path.ends_with(".csv") {
            // One line is the header; no cell holds a line break.
            let lines = files[path].iter().filter(|&&byte| byte == b'\n').count() as u64 - 1;
            assert_eq!(lines, count(written), "{path}");
        }
    }
    let kinds: Vec<(&String, u64)> = truth["bad_rows"]
        .as_object()
        .unwrap()
        .values()
        .flat_map(|kinds| kinds.as_object().unwrap().iter())
        .map(|(kind, added)| (kind, count(added)))
        .collect();
    let bad: u64 = kinds.iter().map(|(_, added)| added).sum();
    let share = bad as f64 / rows as f64;
    assert!((0.005..=0.02).contains(&share), "{share}");
    let different: std::collections::BTreeSet<_> = kinds.iter().map(|(kind, _)| kind).collect();
    assert_eq!(different.len(), 12, "{different:?}");
}

/// Witness: the bad cells themselves, looked for in the text of the files.
#[test]
fn bad_rows_are_in_the_files() {
    let files = demo_files(DEMO_SEED);
    let truth: serde_json::Value = serde_json::from_slice(&files["truth.json"]).unwrap();
    let told = |kind: &str| {
        let added = truth["bad_rows"]["harvests_orrin_coast.csv"][kind].as_u64().unwrap();
        assert!(added > 5, "{kind}");
        usize::try_from(added).unwrap()
    };
    let coast = text(&files, "harvests_orrin_coast.csv");
    let lines = |bad: &dyn Fn(&[&str]) -> bool| {
        let cells = |line: &'_ str| bad(&line.split(',').collect::<Vec<_>>());
        coast.lines().skip(1).filter(|line| cells(line)).count()
    };
    let kg = |cells: &[&str]| cells[2].parse::<f64>().ok();
    assert_eq!(lines(&|cells| cells[1] == "after the rains"), told("unreadable_date"));
    assert_eq!(lines(&|cells| kg(cells).is_none()), told("text_in_number"));
    assert_eq!(lines(&|cells| cells.len() != 4), told("ragged"));
    assert_eq!(lines(&|cells| kg(cells).is_some_and(|kg| kg < 0.0)), told("negative_weight"));
    assert_eq!(lines(&|cells| kg(cells).is_some_and(|kg| kg > 300.0)), told("grams_for_kilograms"));
    assert_eq!(lines(&|cells| cells[0].len() > "OC01-001".len()), told("unknown_tree"));
    assert_eq!(lines(&|cells| cells[1] < "2020"), told("before_planting"));
    let distinct: std::collections::BTreeSet<_> = coast.lines().collect();
    assert_eq!(coast.lines().count() - distinct.len(), told("duplicate"));
    let in_flush = |cells: &[&str]| matches!(cells[1].get(5..7), Some("09" | "10" | "11"));
    assert_eq!(lines(&in_flush), told("date_in_no_season"));
    assert!(text(&files, "prunings_pellan_flats.csv").contains(",1.3,canopy_fraction"));
    assert!(text(&files, "prunings_vesk_ridge.csv").contains(",130,canopy_fraction"));
}

#[test]
fn both_books_parse_and_name_their_files() {
    let plantation = demo();
    let records = simulate(&plantation, DEMO_SEED);
    for tidiness in [Tidiness::Demo, Tidiness::Clean] {
        let files = render_book(&records, &plantation, tidiness).unwrap();
        let book = Book::parse(&text(&files, "book.toml")).unwrap();
        assert_eq!(book.regions.len(), 6);
        assert_eq!(book.options.season, Some(2027));
        for region in &plantation.regions {
            let read = &book.regions[&region.id];
            assert_eq!(read.calendar(), Some(region.calendar));
            assert_eq!(book.region_name(&region.id), region.name);
        }
        assert_eq!(book.economics, plantation.economics);
        let listed: Vec<_> = book.files.values().flatten().map(|file| &file.path).collect();
        for path in &listed {
            assert!(files.contains_key(*path), "{path}");
        }
        let tables = files.keys().filter(|path| !path.contains("truth") && !path.ends_with(".md"));
        let found_by_stem = tidiness == Tidiness::Clean;
        // Neither the settings nor the climate normals, which `zones` reads, are tables of the book.
        assert_eq!(listed.len(), if found_by_stem { 0 } else { tables.count() - 2 });
    }
}

#[test]
fn a_clean_book_is_plain() {
    let plantation = Plantation { regions: vec![RegionPlan::typical("only")], ..demo() };
    let records = simulate(&plantation, 7);
    let files = render_book(&records, &plantation, Tidiness::Clean).unwrap();
    let names: Vec<_> = files.keys().map(String::as_str).collect();
    assert_eq!(names, ["blocks.csv", "book.toml", "harvests.csv", "prunings.csv", "trees.csv"]);
    let header = |path: &str| text(&files, path).lines().next().unwrap().to_owned();
    for (table, path) in [
        (Table::Blocks, "blocks.csv"),
        (Table::Trees, "trees.csv"),
        (Table::Prunings, "prunings.csv"),
        (Table::Harvests, "harvests.csv"),
    ] {
        for column in header(path).split(',') {
            assert!(table.spec().column(column).is_some(), "{path} {column}");
        }
    }
    assert_eq!(text(&files, "harvests.csv").lines().count() - 1, records.harvests.len());
    assert!(text(&files, "prunings.csv").contains(MeasuredAs::CanopyFraction.as_str()));
}
