//! Small books written as text, linked without files.

mod bare;
mod conservation;
mod evidence;
mod gaps;
mod listed;
mod misdated;
mod missed_rounds;
mod moved_weights;
mod odd_weights;
mod of_other_files;
mod picks;
mod places;
mod practice;
mod prunings;
mod seasons;
mod unlike;

use crate::link::link_frames;
use crate::outcome::{Outcome, Reason, Rejected, SourceFile};
use crate::{LinkError, Linked};
use arrow::array::{Array, Date32Array, Float64Array, Int32Array, StringArray};
use polars::prelude::{Column, DataFrame, DataType};
use records::{Book, Code, ColumnKind, Table};
use std::collections::BTreeMap;

/// Regions `north` (trade.md section 4, northern pattern A) and `south` (southern pattern).
const BOOK: &str = r#"
[book]
name = "Small"
[regions.north]
harvest = ["02-01", "05-31"]
rest = ["06-01", "08-31"]
flush = ["09-01", "11-30"]
[regions.south]
harvest = ["10-01", "01-31"]
rest = ["02-01", "04-30"]
flush = ["05-01", "07-31"]
[economics]
currency = "USD"
price_per_kg = 1.2
wage_per_hour = 0.8
pruning_time = { minutes_per_tree = 4.0, minutes_full_canopy = 30.0 }
[options]
"#;

/// A book in the making; every table is text with a header and commas.
pub(crate) struct Small {
    book: String,
    texts: BTreeMap<Table, String>,
}

/// What linking a small book gave.
pub(crate) struct Result {
    pub(crate) linked: std::result::Result<Linked, LinkError>,
    pub(crate) rejected: Vec<Rejected>,
}

/// Block N in the north and S in the south; trees N1, N2, S1; no records.
pub(crate) fn small() -> Small {
    let texts = [
        (Table::Blocks, "block,site,region\nN,estate,north\nS,estate,south"),
        (Table::Trees, "tree,block\nN1,N\nN2,N\nS1,S"),
        (Table::Prunings, "tree,date,intensity,measured_as,minutes"),
        (Table::Harvests, "tree,date,nut_kg,moisture_pct,nut_count"),
    ];
    let texts = texts.map(|(table, text)| (table, text.to_owned())).into_iter().collect();
    Small { book: BOOK.to_owned(), texts }
}

impl Small {
    /// Replaces a table, header included.
    pub(crate) fn table(mut self, table: Table, text: &str) -> Self {
        self.texts.insert(table, text.to_owned());
        self
    }

    /// Adds lines to `book.toml`.
    pub(crate) fn settings(mut self, lines: &str) -> Self {
        self.book.push_str(lines);
        self
    }

    /// Adds rows under the header of a table.
    pub(crate) fn rows(mut self, table: Table, rows: &[&str]) -> Self {
        let text = self.texts.get_mut(&table).unwrap();
        for row in rows {
            text.push('\n');
            text.push_str(row);
        }
        self
    }

    pub(crate) fn setting(mut self, from: &str, to: &str) -> Self {
        assert!(self.book.contains(from));
        self.book = self.book.replacen(from, to, 1);
        self
    }

    pub(crate) fn frames(&self) -> BTreeMap<Table, DataFrame> {
        self.texts.iter().map(|(&table, text)| (table, frame(table, text))).collect()
    }

    pub(crate) fn link(&self) -> Result {
        link_book(&self.book, &self.frames())
    }

    /// Links a book of which nothing may be rejected.
    pub(crate) fn linked(&self) -> Linked {
        let result = self.link();
        assert_eq!(result.rejected, []);
        result.linked.unwrap()
    }
}

pub(crate) fn link_book(book: &str, frames: &BTreeMap<Table, DataFrame>) -> Result {
    let book = Book::parse(book).unwrap();
    let files = Table::ALL.map(|table| {
        let date_cell = table.spec().columns.iter().position(|column| column.name == "date");
        SourceFile {
            table,
            name: format!("{table}.csv"),
            date_cell: date_cell.map(|at| at as u32 + 1),
        }
    });
    let mut outcome = Outcome::new(files.into());
    let linked = link_frames(&book, frames, &mut outcome);
    outcome.rejected.sort();
    Result { linked, rejected: outcome.rejected }
}

