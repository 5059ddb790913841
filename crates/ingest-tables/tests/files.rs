//! Which files are read, spreadsheets, Parquet, and books that are refused.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

mod common;

use arrow::array::{
    ArrayRef, BooleanArray, Date32Array, Decimal128Array, DictionaryArray, Float32Array,
    Int64Array, RecordBatch, StringArray, TimestampMillisecondArray, UInt32Array,
};
use arrow::datatypes::Int32Type;
use common::{Folder, aside, column, counts, has_problem, only, repairs, report};
use parquet::arrow::ArrowWriter;
use records::{Code, Table};
use rust_xlsxwriter::{Format, Formula, Workbook};
use std::sync::Arc;

#[test]
fn a_workbook_of_all_tables_is_read_sheet_by_sheet() {
    let folder = Folder::new();
    for table in ["blocks", "trees", "prunings", "harvests"] {
        folder.remove(&format!("{table}.csv"));
    }
    let mut book = Workbook::new();
    for (name, text) in
        [("Blocks", common::BLOCKS), ("trees", common::TREES), ("prunings", common::PRUNINGS)]
    {
        let sheet = book.add_worksheet().set_name(name).unwrap();
        for (row, line) in (0..).zip(text.lines()) {
            for (cell, word) in (0..).zip(line.split(',')) {
                sheet.write_string(row, cell, word).unwrap();
            }
        }
    }
    let sheet = book.add_worksheet().set_name("harvests").unwrap();
    let day = Format::new().set_num_format("dd/mm/yyyy");
    sheet.merge_range(0, 0, 0, 2, "Picks of the year", &Format::new()).unwrap();
    for (cell, word) in (0..).zip(["Tree", "Date", "Nut kg"]) {
        sheet.write_string(2, cell, word).unwrap();
    }
    sheet.write_number(3, 0, 101).unwrap();
    // 45352 is 1 March 2024 in the 1900 date system.
    sheet.write_number_with_format(3, 1, 45352, &day).unwrap();
    sheet.write_number(3, 2, 3.5).unwrap();
    sheet.write_string(4, 0, "T2").unwrap();
    sheet.write_string(4, 1, "2024-03-02").unwrap();
    sheet.write_formula(4, 2, Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
    sheet.write_string(6, 0, "T2").unwrap();
    sheet.write_number(6, 1, 45353).unwrap();
    sheet.write_string(6, 2, "4,5").unwrap();
    sheet.write_boolean(7, 2, true).unwrap();
    sheet.write_string(7, 0, "T2").unwrap();
    sheet.write_string(1_048_575, 16_383, " ").unwrap();
    book.save(folder.path().join("season.xlsx")).unwrap();

    let tables = folder.read();
    assert_eq!(counts(&tables, "season.xlsx#Blocks"), (1, 1, 0));
    assert_eq!(counts(&tables, "season.xlsx#harvests"), (4, 2, 2));
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["101", "T2"]);
    assert_eq!(column(&tables, Table::Harvests, "date"), ["2024-03-01", "2024-03-02"]);
    assert_eq!(column(&tables, Table::Harvests, ".line"), ["4", "7"]);
    assert_eq!(
        repairs(&tables, "season.xlsx#harvests"),
        [
            (Code::TitleSkipped, String::new(), 1, 1),
            (Code::DateSerial, "date".to_owned(), 1, 7),
            (Code::DecimalComma, "nut_kg".to_owned(), 1, 7),
        ]
    );
    assert_eq!(
        aside(&tables),
        [(5, Some(3), Code::NumberUnreadable), (8, Some(2), Code::CellMissing)]
    );
    assert!(tables.quarantine[0].reason.contains("#DIV/0!"), "{:?}", tables.quarantine[0]);
    assert_eq!(tables.quarantine[0].text, "T2\t2024-03-02\t#DIV/0!");
}

