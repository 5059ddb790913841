//! The contract of the linked table: columns, order, and bytes that do not depend on row order.

use super::{Small, link_book, small};
use crate::{schema, write_parquet};
use polars::prelude::*;
use records::Table;
use records::tree_season::COLUMNS;

/// Picks and cuts whose sums differ in the last digit when added in another order.
fn awkward() -> Small {
    let days = ["02-10", "02-20", "03-07", "03-30", "04-09"];
    let kg = ["0.1", "0.7", "1.3", "0.0301", "2.9"];
    let mut picks = Vec::new();
    for tree in ["S1", "N2", "N1"] {
        for (day, kg) in days.iter().zip(kg) {
            let day = if tree == "S1" {
                day.replace("02-", "01-").replace("03-", "12-").replace("04-", "11-")
            } else {
                (*day).to_owned()
            };
            picks.push(format!("{tree},2024-{day},{kg},17.3,12"));
        }
    }
    let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
    small()
        .rows(Table::Harvests, &picks)
        .rows(
            Table::Prunings,
            &[
                "N1,2023-07-01,0.11,shoots,1.1",
                "N1,2023-07-20,0.07,spread,2.7",
                "N1,2023-08-20,0.31,shoots,0.3",
            ],
        )
        .table(
            Table::Laterals,
            "tree,date,frame_m2,laterals\nN1,2023-10-01,0.1,3\nN1,2023-10-02,0.7,9\nN1,2023-10-03,0.3,7",
        )
}

#[test]
fn the_batch_has_exactly_the_columns_of_the_contract() {
    let linked = awkward().linked();
    assert_eq!(linked.tree_seasons.schema(), schema());
    for (field, column) in linked.tree_seasons.schema().fields().iter().zip(COLUMNS) {
        assert_eq!((field.name().as_str(), field.is_nullable()), (column.name, column.nullable));
        assert_eq!(field.metadata().get("unit").map(String::as_str), Some(column.unit));
    }
}

#[test]
fn shuffled_rows_give_the_same_bytes() {
    let book = awkward();
    let straight = book.linked();
    let reversed: std::collections::BTreeMap<Table, DataFrame> =
        book.frames().into_iter().map(|(table, frame)| (table, frame.reverse())).collect();
    let reversed = link_book(&book.book, &reversed).linked.unwrap();
    assert_eq!(straight.tree_seasons, reversed.tree_seasons);
    assert_eq!(straight.summary, reversed.summary);
    assert_eq!(straight.problems, reversed.problems);

    let folder = tempfile::tempdir().unwrap();
    let bytes = |name: &str, batch| {
        let path = folder.path().join(name);
        write_parquet(batch, "00ff", &path).unwrap();
        std::fs::read(path).unwrap()
    };
    let one = bytes("a.parquet", &straight.tree_seasons);
    assert_eq!(one, bytes("b.parquet", &reversed.tree_seasons));
    assert_eq!(&one[..4], b"PAR1");
}

#[test]
fn parquet_reads_back_as_written() {
    let linked = awkward().linked();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("t.parquet");
    write_parquet(&linked.tree_seasons, "00ff", &path).unwrap();
    let file = std::fs::File::open(&path).unwrap();
    let builder =
        parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder::try_new(file).unwrap();
    assert_eq!(builder.metadata().file_metadata().created_by(), Some("anacurve"));
    let back: Vec<_> = builder.build().unwrap().map(|batch| batch.unwrap()).collect();
    assert_eq!(back, [linked.tree_seasons]);
    assert!(
        write_parquet(&back[0], "00ff", &folder.path().join("no/such/folder.parquet")).is_err()
    );
}
