//! Files and folders that cannot be used.

use crate::support::{Book, anacurve};

#[test]
fn no_such_folder() {
    let book = Book::tidy();
    let nowhere = book.file("nowhere");
    let nowhere = nowhere.to_str().unwrap();
    for command in ["check", "run"] {
        anacurve(&[command, nowhere]).fails(nowhere, "file-unreadable");
    }
}

#[test]
fn an_empty_file() {
    let book = Book::tidy();
    book.put("harvests.csv", "");
    book.check().fails("harvests.csv", "file-empty");
    book.put("harvests.csv", "\n\n \n");
    book.check().fails("harvests.csv", "file-empty");
}

#[test]
fn an_empty_file_of_a_table_that_is_optional() {
    let book = Book::tidy();
    book.put("laterals.csv", "");
    book.check().finds("laterals.csv", "file-empty");
}

#[test]
fn a_header_and_no_rows() {
    for table in ["blocks", "trees", "prunings", "harvests"] {
        let book = Book::tidy();
        let file = format!("{table}.csv");
        let header = book.text(&file).lines().next().unwrap().to_owned();
        book.put(&file, header);
        book.check().fails(&format!("{file}:1"), "table-header-only");
    }
}

#[test]
fn a_missing_table() {
    for table in ["blocks", "trees", "prunings", "harvests"] {
        let book = Book::tidy();
        book.remove(&format!("{table}.csv"));
        book.check().fails(table, "table-missing");
    }
}

#[test]
fn two_missing_tables_are_named_together() {
    let book = Book::tidy();
    book.remove("trees.csv");
    book.remove("prunings.csv");
    book.check().fails("trees", "table-missing").fails("prunings", "table-missing");
}

#[test]
fn a_missing_column() {
    let book = Book::tidy();
    book.replace("harvests.csv", "nut_kg", "weight");
    book.check().fails("harvests.csv:1", "column-missing");
}

#[test]
fn a_workbook_that_is_none() {
    let book = Book::tidy();
    book.remove("harvests.csv");
    book.put("harvests.xlsx", "tree,date,nut_kg\n");
    book.check().fails("harvests.xlsx", "file-unreadable");
    book.remove("harvests.xlsx");
    book.put("harvests.parquet", "tree,date,nut_kg\n");
    book.check().fails("harvests.parquet", "file-unreadable");
    book.remove("harvests.parquet");
    book.put("harvests.csv", b"PK\x03\x04rest of an archive");
    book.check().fails("harvests.csv", "file-unreadable");
}

/// A book whose picks all miss the harvest window cannot be linked; every such row is named.
#[test]
fn nothing_can_be_linked() {
    let book = Book::tidy();
    let text = book.text("harvests.csv").replace("-03-", "-07-");
    book.put("harvests.csv", text);
    let ran = book.check();
    ran.fails("harvests.csv", "nothing-linked").fails("harvests.csv:2:2", "date-in-no-season");
}
