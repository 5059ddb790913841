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
    /// What rows are sorted by where it is not the text, such as an ISO date; empty for the text.
    pub key: String,
}

impl Cell {
    /// The cell with what rows are sorted by.
    pub fn sorted_by(mut self, key: impl Into<String>) -> Self {
        self.key = key.into();
        self
    }
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
    /// Link to how the column was computed, empty for none.
    pub how: String,
}

impl Head {
    /// The heading with a link to how the column was computed.
    pub fn how(mut self, link: String) -> Self {
        self.how = link;
        self
    }
}

impl From<&str> for Head {
    /// A heading that starts with `#` marks a numeric column.
    fn from(head: &str) -> Self {
        let (text, numeric) = head.strip_prefix('#').map_or((head, false), |text| (text, true));
        Self { text: text.to_owned(), numeric, how: String::new() }
    }
}

impl From<&&str> for Head {
    fn from(head: &&str) -> Self {
        (*head).into()
    }
}

impl From<String> for Head {
    fn from(head: String) -> Self {
        head.as_str().into()
    }
}

/// A name with its value, for a list of definitions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fact {
    /// Name, with unit.
    pub name: String,
    /// Value.
    pub value: String,
    /// Link to how it was computed.
    pub how: String,
}

impl Fact {
    /// A fact with its link.
    pub fn new(name: impl Into<String>, value: impl Into<String>, how: String) -> Self {
        Self { name: name.into(), value: value.into(), how }
    }
}

/// Fewest rows for which sorting and filtering are worth their place.
const LONG: usize = 12;

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
    /// Whether the order of the rows is part of what the table says.
    pub ordered: bool,
    /// Link to how its numbers were computed, where the headings have none; empty for none.
    pub how: String,
    /// Ids of the rows; empty, or one per row.
    pub ids: Vec<String>,
}

impl Table {
    /// An empty table; a heading that starts with `#` marks a numeric column.
    pub fn new<H: Into<Head>>(
        caption: impl Into<String>,
        heads: impl IntoIterator<Item = H>,
    ) -> Self {
        Self {
            caption: caption.into(),
            heads: heads.into_iter().map(Into::into).collect(),
            rows: Vec::new(),
            cards: false,
            ordered: false,
            how: String::new(),
            ids: Vec::new(),
        }
    }

    /// Adds a row of plain texts.
    pub fn row<T: Into<Cell>>(&mut self, cells: impl IntoIterator<Item = T>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }
}

impl Table {
    /// Whether readers get sorting and a filter.
    pub fn is_long(&self) -> bool {
        !self.ordered && self.rows.len() >= LONG
    }

    /// The table with rows that become cards on a narrow screen. Its link moves to the headings of
    /// numbers: with the roles that cards need, a caption may not hold one.
    pub fn into_cards(mut self) -> Self {
        let how = std::mem::take(&mut self.how);
        for head in self.heads.iter_mut().filter(|head| head.numeric && head.how.is_empty()) {
            head.how.clone_from(&how);
        }
        self.cards = true;
        self
    }

    /// Id of a row, for the template; empty for none.
    pub fn id(&self, row: &usize) -> &str {
        self.ids.get(*row).map_or("", String::as_str)
    }

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
    /// Link to how it was computed; empty for none.
    pub how: String,
    /// The drawing.
    pub svg: String,
    /// The same as a table.
    pub table: Table,
}

impl Figure {
    /// The figure with a link to how it was computed; its table keeps its order.
    pub fn how(mut self, link: String) -> Self {
        self.table.ordered = true;
        self.table.how.clone_from(&link);
        self.how = link;
        self
    }
}