#[test]
fn a_sheet_may_be_named_in_the_settings() {
    let folder = Folder::new();
    let mut book = Workbook::new();
    book.add_worksheet().set_name("other").unwrap().write_string(0, 0, "x").unwrap();
    let sheet = book.add_worksheet().set_name("2024").unwrap();
    for (cell, word) in (0..).zip(["tree", "date", "nut_kg", ""]) {
        sheet.write_string(0, cell, word).unwrap();
    }
    sheet.write_string(1, 0, "T1").unwrap();
    sheet.write_string(1, 1, "2024-03-01").unwrap();
    sheet.write_number(1, 2, 2).unwrap();
    sheet.write_string(1, 4, "a remark").unwrap();
    std::fs::create_dir(folder.path().join("sub")).unwrap();
    book.save(folder.path().join("sub/picks.xlsx")).unwrap();
    folder.settings("[[files.harvests]]\npath = \"sub/picks.xlsx\"\nsheet = \"2024\"\n");
    let tables = folder.read();
    assert_eq!(counts(&tables, "sub/picks.xlsx#2024"), (1, 1, 0));
    assert!(has_problem(&tables, Code::ColumnUnknown, "beyond the last header"));

    folder.settings("[[files.harvests]]\npath = \"sub/picks.xlsx\"\nsheet = \"2023\"\n");
    let problems = folder.refused();
    assert_eq!(problems[0].place.to_string(), "book.toml:14");
    assert!(problems[0].what.contains("it has other, 2024"));
}

/// A one-sheet OpenDocument spreadsheet with the least a reader needs.
const ODS: &[u8] = include_bytes!("data/harvests.ods");

#[test]
fn ods_sheets_are_read() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    folder.put("harvests.ods", ODS);
    let tables = folder.read();
    assert_eq!(counts(&tables, "harvests.ods#harvests"), (2, 1, 1));
    assert_eq!(column(&tables, Table::Harvests, "date"), ["2024-03-01"]);
    assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["3.5"]);
    assert_eq!(only(&tables).line, 3);
}

fn parquet(columns: Vec<(&str, ArrayRef)>) -> Vec<u8> {
    let batch = RecordBatch::try_from_iter(columns).unwrap();
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, batch.schema(), None).unwrap();
    writer.write(&batch).unwrap();
    writer.close().unwrap();
    bytes
}

#[test]
fn parquet_types_are_understood() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    let trees: DictionaryArray<Int32Type> = ["T1", "T2", "T1"].into_iter().collect();
    // Day 19783 after 1970-01-01 is 2024-03-01 (and its noon 19783.5 days in milliseconds).
    let noon = 19_783 * 86_400_000 + 43_200_000;
    let moments = TimestampMillisecondArray::from(vec![noon, noon + 86_400_000, noon + 1]);
    let kilograms = Decimal128Array::from(vec![Some(350), Some(450), None]);
    folder.put(
        "harvests.parquet",
        parquet(vec![
            ("Tree", Arc::new(trees)),
            ("date", Arc::new(moments)),
            ("nut_kg", Arc::new(kilograms.with_precision_and_scale(9, 2).unwrap())),
            ("moisture_pct", Arc::new(Float32Array::from(vec![Some(8.5), None, None]))),
            ("nut_count", Arc::new(UInt32Array::from(vec![1, 2, 3]))),
        ]),
    );
    folder.remove("prunings.csv");
    folder.put(
        "prunings.parquet",
        parquet(vec![
            ("tree", Arc::new(Int64Array::from(vec![9_007_199_254_740_993_i64, 2]))),
            ("date", Arc::new(Date32Array::from(vec![19_783, 19_784]))),
            ("intensity", Arc::new(StringArray::from(vec!["0,25", "x"]))),
            ("dressed", Arc::new(BooleanArray::from(vec![true, false]))),
        ]),
    );
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "date"), ["2024-03-01", "2024-03-02"]);
    assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["3.5", "4.5"]);
    assert_eq!(column(&tables, Table::Harvests, "moisture_pct"), ["8.5", "null"]);
    assert_eq!(column(&tables, Table::Harvests, ".line"), ["1", "2"]);
    assert_eq!(column(&tables, Table::Prunings, "tree"), ["9007199254740993"]);
    assert_eq!(column(&tables, Table::Prunings, "dressed"), ["true"]);
    assert_eq!(
        aside(&tables),
        [(2, Some(3), Code::NumberUnreadable), (3, Some(3), Code::CellMissing)]
    );
    assert_eq!(tables.quarantine[0].text, "2\t2024-03-02\tx\tno");
}