impl Result {
    /// Table, line and code of every rejected row.
    pub(crate) fn refusals(&self) -> Vec<(Table, u32, Code)> {
        self.rejected.iter().map(|row| (row.table, row.stands.1, row.code)).collect()
    }
}

/// A frame with every column of a table, as reading promises it.
fn frame(table: Table, text: &str) -> DataFrame {
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().unwrap().split(',').collect();
    let rows: Vec<Vec<&str>> = lines.map(|line| line.split(',').collect()).collect();
    let cells = |name: &str| -> Vec<Option<&str>> {
        let at = header.iter().position(|word| *word == name);
        rows.iter().map(|row| Some(*row.get(at?)?).filter(|cell| !cell.is_empty())).collect()
    };
    let mut columns: Vec<Column> = table
        .spec()
        .columns
        .iter()
        .map(|spec| typed(spec.name, spec.kind, &cells(spec.name)))
        .collect();
    // Of a trial the columns of its factors too.
    if table == Table::Trials {
        let known: Vec<&str> = table.spec().columns.iter().map(|spec| spec.name).collect();
        let factors = header.iter().filter(|name| !known.contains(*name));
        columns.extend(factors.map(|name| Column::new((*name).into(), cells(name))));
    }
    let height = rows.len();
    let file = Table::ALL.iter().position(|known| *known == table).unwrap() as u32;
    columns.push(Column::new(".file".into(), vec![file; height]));
    let lines: Vec<u32> = (2..).take(height).collect();
    columns.push(Column::new(".line".into(), lines));
    DataFrame::new(height, columns).unwrap()
}

fn typed(name: &str, kind: ColumnKind, cells: &[Option<&str>]) -> Column {
    let name = name.into();
    match kind {
        ColumnKind::Text | ColumnKind::Word(_) => Column::new(name, cells),
        ColumnKind::Number => Column::new(name, parsed::<f64>(cells)),
        ColumnKind::Count => Column::new(name, parsed::<i64>(cells)),
        ColumnKind::Flag => Column::new(name, parsed::<bool>(cells)),
        ColumnKind::Date | ColumnKind::DateOrYear => {
            let days: Vec<Option<i32>> = cells.iter().map(|cell| cell.map(date_number)).collect();
            Column::new(name, days).cast(&DataType::Date).unwrap()
        }
    }
}

fn parsed<T: std::str::FromStr<Err: std::fmt::Debug>>(cells: &[Option<&str>]) -> Vec<Option<T>> {
    cells.iter().map(|cell| cell.map(|cell| cell.parse().unwrap())).collect()
}

/// Days since 1970-01-01 of an ISO date.
pub(crate) fn date_number(text: &str) -> i32 {
    crate::seasons::day_number(text.parse().unwrap())
}

fn column<'a, A: 'static>(linked: &'a Linked, name: &str) -> &'a A {
    linked.tree_seasons.column_by_name(name).unwrap().as_any().downcast_ref().unwrap()
}

pub(crate) fn numbers(linked: &Linked, name: &str) -> Vec<Option<f64>> {
    column::<Float64Array>(linked, name).iter().collect()
}

pub(crate) fn wholes(linked: &Linked, name: &str) -> Vec<i32> {
    column::<Int32Array>(linked, name).iter().flatten().collect()
}

pub(crate) fn words(linked: &Linked, name: &str) -> Vec<Option<String>> {
    column::<StringArray>(linked, name).iter().map(|word| word.map(str::to_owned)).collect()
}

pub(crate) fn dates(linked: &Linked, name: &str) -> Vec<Option<i32>> {
    column::<Date32Array>(linked, name).iter().collect()
}

pub(crate) fn close(value: Option<f64>, expected: f64, tolerance: f64) {
    let value = value.unwrap();
    assert!((value - expected).abs() <= tolerance, "{value} against {expected}");
}

/// Codes of the problems of a linked book.
pub(crate) fn codes(linked: &Linked) -> Vec<Code> {
    linked.problems.iter().map(|problem| problem.code).collect()
}

/// Rows of a table that were left out for a reason.
pub(crate) fn left_out(linked: &Linked, table: Table, reason: Reason) -> u64 {
    let of_table = linked.summary.tables.iter().filter(|links| links.table == table);
    of_table
        .flat_map(|links| links.not_linked.iter())
        .filter(|part| part.reason == reason)
        .map(|part| part.rows)
        .sum()
}
