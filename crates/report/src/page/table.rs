//! Tables and figures as the templates take them.

/// One cell of a table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Cell {
    /// Shape before the text, hidden from screen readers.
    pub shape: &'static str,
    /// The text.
    pub text: String,
    /// Target of a link, empty for none.
    pub link: String,
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self { text, ..Self::default() }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        text.to_owned().into()
    }
}

/// A column's heading and whether it holds numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// The heading, with unit.
    pub text: String,
    /// Right-aligned when true.
    pub numeric: bool,
}

/// A table; the first cell of each row names the row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Caption.
    pub caption: String,
    /// Headings.
    pub heads: Vec<Head>,
    /// Rows, each as long as the headings.
    pub rows: Vec<Vec<Cell>>,
    /// Whether rows become cards on a narrow screen.
    pub cards: bool,
}

impl Table {
    /// An empty table; a heading that starts with `#` marks a numeric column.
    pub fn new(caption: impl Into<String>, heads: &[&str]) -> Self {
        let heads = heads
            .iter()
            .map(|head| match head.strip_prefix('#') {
                Some(text) => Head { text: text.to_owned(), numeric: true },
                None => Head { text: (*head).to_owned(), numeric: false },
            })
            .collect();
        Self { caption: caption.into(), heads, rows: Vec::new(), cards: false }
    }

    /// Adds a row of plain texts.
    pub fn row<T: Into<Cell>>(&mut self, cells: impl IntoIterator<Item = T>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }
}

impl Table {
    /// Heading and cell of every column of a row, for the template.
    pub fn pairs<'a>(&'a self, row: &'a [Cell]) -> Vec<(&'a Head, &'a Cell)> {
        self.heads.iter().zip(row).collect()
    }
}

/// A figure with its caption and the table that says the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// File name under `plots/`.
    pub file: String,
    /// Title.
    pub title: String,
    /// Caption.
    pub caption: String,
    /// The drawing.
    pub svg: String,
    /// The same as a table.
    pub table: Table,
}