#[test]
fn files_of_a_table_go_by_stem_and_settings() {
    let folder = Folder::new();
    folder.put("Harvests 2022.CSV", "tree,date,nut_kg\nT1,2022-03-01,1\n");
    folder.put("harvests-2023.tsv", "tree\tdate\tnut_kg\nT1\t2023-03-01\t1\n");
    folder.put("harvestsold.csv", "nonsense");
    folder.put("~$harvests.xlsx", "lock");
    let tables = folder.read();
    let files: Vec<_> = tables.files.iter().map(|file| file.file.as_str()).collect();
    assert_eq!(
        files,
        [
            "blocks.csv",
            "trees.csv",
            "prunings.csv",
            "Harvests 2022.CSV",
            "harvests-2023.tsv",
            "harvests.csv"
        ]
    );
    folder.settings("[[files.harvests]]\npath = \"./harvests.csv\"\n");
    assert_eq!(folder.read().files.len(), 4);
}

#[test]
fn progress_tells_every_file() {
    let folder = Folder::new();
    let mut heard = Vec::new();
    ingest_tables::read_book(folder.path(), &mut |p| {
        heard.push((p.file.to_owned(), p.rows, p.files_done, p.files));
    })
    .unwrap();
    assert_eq!(heard.first(), Some(&("blocks.csv".to_owned(), 0, 0, 4)));
    assert_eq!(heard.last(), Some(&("harvests.csv".to_owned(), 2, 4, 4)));
}

fn codes(folder: &Folder) -> Vec<(String, Code)> {
    folder.refused().into_iter().map(|p| (p.place.to_string(), p.code)).collect()
}

#[test]
fn every_fatal_problem_comes_in_one_go() {
    let folder = Folder::new();
    folder.remove("prunings.csv");
    folder.put("trees.csv", "tree,plot\nT1,B1\n");
    folder.put("harvests.csv", "tree,date,nut_kg,Nut kg\nT1,2024-03-01,1,1\n");
    folder.put("blocks.csv", "");
    assert_eq!(
        codes(&folder),
        [
            ("blocks.csv".to_owned(), Code::FileEmpty),
            ("harvests.csv:1".to_owned(), Code::ColumnTwice),
            ("prunings".to_owned(), Code::TableMissing),
            ("trees.csv:1".to_owned(), Code::ColumnMissing),
        ]
    );
    let problems = folder.refused();
    assert!(problems[3].what.contains("found: tree, plot"));
    assert!(problems[3].remedy.contains("[[files.trees]]"));
}

#[test]
fn paths_must_stay_inside_and_exist() {
    for path in ["../harvests.csv", "/etc/hosts", "missing.csv", "a/../../x.csv"] {
        let folder = Folder::new();
        folder.settings(&format!("[[files.harvests]]\npath = \"{path}\"\n"));
        let problems = folder.refused();
        assert_eq!(problems[0].place.to_string(), "book.toml:14", "{path}");
    }
    let folder = Folder::new();
    folder
        .settings("[[files.harvests]]\npath = \"harvests.csv\"\nunits = { nut_kg = \"stone\" }\n");
    assert_eq!(codes(&folder), [("book.toml:14".to_owned(), Code::SettingImpossible)]);
}

#[test]
fn no_settings_no_folder() {
    let folder = Folder::new();
    folder.remove("book.toml");
    assert_eq!(codes(&folder), [("book.toml".to_owned(), Code::BookUnreadable)]);
    folder.put("book.toml", "[book]\nname = 3\n");
    assert_eq!(codes(&folder)[0].1, Code::BookUnreadable);
    let gone = ingest_tables::read_book(&folder.path().join("gone"), &mut |_| ()).unwrap_err();
    assert_eq!(gone.problems()[0].code, Code::FileUnreadable);
}

#[test]
fn tables_without_rows_are_fatal_only_when_required() {
    let folder = Folder::new();
    folder.put("laterals.csv", "tree,date,frame_m2,laterals\n");
    folder.put("harvests_2.csv", "");
    let tables = folder.read();
    assert!(has_problem(&tables, Code::TableHeaderOnly, "laterals.csv:1"));
    assert!(has_problem(&tables, Code::FileEmpty, "harvests_2.csv"));
    assert_eq!(counts(&tables, "harvests_2.csv"), (0, 0, 0));
    assert_eq!(common::frame(&tables, Table::Laterals).height(), 0);
    folder.put("trees.csv", "tree,block\n\n");
    assert_eq!(codes(&folder), [("trees.csv:1".to_owned(), Code::TableHeaderOnly)]);
}

