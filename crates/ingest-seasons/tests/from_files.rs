//! From files on disk to tree-seasons: what linking rejects stands in quarantine with its text.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

use ingest_seasons::{Reason, held_blocks, link, standing_trees};
use ingest_tables::{BookTables, read_book};
use polars::prelude::Column;
use records::{Code, Table};

const FILES: [(&str, &str); 5] = [
    (
        "book.toml",
        "[book]\nname = \"Small\"\n[regions.north]\nharvest = [\"02-01\", \"05-31\"]\n\
         flush = [\"09-01\", \"11-30\"]\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.2\n\
         wage_per_hour = 0.8\n",
    ),
    ("blocks.csv", "block,site,region,planted\nN,estate,north,2015\n"),
    ("trees.csv", "tree,block\nN1,N\nN2,N\nL1,Q\n"),
    (
        "prunings.csv",
        "tree,date,intensity,measured_as\nN1,2023-07-15,0.2,shoots\nN2,2014-07-15,0.2,shoots\n",
    ),
    (
        "harvests.csv",
        "tree,date,nut_kg,moisture_pct\nN1,2024-03-01,10,25\nN2,2024-03-01,4,9\n\
         L1,2024-03-01,4,9\nN1,2025-07-04,3,9\n",
    ),
];

#[test]
fn rejected_rows_move_to_quarantine_with_their_text() {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in FILES {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let mut tables = read_book(folder.path(), &mut |_| {}).unwrap();
    let linked = link(&mut tables).unwrap();
    assert_eq!(linked.tree_seasons.num_rows(), 2);

    let mut rows: Vec<_> = tables
        .quarantine
        .iter()
        .map(|row| (row.file.as_str(), row.line, row.column, row.code, row.text.as_str()))
        .collect();
    rows.sort();
    assert_eq!(
        rows,
        [
            ("harvests.csv", 4, Some(1), Code::TreeUnknown, "L1,2024-03-01,4,9"),
            ("harvests.csv", 5, Some(2), Code::DateInNoSeason, "N1,2025-07-04,3,9"),
            ("prunings.csv", 3, Some(2), Code::BeforePlanting, "N2,2014-07-15,0.2,shoots"),
            ("trees.csv", 4, Some(2), Code::BlockUnknown, "L1,Q"),
        ]
    );
    assert!(tables.files.iter().all(ingest_tables::FileReport::is_conserved));
    for (table, kept, linked_rows) in [
        (Table::Harvests, 4, 2),
        (Table::Prunings, 2, 1),
        (Table::Trees, 3, 2),
        (Table::Blocks, 1, 1),
    ] {
        let links = linked.summary.tables.iter().find(|links| links.table == table).unwrap();
        assert_eq!((links.kept, links.linked), (kept, linked_rows), "{table}");
        assert!(links.is_conserved());
    }
    let harvests = linked.summary.tables.iter().find(|t| t.table == Table::Harvests).unwrap();
    assert!(harvests.not_linked.iter().any(|n| n.reason == Reason::SetAside(Code::TreeUnknown)));
}

/// Reading leaves contradicting rows of a tree or block to linking, so files and tables made in
/// memory end alike: every contradicting row is set aside, a mere repeat as a repeat.
#[test]
fn contradicting_rows_are_set_aside_together() {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in FILES {
        let more = match name {
            "blocks.csv" => "S,estate,north,2015\nR,estate,north,2015\nR,other,north,2015\n",
            "trees.csv" => "N2,S\nN2,N\nR1,R\n",
            _ => "",
        };
        std::fs::write(folder.path().join(name), format!("{text}{more}")).unwrap();
    }
    let mut from_files = read_book(folder.path(), &mut |_| {}).unwrap();
    // The same rows without their files, the repeat included that reading set aside.
    let (book, mut frames, files) =
        (from_files.book.clone(), from_files.frames.clone(), from_files.files.clone());
    let trees = frames.get(&Table::Trees).unwrap();
    let repeat =
        trees.slice(1, 1).with_column(Column::new(".line".into(), [6_u32])).unwrap().clone();
    let trees = trees.vstack(&repeat).unwrap();
    frames.insert(Table::Trees, trees);
    let mut files = files;
    (files[1].rows_kept, files[1].rows_quarantined) = (files[1].rows_read, 0);
    let mut in_memory = BookTables::in_memory(book, frames, files);
    link(&mut from_files).unwrap();
    link(&mut in_memory).unwrap();
    let set_aside = |tables: &BookTables| {
        let rows = tables.quarantine.iter();
        let mut rows: Vec<_> = rows.map(|row| (row.file.clone(), row.line, row.code)).collect();
        rows.sort();
        rows
    };
    let found = set_aside(&from_files);
    assert_eq!(found, set_aside(&in_memory));
    let of = |file: &str| -> Vec<(u64, Code)> {
        let rows = found.iter().filter(|row| row.0 == file);
        rows.map(|row| (row.1, row.2)).collect()
    };
    assert_eq!(of("blocks.csv"), [(4, Code::RowDuplicate), (5, Code::RowDuplicate)]);
    assert_eq!(
        of("trees.csv"),
        [
            (3, Code::TreeInTwoBlocks),
            (4, Code::BlockUnknown),
            (5, Code::TreeInTwoBlocks),
            (6, Code::RowDuplicate),
            (7, Code::BlockUnknown),
        ]
    );
    assert!(from_files.files.iter().all(ingest_tables::FileReport::is_conserved));
}

/// With a pick or a pruning set aside, the rest of a tree-season is not the whole: a tree would
/// count as bearing less than it did, or as unpruned.
#[test]
fn what_is_not_whole_is_left_out_and_told() {
    let linked_with = |harvests: &str, prunings: &str| {
        let folder = tempfile::tempdir().unwrap();
        for (name, text) in FILES {
            let more = match name {
                "harvests.csv" => harvests,
                "prunings.csv" => prunings,
                _ => "",
            };
            std::fs::write(folder.path().join(name), format!("{text}{more}")).unwrap();
        }
        let mut tables = read_book(folder.path(), &mut |_| {}).unwrap();
        let linked = link(&mut tables).unwrap();
        let told: Vec<_> = linked
            .problems
            .iter()
            .filter(|problem| problem.code == Code::TreeSeasonIncomplete)
            .map(|problem| (problem.place.file.clone(), problem.place.line.unwrap()))
            .collect();
        assert!(linked.summary.tables.iter().all(ingest_seasons::TableLinks::is_conserved));
        let left_out = |table| {
            let links = linked.summary.tables.iter().find(|links| links.table == table).unwrap();
            let found = links.not_linked.iter().find(|part| part.reason == Reason::Incomplete);
            found.map_or(0, |part| part.rows)
        };
        let rows = linked.tree_seasons.num_rows();
        (rows, left_out(Table::Harvests), left_out(Table::Prunings), told)
    };
    let of = |file: &str, line| (file.to_owned(), line);
    // The pruning before planting is of some season, nobody knows which; the pick in July is one of 2025,
    // of which there is no other.
    let (july, misdated) = (of("harvests.csv", 5), of("prunings.csv", 3));
    let alone = vec![july.clone(), misdated.clone()];
    assert_eq!(linked_with("", ""), (2, 0, 0, alone.clone()));
    // A row that repeats another takes nothing away, nor does one of an unknown tree.
    let harmless = "N1,2024-03-01,10,25\nX9,2024-03-05,many,25\n";
    assert_eq!(linked_with(harmless, ""), (2, 0, 0, alone.clone()));
    // Another pick of N1 without a weight: its pick and its pruning stand alone.
    assert_eq!(linked_with("N1,2024-03-09,many,25\n", ""), (1, 1, 1, alone));
    // A pruning of N2 without an intensity: nobody knows whether N2 was pruned hard.
    let told = vec![july.clone(), misdated.clone(), of("prunings.csv", 4)];
    assert_eq!(linked_with("", "N2,2023-07-20,hard,shoots\n"), (1, 1, 0, told));
    // A pick whose day cannot be read leaves nothing out, and is told.
    let told = vec![july, of("harvests.csv", 6), misdated];
    assert_eq!(linked_with("N2,some day,2,25\n", ""), (2, 0, 0, told));
}

fn book(files: &[(&str, &str)]) -> (tempfile::TempDir, BookTables) {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in FILES.iter().chain(files) {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let tables = read_book(folder.path(), &mut |_| {}).unwrap();
    (folder, tables)
}

/// Where the row of a block or tree was set aside while the files were read, its records lead there.
#[test]
fn records_of_a_row_set_aside_lead_to_it() {
    let (_folder, mut tables) = book(&[
        ("blocks.csv", "block,site,region\nN,estate,north\nQ,,north\n"),
        ("trees.csv", "tree,block\nN1,N\nN2,\nL1,Q\n"),
    ]);
    link(&mut tables).unwrap();
    let of = |file: &str, line| {
        let row = tables.quarantine.iter().find(|row| row.file == file && row.line == line);
        row.map(|row| (row.reason.as_str(), row.remedy.as_str())).unwrap()
    };
    let block = "the row of its block 'Q' was set aside";
    let first = "mend that row first (blocks.csv:3:2)";
    assert_eq!(of("trees.csv", 4), (format!("tree 'L1': {block}").as_str(), first));
    assert_eq!(of("harvests.csv", 4), (format!("tree 'L1': {block}").as_str(), first));
    let (reason, remedy) = of("harvests.csv", 3);
    assert_eq!(reason, "tree 'N2': its row in the tree table was set aside");
    assert_eq!(remedy, "mend that row first (trees.csv:3:2)");
}

/// A day that does not exist tells its season all the same where its month lies in one.
#[test]
fn a_pick_on_a_day_that_is_none_makes_its_season_incomplete() {
    let seasons = |day: &str| -> (Vec<Option<i32>>, bool) {
        let text = format!(
            "tree,date,nut_kg\nN1,2023-03-01,4\nN1,2024-03-01,4\nN1,{day},3\nN2,2024-03-01,4\n"
        );
        let (_folder, mut tables) = book(&[("harvests.csv", &text)]);
        let linked = link(&mut tables).unwrap();
        let found = linked.tree_seasons.column_by_name("season").unwrap();
        let found = found.as_any().downcast_ref::<arrow::array::Int32Array>().unwrap();
        let trees = linked.tree_seasons.column_by_name("tree").unwrap();
        let trees = trees.as_any().downcast_ref::<arrow::array::StringArray>().unwrap();
        let of_first = trees.iter().zip(found.iter()).filter(|(tree, _)| *tree == Some("N1"));
        let is_unsure = linked.problems.iter().any(|problem| {
            problem.code == Code::TreeSeasonIncomplete
                && problem.place.file == "harvests.csv"
                && problem.what.contains("cannot be right")
        });
        (of_first.map(|(_, season)| season).collect(), is_unsure)
    };
    assert_eq!(seasons("2024-03-02"), (vec![Some(2023), Some(2024)], false));
    // February has 29 days in 2024; the month lies in the harvest of 2024, and so does the year.
    assert_eq!(seasons("2024-02-30"), (vec![Some(2023)], false));
    assert_eq!(seasons("2024-13-02"), (vec![Some(2023)], false));
    // 3 April or 4 March of one season: which day it was does not matter.
    assert_eq!(seasons("03/04/2024"), (vec![Some(2023)], false));
    assert_eq!(seasons("soon"), (vec![Some(2023), Some(2024)], true));
    // September is in no harvest: the slip is in the month more likely than in the year.
    assert_eq!(seasons("2024-09-31"), (vec![Some(2023)], false));
}

/// The plan and layouts see a tree of two rows once, and nothing of what the rows contradict.
#[test]
fn a_tree_listed_twice_stands_once_without_what_its_rows_contradict() {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in FILES {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let trees = "tree,block,planted,girth_cm,row\nN1,N,2010,60,4\nN2,N,,70,5\nN1,N,2018,60,6\n";
    std::fs::write(folder.path().join("trees.csv"), trees).unwrap();
    let mut tables = read_book(folder.path(), &mut |_| {}).unwrap();
    link(&mut tables).unwrap();
    let blocks = held_blocks(&tables).unwrap();
    let held: Vec<_> =
        blocks[0].trees.iter().map(|tree| (tree.tree.as_str(), tree.planted)).collect();
    // Without a day of its own a tree has that of its block.
    assert_eq!(held, [("N1", None), ("N2", Some("2015-01-01".parse().unwrap()))]);
    let standing: Vec<_> = standing_trees(&tables)
        .unwrap()
        .into_iter()
        .map(|tree| (tree.tree, tree.row, tree.girth_cm))
        .collect();
    let expected = [("N1", None, Some(60.0)), ("N2", Some(5), Some(70.0))];
    assert_eq!(standing, expected.map(|(tree, row, girth)| (tree.to_owned(), row, girth)));
}

/// A file per season, and the first round of the last one typed with the year before: the season that it
/// falls into is in another file, and in its own it comes first.
#[test]
fn a_round_of_the_year_before_is_told_in_the_file_of_its_season() {
    let told = |slip: bool| {
        let folder = tempfile::tempdir().unwrap();
        let mut trees = "tree,block\n".to_owned();
        let mut files = vec![String::new(); 3];
        for tree in 1..=20 {
            trees.push_str(&format!("N{tree},N\n"));
        }
        for (year, file) in (2023..).zip(&mut files) {
            file.push_str("tree,date,nut_kg,moisture_pct\n");
            for month in 2..=4 {
                let written = year - i32::from(slip && (year, month) == (2025, 2));
                for tree in 1..=20 {
                    let kg = year - 2020;
                    file.push_str(&format!("N{tree},{written}-0{month}-1{},{kg},9\n", tree % 9));
                }
            }
        }
        for (name, text) in FILES.iter().filter(|(name, _)| *name != "harvests.csv") {
            let text = if *name == "trees.csv" { trees.as_str() } else { text };
            std::fs::write(folder.path().join(name), text).unwrap();
        }
        for (year, file) in (2023..).zip(&files) {
            std::fs::write(folder.path().join(format!("harvests_{year}.csv")), file).unwrap();
        }
        let mut tables = read_book(folder.path(), &mut |_| {}).unwrap();
        let problems = link(&mut tables).unwrap().problems.into_iter();
        let told = problems.filter(|problem| problem.code == Code::SeasonStray);
        told.map(|problem| (problem.place.to_string(), problem.what)).collect::<Vec<_>>()
    };
    assert_eq!(told(false), []);
    let [(place, what)] = told(true).try_into().unwrap();
    assert_eq!(place, "harvests_2025.csv:2:2");
    assert_eq!(
        what,
        "20 picks of season 2024 among picks of season 2025 in this file: a slip of the year?"
    );
}
