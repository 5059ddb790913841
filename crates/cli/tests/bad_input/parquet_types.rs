//! A Parquet column of another type than its table expects.

use crate::support::Book;
use arrow::array::{ArrayRef, BooleanArray, Float64Array, ListArray, StringArray};
use arrow::datatypes::Float64Type;
use arrow::record_batch::RecordBatch;
use parquet::arrow::ArrowWriter;
use std::sync::Arc;

/// The tidy book with its picks in Parquet, one of the columns replaced.
fn with_column(name: &str, column: impl Fn(&[&str]) -> ArrayRef) -> Book {
    let book = Book::tidy();
    let text = book.text("harvests.csv");
    let cells = |at: usize| -> Vec<&str> {
        text.lines().skip(1).map(|line| line.split(',').nth(at).unwrap()).collect()
    };
    let columns = ["tree", "date", "nut_kg"].into_iter().enumerate().map(|(at, of)| {
        let cells = cells(at);
        let numbers = || cells.iter().map(|cell| cell.parse::<f64>().unwrap());
        let array: ArrayRef = match of {
            _ if of == name => column(&cells),
            "nut_kg" => Arc::new(Float64Array::from_iter_values(numbers())),
            _ => Arc::new(StringArray::from(cells)),
        };
        (of, array)
    });
    let batch = RecordBatch::try_from_iter(columns).unwrap();
    let file = std::fs::File::create(book.file("harvests.parquet")).unwrap();
    let mut writer = ArrowWriter::try_new(file, batch.schema(), None).unwrap();
    writer.write(&batch).unwrap();
    writer.close().unwrap();
    book.remove("harvests.csv");
    book
}

#[test]
fn numbers_that_become_words_half_way_down() {
    let book = with_column("nut_kg", |cells| {
        let half = cells.len() / 2;
        let typed = |(row, cell)| if row < half { cell } else { "about five" };
        Arc::new(StringArray::from_iter_values(cells.iter().copied().enumerate().map(typed)))
    });
    // 36 picks, the first 18 of them good; rows of Parquet count from 1.
    let ran = book.check();
    ran.finds("harvests.parquet:19:3", "number-unreadable")
        .finds("harvests.parquet:36:3", "number-unreadable");
    let (_, json, csv) = book.check_json();
    let file = &json["files"][3];
    let counts = ["rows_read", "rows_kept", "rows_quarantined"].map(|name| file[name].as_u64());
    assert_eq!(counts, [Some(36), Some(18), Some(18)]);
    assert_eq!(csv.lines().filter(|line| line.contains("about five")).count(), 18);
}

#[test]
fn a_column_of_a_wrong_type_as_a_whole() {
    let flags =
        with_column("nut_kg", |cells| Arc::new(BooleanArray::from(vec![true; cells.len()])));
    let lists = with_column("nut_kg", |cells| {
        let list = cells.iter().map(|cell| Some(vec![cell.parse::<f64>().ok()]));
        Arc::new(ListArray::from_iter_primitive::<Float64Type, _, _>(list))
    });
    for book in [flags, lists] {
        let ran = book.check();
        ran.fails("harvests.parquet", "nothing-linked")
            .fails("harvests.parquet:1:3", "number-unreadable");
        // The list of rows ends after five with the number of the others.
        assert!(ran.stderr.contains("harvests.parquet:36:3: 31 more rows"), "{}", ran.stderr);
    }
    let dates = with_column("date", |cells| Arc::new(BooleanArray::from(vec![false; cells.len()])));
    dates.check().fails("harvests.parquet:1:2", "date-unreadable");
}