#[test]
fn broken_files_are_refused_by_name() {
    let folder = Folder::new();
    folder.put("harvests.xlsx", "not a spreadsheet");
    folder.put("harvests.parquet", "not parquet");
    folder.put("harvests.csv", b"PK\x03\x04 a renamed workbook");
    let found = codes(&folder);
    let names: Vec<_> = found.iter().map(|(place, _)| place.as_str()).collect();
    assert_eq!(names, ["harvests.csv", "harvests.parquet", "harvests.xlsx"]);
    assert!(found.iter().all(|(_, code)| *code == Code::FileUnreadable));
}

#[test]
fn fingerprints_follow_the_bytes() {
    let folder = Folder::new();
    let first = report(&folder.read(), "trees.csv").fingerprint.clone();
    assert_eq!(report(&folder.read(), "trees.csv").fingerprint, first);
    folder.put("trees.csv", "tree,block\nT1,B1\nT3,B1\n");
    assert_ne!(report(&folder.read(), "trees.csv").fingerprint, first);
}

#[test]
fn ids_may_be_joined_from_several_columns() {
    let folder = Folder::new();
    folder.put("blocks.csv", "Farm,Block,region\nHill,1,coast\nShore,1,coast\n");
    folder.put("trees.csv", "Farm,Block,Row,Tree\nHill,1,1,1\nHill,1,1,2\nShore,1,1,1\n");
    folder.put(
        "prunings.csv",
        "FARM,block,row,tree no,date,intensity,measured_as\nHill,1,1,2,2023-07-01,0.2,canopy_fraction\n",
    );
    folder.put(
        "harvests.csv",
        "tree,row,block,farm,date,nut_kg\n1,1,1,Hill,2024-03-01,3.5\n2,1,1,Hill,2024-03-01,4.5\n\
         1,1,1,Shore,2024-03-01,2.5\n1,,1,Shore,2024-03-02,2.5\n1/1,1,1,Hill,2024-03-02,1\n",
    );
    let tree = |last: &str| format!("tree = [\"Farm\", \"Block\", \"Row\", \"{last}\"]");
    folder.settings(&format!(
        "[[files.blocks]]\npath = \"blocks.csv\"\nheader = {{ Farm = \"site\" }}\n\
         joined = {{ block = [\"Farm\", \"Block\"] }}\n\
         [[files.trees]]\npath = \"trees.csv\"\njoined = {{ {}, block = [\"Farm\", \"Block\"] }}\n\
         [[files.prunings]]\npath = \"prunings.csv\"\njoined = {{ {} }}\n\
         [[files.harvests]]\npath = \"harvests.csv\"\njoined = {{ {} }}\n",
        tree("Tree"),
        tree("Tree no"),
        tree("Tree")
    ));
    let tables = folder.read();
    let ids = |table: Table, column: &str| -> Vec<String> {
        let column = tables.frames[&table].column(column).unwrap().str().unwrap();
        column.iter().flatten().map(str::to_owned).collect()
    };
    assert_eq!(ids(Table::Blocks, "block"), ["Hill/1", "Shore/1"]);
    assert_eq!(ids(Table::Trees, "block"), ["Hill/1", "Hill/1", "Shore/1"]);
    assert_eq!(ids(Table::Trees, "tree"), ["Hill/1/1/1", "Hill/1/1/2", "Shore/1/1/1"]);
    assert_eq!(ids(Table::Prunings, "tree"), ["Hill/1/1/2"]);
    assert_eq!(ids(Table::Harvests, "tree"), ["Hill/1/1/1", "Hill/1/1/2", "Shore/1/1/1"]);
    // No part is guessed, and no part may hold what parts are joined by.
    let rows: Vec<_> =
        tables.quarantine.iter().map(|row| (row.line, row.column, row.reason.as_str())).collect();
    assert_eq!(
        rows,
        [
            (5, Some(2), "'row', from which tree is joined, is empty"),
            (6, Some(1), "'tree' holds '/', by which tree is joined"),
        ]
    );
    assert!(tables.problems.iter().all(|problem| problem.code != Code::ColumnUnknown));

    // A part is read as a cell of the column: an error of the spreadsheet is none.
    let mut sheet = Workbook::new();
    let harvests = sheet.add_worksheet();
    for (at, word) in ["Farm", "Block", "Row", "Tree", "date", "nut_kg"].iter().enumerate() {
        harvests.write(0, at as u16, *word).unwrap();
    }
    for row in [1, 2] {
        harvests.write(row, 0, "Hill").unwrap();
        harvests.write(row, 1, 1).unwrap();
        harvests.write(row, 2, 1).unwrap();
        harvests.write(row, 3, 1).unwrap();
        harvests.write(row, 4, "2024-03-01").unwrap();
        harvests.write(row, 5, 2.5).unwrap();
    }
    harvests.write(2, 3, Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
    folder.remove("harvests.csv");
    folder.put("harvests.xlsx", sheet.save_to_buffer().unwrap());
    let toml = std::fs::read_to_string(folder.path().join("book.toml")).unwrap();
    folder.put("book.toml", toml.replace("harvests.csv", "harvests.xlsx"));
    let tables = folder.read();
    let trees = tables.frames[&Table::Harvests].column("tree").unwrap().str().unwrap();
    assert_eq!(trees.iter().flatten().collect::<Vec<_>>(), ["Hill/1/1/1"]);
    assert_eq!((tables.quarantine[0].line, tables.quarantine[0].column), (3, Some(4)));
    assert!(tables.quarantine[0].reason.starts_with("'Tree', from which tree is joined: "));

    folder.settings("[[files.trees]]\npath = \"trees.csv\"\njoined = { girth_cm = [\"Row\", \"Tree\"], tree = [\"Row\"] }\n");
    let problems = folder.refused();
    let told: Vec<_> = problems.iter().map(|problem| problem.what.as_str()).collect();
    assert!(
        matches!(told[..], [a, b] if a.contains("no id or name") && b.contains("fewer")),
        "{told:?}"
    );
}

#[test]
fn files_and_sheets_that_nothing_reads_are_told() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    let mut book = Workbook::new();
    for (name, year) in [("2023", 2023), ("2024", 2024)] {
        let sheet = book.add_worksheet().set_name(name).unwrap();
        for (cell, word) in (0..).zip(["tree", "date", "nut_kg"]) {
            sheet.write_string(0, cell, word).unwrap();
        }
        sheet.write_string(1, 0, "T1").unwrap();
        sheet.write_string(1, 1, format!("{year}-03-01")).unwrap();
        sheet.write_number(1, 2, 2.5).unwrap();
    }
    book.add_worksheet().set_name("Sheet3").unwrap();
    book.save(folder.path().join("harvests.xlsx")).unwrap();
    folder.put("picks of 2025.csv", "tree,date,nut_kg\nT1,2025-03-01,2\n");

    let tables = folder.read();
    assert_eq!(counts(&tables, "harvests.xlsx#2023"), (1, 1, 0));
    let told: Vec<_> = tables.problems.iter().filter(|p| p.code == Code::FileLeftOut).collect();
    assert_eq!(told.len(), 2, "{told:?}");
    // The empty sheet is none of them.
    assert!(
        told[0]
            .to_string()
            .contains("harvests.xlsx: 1 sheet of the workbook read by nothing: 2024")
    );
    assert!(told[1].to_string().contains("picks of 2025.csv: no table is named after the file"));

    folder.settings("");
    let toml = std::fs::read_to_string(folder.path().join("book.toml")).unwrap();
    let none = "not_tables = [\"harvests.xlsx#2024\", \"picks of 2025.csv\"]";
    folder.put("book.toml", toml.replacen("[book]", &format!("[book]\n{none}"), 1));
    assert!(folder.read().problems.iter().all(|problem| problem.code != Code::FileLeftOut));
}

