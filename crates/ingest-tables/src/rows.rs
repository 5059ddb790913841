//! What every kind of file hands on: a header and raw rows.

use jiff::civil::Date;
use records::{Code, Place, Problem, Severity, limits};
use std::borrow::Cow;
use words::say;

/// How many lines from the top may hold the header.
pub(crate) const HEADER_WITHIN: usize = 10;

/// What stands in a cell whose formula has no result.
pub(crate) const NOT_RECKONED: &str = "a formula without its result";

/// One cell as the file gives it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell<'a> {
    Empty,
    Text(Cow<'a, str>),
    Integer(i64),
    Number(f64),
    Date(Date),
    /// A time of day or a duration, in days.
    Clock(f64),
    Flag(bool),
    /// A spreadsheet error or a type that no column takes, in words.
    Broken(Cow<'a, str>),
}

impl<'a> Cell<'a> {
    /// The cell as text, trimmed; empty for no value.
    pub(crate) fn into_text(self) -> Cow<'a, str> {
        match self {
            Self::Empty => Cow::Borrowed(""),
            Self::Text(Cow::Borrowed(text)) => Cow::Borrowed(text.trim()),
            Self::Text(Cow::Owned(text)) => Cow::Owned(text.trim().to_owned()),
            Self::Broken(text) => text,
            Self::Integer(value) => Cow::Owned(value.to_string()),
            Self::Number(value) => Cow::Owned(value.to_string()),
            Self::Date(date) => Cow::Owned(date.to_string()),
            Self::Clock(days) => Cow::Owned(clock(days)),
            Self::Flag(value) => Cow::Borrowed(if value { "yes" } else { "no" }),
        }
    }

    /// The cell without a copy of its text.
    pub(crate) fn borrowed(&self) -> Cell<'_> {
        match self {
            Self::Text(text) => Cell::Text(Cow::Borrowed(text)),
            Self::Broken(text) => Cell::Broken(Cow::Borrowed(text)),
            Self::Empty => Cell::Empty,
            Self::Integer(value) => Cell::Integer(*value),
            Self::Number(value) => Cell::Number(*value),
            Self::Date(date) => Cell::Date(*date),
            Self::Clock(days) => Cell::Clock(*days),
            Self::Flag(value) => Cell::Flag(*value),
        }
    }

    /// The cell with a text of its own.
    pub(crate) fn into_owned(self) -> Cell<'static> {
        match self {
            Self::Text(text) => Cell::Text(Cow::Owned(text.into_owned())),
            Self::Broken(text) => Cell::Broken(Cow::Owned(text.into_owned())),
            Self::Empty => Cell::Empty,
            Self::Integer(value) => Cell::Integer(value),
            Self::Number(value) => Cell::Number(value),
            Self::Date(date) => Cell::Date(date),
            Self::Clock(days) => Cell::Clock(days),
            Self::Flag(value) => Cell::Flag(value),
        }
    }
}

/// A time as a spreadsheet shows it: hours, minutes and seconds between colons.
fn clock(days: f64) -> String {
    let seconds = (days * 86_400.0).round().max(0.0) as u64;
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if seconds == 0 {
        format!("{hours}:{minutes:02}")
    } else {
        format!("{hours}:{minutes:02}:{seconds:02}")
    }
}

/// The cells of one row.
pub(crate) trait Cells {
    /// Number of cells.
    fn len(&self) -> usize;

    /// A cell by position; empty past the end.
    fn cell(&self, index: usize) -> Cell<'_>;

    /// A cell as part of an id that is joined from several.
    fn part(&self, index: usize) -> Cell<'_> {
        self.cell(index)
    }
}

/// The whole row cannot be read, whatever its cells hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Damage {
    pub(crate) column: Option<u32>,
    pub(crate) code: Code,
    pub(crate) reason: String,
    pub(crate) remedy: String,
}

impl Damage {
    /// The damage of a row of cells whose text is longer than what is read, when it is.
    pub(crate) fn of_length(cells: &dyn Cells) -> Option<Self> {
        let length = |cell: usize| match cells.cell(cell) {
            Cell::Text(text) => text.len() as u64,
            _ => 0,
        };
        let bytes: u64 = (0..cells.len()).map(length).sum();
        (!limits::ROW.holds(bytes)).then(|| Self {
            column: None,
            code: Code::RowTooLong,
            reason: say!(
                "the row has {bytes} bytes, more than {} are not read",
                limits::ROW.words()
            ),
            remedy: say!("shorten its longest cell, or remove the row"),
        })
    }
}

/// One row below the header.
pub(crate) struct RawRow<'a> {
    pub(crate) line: u64,
    pub(crate) cells: &'a dyn Cells,
    /// The row as it stands in a text file; spreadsheets and Parquet have none.
    pub(crate) raw: Option<&'a str>,
    pub(crate) damage: Option<Damage>,
}

impl RawRow<'_> {
    /// Text kept in the quarantine: the row itself, or its cells between tabs.
    pub(crate) fn text(&self) -> String {
        self.raw.map_or_else(
            || {
                let cells: Vec<_> =
                    (0..self.cells.len()).map(|i| self.cells.cell(i).into_text()).collect();
                crate::text_rows::shortened(&cells.join("\t"))
            },
            crate::text_rows::shortened,
        )
    }

    /// Whether no cell holds anything.
    pub(crate) fn is_blank(&self) -> bool {
        self.damage.is_none()
            && (0..self.cells.len()).all(|i| self.cells.cell(i).into_text().is_empty())
    }
}

/// The header of a file and what was passed over to find it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Header {
    /// Line of the header, from 1.
    pub(crate) line: u64,
    /// Column names as written.
    pub(crate) names: Vec<String>,
    /// Lines above the header that hold something.
    pub(crate) titles: u64,
    /// Line of the first byte that is no UTF-8, when the encoding had to be found out.
    pub(crate) encoding_found_at: Option<u64>,
}

/// Takes rows one by one.
pub(crate) type RowSink<'a> = dyn FnMut(&RawRow<'_>) + 'a;

/// A file opened far enough to know its header.
pub(crate) trait Rows {
    fn header(&self) -> &Header;

    /// Hands on every row below the header, blank ones included, in file order.
    fn each(&mut self, sink: &mut RowSink<'_>) -> Result<(), Fault>;
}

/// A file that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Fault {
    pub(crate) code: Code,
    pub(crate) line: Option<u64>,
    pub(crate) what: String,
    pub(crate) remedy: String,
}

impl Fault {
    pub(crate) fn new(code: Code, what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { code, line: None, what: what.into(), remedy: remedy.into() }
    }

    pub(crate) fn into_problem(self, file: &str) -> Problem {
        let place = Place { file: file.to_owned(), line: self.line, column: None };
        Problem::new(place, Severity::Fatal, self.code, self.what, self.remedy)
    }
}
