//! A table of cells on its way to a file.

use jiff::civil::Date;

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell {
    Empty,
    Text(String),
    /// A number and the decimals it is written with.
    Number(f64, usize),
    Date(Date),
}

/// Header and rows. Rows may be ragged once spoiled.
#[derive(Debug, Clone)]
pub(crate) struct Sheet {
    /// Title above the header of a spreadsheet.
    pub(crate) title: String,
    pub(crate) header: Vec<String>,
    pub(crate) rows: Vec<Vec<Cell>>,
}

impl Cell {
    pub(crate) fn text(text: impl Into<String>) -> Self {
        Self::Text(text.into())
    }

    pub(crate) fn count(count: impl Into<u32>) -> Self {
        Self::Number(f64::from(count.into()), 0)
    }
}

impl Sheet {
    pub(crate) fn new(title: &str, header: &[&str]) -> Self {
        let header = header.iter().map(|&name| name.to_owned()).collect();
        Self { title: title.to_owned(), header, rows: Vec::new() }
    }

    /// Position of a column.
    pub(crate) fn position(&self, name: &str) -> Option<usize> {
        self.header.iter().position(|own| own == name)
    }
}