/// Once a path leads into a folder, what lies beside it there may hold a season too.
#[test]
fn files_left_out_below_the_folder_and_files_read_twice_are_told() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    std::fs::create_dir(folder.path().join("hill")).unwrap();
    let rows = |day: &str| format!("tree,date,nut_kg\nT1,{day},2.5\n");
    folder.put("hill/may.csv", rows("2024-03-01"));
    folder.put("hill/june.csv", rows("2024-03-11"));
    let may = "[[files.harvests]]\npath = \"hill/may.csv\"\n";
    folder.settings(may);
    let told = |code: Code| -> Vec<String> {
        let tables = folder.read();
        tables.problems.iter().filter(|p| p.code == code).map(ToString::to_string).collect()
    };
    let left = told(Code::FileLeftOut);
    assert!(left.len() == 1 && left[0].contains("hill/june.csv: no table is named"), "{left:?}");
    folder.settings(&format!("{may}[[files.harvests]]\npath = \"hill/june.csv\"\n"));
    assert!(told(Code::FileLeftOut).is_empty() && told(Code::FileTwice).is_empty());
    // The same bytes under another name, and the same file in two stanzas.
    folder.put("hill/june.csv", rows("2024-03-01"));
    let copied = told(Code::FileTwice);
    assert!(copied.len() == 1 && copied[0].contains("same bytes as hill/may.csv"), "{copied:?}");
    folder.settings(&format!("{may}{may}"));
    let again = told(Code::FileTwice);
    assert!(
        again.len() == 1 && again[0].contains("names it twice for the table harvests"),
        "{again:?}"
    );
    // One sheet for two rounds of one kind is told apart by what is stated of every row.
    folder.put("hill/may.csv", "tree,nut_kg\nT1,2.5\n");
    let round = |day: &str| format!("{may}every_row = {{ date = \"{day}\" }}\n");
    folder.settings(&(round("2024-03-01") + &round("2024-03-21")));
    assert!(told(Code::FileTwice).is_empty());
    // Two visits side by side are declared once for each, with their own headings.
    folder.put("hill/may.csv", "tree,first,kg1,second,kg2\nT1,2024-03-01,2.5,2024-03-11,1\n");
    let side = |date: &str, kg: &str| {
        format!("{may}header = {{ {date} = \"date\", {kg} = \"nut_kg\" }}\n")
    };
    folder.settings(&(side("first", "kg1") + &side("second", "kg2")));
    assert!(told(Code::FileTwice).is_empty());
}

