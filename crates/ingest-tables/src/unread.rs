//! Columns of a file that nothing reads, where one sheet may be read for several tables.

use crate::FileReport;
use crate::pattern::Pattern;
use records::{Book, Code, FileOptions, Place, Problem, Severity, Table};
use std::collections::BTreeMap;
use words::{say, text};

/// A column that one reading of a file left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Unread {
    /// Word of the header.
    pub(crate) column: String,
    pub(crate) line: u64,
    /// From 1.
    pub(crate) cell: u32,
}

/// One reading of a file, for one table.
pub(crate) struct FileColumns<'a> {
    pub(crate) report: &'a FileReport,
    /// The cell of each column read, from 1.
    pub(crate) cells: &'a BTreeMap<String, u32>,
    /// Columns left out; `None` where the file could not be read.
    pub(crate) unread: Option<&'a [Unread]>,
}

impl FileColumns<'_> {
    /// Whether this reading has a use for a cell of the header, or is told that it means nothing.
    fn settles(&self, cell: u32, book: &Book) -> bool {
        let Some(unread) = self.unread else { return false };
        if unread.iter().any(|unread| unread.cell == cell) {
            return false;
        }
        let spec = self.report.table.spec();
        let named = self.cells.iter().find(|(_, own)| **own == cell).map(|(name, _)| name);
        match named.filter(|name| spec.keeps_extra_columns && spec.column(name).is_none()) {
            // The table of trials keeps every column, and uses those that a trial names.
            Some(name) => book.trials.values().any(|trial| trial.names_column(name)),
            None => true,
        }
    }
}

/// Whether stanzas of a table mean a file or sheet by a `*`, and do not read it since others name it in full.
fn is_kept_from(file: &str, table: Table, book: &Book) -> bool {
    let (path, sheet) = file.rsplit_once('#').unwrap_or((file, ""));
    let stanzas = || book.files.get(&table).into_iter().flatten();
    let is_plain = |of: &FileOptions| {
        Pattern::is_plain(&of.path) && of.sheet.as_deref().is_none_or(Pattern::is_plain)
    };
    let means = |of: &FileOptions| {
        let is_sheet =
            of.sheet.as_deref().is_none_or(|own| Pattern::of_path(own).matches_name(sheet));
        is_sheet && Pattern::of_path(&of.path).matches_path(path)
    };
    stanzas().any(|of| is_plain(of) && means(of)) && stanzas().any(|of| !is_plain(of) && means(of))
}

/// A problem for every column that no reading of its file has a use for, once for a file.
pub(crate) fn unread(files: &[FileColumns<'_>], book: &Book) -> Vec<Problem> {
    let mut told: BTreeMap<(&str, u32), (&Unread, Vec<Table>)> = BTreeMap::new();
    for file in files {
        for unread in file.unread.unwrap_or_default() {
            let of_file = files.iter().filter(|other| other.report.file == file.report.file);
            if of_file.into_iter().any(|other| other.settles(unread.cell, book)) {
                continue;
            }
            let key = (file.report.file.as_str(), unread.cell);
            let (_, tables) = told.entry(key).or_insert((unread, Vec::new()));
            if !tables.contains(&file.report.table) {
                tables.push(file.report.table);
            }
        }
    }
    told.into_iter()
        .map(|((file, cell), (Unread { column, line, .. }, tables))| {
            let (what, mut remedy) = match tables.as_slice() {
                [table] => (
                    say!("the column '{column}' is not one of the table {table} and is left out"),
                    say!(
                        "if it means one of them write header = {{ \"{column}\" = \"its column\" }} {under}; if it means none, not_columns = [\"{column}\"]",
                        under = say!("under [[files.{table}]] in book.toml")
                    ),
                ),
                several => {
                    let names: Vec<&str> = several.iter().map(|table| table.as_str()).collect();
                    (
                        say!(
                            "the column '{column}' is none of the tables {}, for which the file is read, and is left out",
                            names.join(", ")
                        ),
                        say!(
                            "if it means one of their columns write header = {{ \"{column}\" = \"its column\" }} under [[files.TABLE]] of that table in book.toml; if it means none, not_columns = [\"{column}\"] under one of them"
                        ),
                    )
                }
            };
            if tables.iter().any(|table| is_kept_from(file, *table, book)) {
                remedy.push_str(text!(
                    "; a stanza names the file or sheet in full, so that those with * do not read it: name it in full in each that shall"
                ));
            }
            let place = Place { file: file.to_owned(), line: Some(*line), column: Some(cell) };
            Problem::new(place, Severity::Warning, Code::ColumnUnknown, what, remedy)
        })
        .collect()
}