/// Monthly files are named once; what another stanza names, and what is no table, is left to that.
#[test]
fn a_star_in_a_path_names_many_files() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    let pick = |day: &str| format!("tree,date,kg\nT1,{day},3\n");
    for (name, day) in
        [("2024-02", "2024-02-11"), ("2024-03", "2024-03-11"), ("draft", "1999-01-01")]
    {
        folder.put(&format!("picks/Baobab/{name}.csv"), pick(day));
    }
    folder.put("picks/Cedar [old]/2024-04.csv", "tree,date,pounds\nT2,2024-04-11,3\n");
    folder.put("picks/Cedar [old]/notes.pdf", "no table");
    folder.put("picks/Cedar [old]/.hidden.csv", pick("1999-01-01"));
    let stanzas = "[[files.harvests]]\npath = \"picks/*/*.csv\"\nheader = { kg = \"nut_kg\" }\n\
         [[files.harvests]]\npath = \"picks/Cedar [old]/2024-04.csv\"\nheader = { pounds = \"nut_kg\" }\n\
         units = { nut_kg = \"lb\" }\n";
    let without_draft = "[book]\nnot_tables = [\"picks/*/draft.csv\"]";
    let book = format!("{}{stanzas}", common::SETTINGS);
    folder.put("book.toml", book.replace("[book]", without_draft));
    let tables = folder.read();
    assert_eq!(
        column(&tables, Table::Harvests, "date"),
        ["2024-02-11", "2024-03-11", "2024-04-11"]
    );
    assert_eq!(counts(&tables, "picks/Baobab/2024-02.csv"), (1, 1, 0));
    assert!(!has_problem(&tables, Code::FileLeftOut, ""), "{:?}", tables.problems);
    // The draft is no longer called something else, and is told as read.
    folder.settings(stanzas);
    assert_eq!(column(&folder.read(), Table::Harvests, "date").len(), 4);
    folder.settings(&stanzas.replace("picks/*/*.csv", "pick/*.csv"));
    let problem = folder.refused_for();
    assert_eq!((problem.code, problem.place.file.as_str()), (Code::FileUnreadable, "book.toml"));
    assert!(problem.what.contains("a path like pick/*.csv"), "{}", problem.what);
}

/// Files of a month that name it alone, and sheets of a site.
#[test]
fn what_the_star_stands_for_may_stand_in_every_row() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    folder.put("picks/2024-02.csv", "tree,nut_kg\nT1,3\n");
    folder.put("picks/2024-03.csv", "tree,nut_kg\nT2,4\n");
    let stanza = "[[files.harvests]]\npath = \"picks/*.csv\"\nevery_row = { date = \"*-15\" }\n";
    folder.settings(stanza);
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "date"), ["2024-02-15", "2024-03-15"]);
    let mut book = Workbook::new();
    for day in ["2024-03-04", "2024-03-05"] {
        let sheet = book.add_worksheet().set_name(format!("Day {day}")).unwrap();
        for (row, cells) in (0..).zip([["tree", "nut_kg"], ["T1", "3"]]) {
            for (cell, word) in (0..).zip(cells) {
                sheet.write_string(row, cell, word).unwrap();
            }
        }
    }
    book.save(folder.path().join("picks/May.xlsx")).unwrap();
    folder.settings(&format!(
        "{stanza}[[files.harvests]]\npath = \"picks/*.xlsx\"\nsheet = \"Day *\"\nevery_row = {{ date = \"*\" }}\n"
    ));
    let dates = column(&folder.read(), Table::Harvests, "date");
    assert_eq!(dates, ["2024-02-15", "2024-03-15", "2024-03-04", "2024-03-05"]);
}

/// A month saved as another kind, in a folder below, or twice.
#[test]
fn a_month_that_no_pattern_reads_and_one_read_twice_are_told() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    let mut trees = "tree,block\n".to_owned();
    let mut picks = "tree,nut_kg\n".to_owned();
    for tree in 10..40 {
        trees.push_str(&format!("T{tree},B1\n"));
        picks.push_str(&format!("T{tree},{}.5\n", tree % 7));
    }
    folder.put("trees.csv", trees);
    folder.put("picks/2024-02.csv", &picks);
    folder
        .settings("[[files.harvests]]\npath = \"picks/*.csv\"\nevery_row = { date = \"*-15\" }\n");
    let untold = |tables: &ingest_tables::BookTables| {
        !has_problem(tables, Code::FileLeftOut, "") && !has_problem(tables, Code::FileTwice, "")
    };
    assert!(untold(&folder.read()));
    folder.put("picks/2024-03.xls", "an old workbook");
    folder.put("picks/2024/04.csv", &picks);
    folder.put("more/2024-05.csv", &picks);
    // A report that was written into the book is no table of it.
    folder.put("reports/x/.anacurve-report", "");
    folder.put("reports/x/advice.csv", "a,b\n");
    let tables = folder.read();
    for told in [
        "picks/2024-03.xls: the file is of a kind",
        "picks/2024/04.csv: 1 file of the folder picks/2024",
        "more/2024-05.csv: 1 file of the folder more",
    ] {
        assert!(has_problem(&tables, Code::FileLeftOut, told), "{told}: {:?}", tables.problems);
    }
    assert!(!has_problem(&tables, Code::FileLeftOut, "advice"));
    let book = std::fs::read_to_string(folder.path().join("book.toml")).unwrap();
    let others = "[book]\nnot_tables = [\"picks/*.xls\", \"picks/2024\", \"more/*\"]";
    folder.put("book.toml", book.replace("[book]", others));
    assert!(untold(&folder.read()));
    // The same weights under another name, with a title.
    folder.put("picks/2024-04.csv", format!("Picks of April\n{picks}"));
    assert!(has_problem(
        &folder.read(),
        Code::FileTwice,
        "picks/2024-04.csv: its picks are of the same trees"
    ));
    folder.put("picks/2024-04 (2).csv", &picks);
    assert!(folder.refused_for().remedy.contains("'2024-04 (2)' stands for the `*`"));
}

/// A heading that the settings miss is the same slip in every month.
#[test]
fn a_column_missing_from_many_files_is_told_once() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    for month in 1..=6 {
        let heading = if month == 6 { "weight" } else { "raw" };
        folder.put(
            &format!("picks/2024-0{month}.csv"),
            format!("tree,date,{heading}\nT1,2024-0{month}-11,1\n"),
        );
    }
    folder.settings("[[files.harvests]]\npath = \"picks/*.csv\"\n");
    let problems = folder.refused();
    let told: Vec<_> = problems.iter().map(|p| (p.place.to_string(), p.what.as_str())).collect();
    assert_eq!(
        told,
        [
            (
                "picks/2024-01.csv:1".to_owned(),
                "the column nut_kg is missing; found: tree, date, raw; the same in 4 other files: picks/2024-02.csv, picks/2024-03.csv, picks/2024-04.csv, ..."
            ),
            (
                "picks/2024-06.csv:1".to_owned(),
                "the column nut_kg is missing; found: tree, date, weight"
            ),
        ]
    );
}

/// Months of a workbook, its cover and sums being none.
#[test]
fn a_star_in_a_sheet_names_many_sheets() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    let mut book = Workbook::new();
    for (name, date) in [("Picks Feb", "2024-02-11"), ("Picks mar", "2024-03-11"), ("Cover", "")] {
        let sheet = book.add_worksheet().set_name(name).unwrap();
        let rows = [["tree", "date", "nut_kg"], ["T1", date, "3"], ["Total of month", "", "3"]];
        for (row, cells) in (0..).zip(rows) {
            for (cell, word) in (0..).zip(cells) {
                sheet.write_string(row, cell, word).unwrap();
            }
        }
    }
    book.add_worksheet().set_name("Picks Apr").unwrap();
    book.save(folder.path().join("2024.xlsx")).unwrap();
    let stanza =
        "[[files.harvests]]\npath = \"2024.xlsx\"\nsheet = \"Picks *\"\nnot_rows = [\"TOTAL*\"]\n";
    folder.settings(stanza);
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "date"), ["2024-02-11", "2024-03-11"]);
    for sheet in ["2024.xlsx#Picks Feb", "2024.xlsx#Picks mar"] {
        assert_eq!(counts(&tables, sheet), (1, 1, 0));
        assert_eq!(repairs(&tables, sheet), [(Code::RowNotOne, String::new(), 1, 3)]);
    }
    // The cover holds something that nothing reads.
    assert!(has_problem(&tables, Code::FileLeftOut, "Cover"));
    folder.settings(&stanza.replace("Picks *", "Pick *"));
    assert!(folder.refused_for().what.contains("a name like 'Pick *'"));
    folder.settings(&stanza.replace("TOTAL*", "*"));
    assert_eq!(folder.refused_for().code, Code::SettingImpossible);
}

/// A stanza for one sheet takes it from those for all: what they alone would read of it is told with why.
#[test]
fn a_sheet_named_in_full_is_not_read_by_the_stars() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    let mut book = Workbook::new();
    for name in ["North", "South"] {
        let sheet = book.add_worksheet().set_name(name).unwrap();
        let rows = [
            ["tree", "Date 1", "kg 1", "Date 2", "kg 2"],
            ["T1", "2024-03-01", "3", "2024-04-01", "2"],
        ];
        for (row, cells) in (0..).zip(rows) {
            for (cell, text) in (0..).zip(cells) {
                sheet.write_string(row, cell, text).unwrap();
            }
        }
    }
    book.save(folder.path().join("picks.xlsx")).unwrap();
    let stanza = |sheet: &str, n: u32| {
        format!(
            "[[files.harvests]]\npath = \"picks.xlsx\"\nsheet = \"{sheet}\"\n\
             header = {{ \"Date {n}\" = \"date\", \"kg {n}\" = \"nut_kg\" }}\n"
        )
    };
    folder.settings(&(stanza("*", 1) + &stanza("South", 2)));
    let told = |sheet: &str| -> Vec<String> {
        let tables = folder.read();
        let of = tables.problems.iter().filter(|problem| problem.code == Code::ColumnUnknown);
        let of = of.filter(|problem| problem.place.file.ends_with(sheet));
        of.map(|problem| problem.remedy.clone()).collect()
    };
    let south = told("#South");
    assert_eq!(south.len(), 2, "{south:?}");
    assert!(south.iter().all(|remedy| remedy.contains("names the file or sheet in full")));
    assert!(told("#North").iter().all(|remedy| !remedy.contains("in full")));
}
