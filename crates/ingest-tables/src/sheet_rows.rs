//! Rows of an XLSX or ODS sheet.

use crate::archive::{self, too_large};
use crate::header::HeaderWords;
use crate::rows::{
    Cell, Cells, Damage, Fault, HEADER_WITHIN, Header, NOT_RECKONED, RawRow, RowSink, Rows,
};
use calamine::{
    CellErrorType, Data, DataRef, Reader, Sheet, SheetType, Sheets, Xlsx, open_workbook_auto,
};
use jiff::civil::Date;
use records::limits::{self, Limit};
use records::{Code, Table};
use std::borrow::Cow;
use std::path::Path;

/// A sheet in memory: sheet rows (from 1) that hold something, each up to its last cell.
pub(crate) struct SheetRows {
    rows: Vec<(u64, Vec<Data>)>,
    /// Position of the header within `rows`.
    header_at: usize,
    header: Header,
}

type Workbook = Sheets<std::io::BufReader<std::fs::File>>;

fn unreadable(error: &calamine::Error) -> Fault {
    Fault::new(
        Code::FileUnreadable,
        format!("the spreadsheet cannot be read: {error}"),
        "open it, save it again as .xlsx or .ods, or export the sheet as CSV",
    )
}

fn disordered(row: u64) -> Fault {
    Fault::new(
        Code::FileUnreadable,
        format!("the spreadsheet is damaged: its row {row} comes twice or out of order"),
        "open it, save it again as .xlsx or .ods, or export the sheet as CSV",
    )
}

/// Opens a workbook whose sizes have been looked at.
fn workbook(path: &Path) -> Result<Workbook, Fault> {
    archive::check(path)?;
    open_workbook_auto(path).map_err(|error| unreadable(&error))
}

/// Names of the sheets of a workbook, in its order.
pub(crate) fn sheet_names(path: &Path) -> Result<Vec<String>, Fault> {
    Ok(workbook(path)?.sheet_names())
}

/// Names of the sheets of a workbook that hold anything, in its order.
pub(crate) fn filled_sheets(path: &Path) -> Result<Vec<String>, Fault> {
    let mut book = workbook(path)?;
    let is_table = |sheet: &&Sheet| sheet.typ == SheetType::WorkSheet;
    let tables: Vec<String> =
        book.sheets_metadata().iter().filter(is_table).map(|sheet| sheet.name.clone()).collect();
    // A sheet that cannot be looked at may hold something.
    let mut is_filled = |name: &String| match &mut book {
        Sheets::Xlsx(book) => match book.worksheet_cells_reader(name) {
            Err(_) => true,
            Ok(mut reader) => loop {
                match reader.next_cell() {
                    Ok(Some(cell)) if *cell.get_value() == DataRef::Empty => {}
                    Ok(None) => break false,
                    Ok(Some(_)) | Err(_) => break true,
                }
            },
        },
        book => {
            book.worksheet_range(name).map_or(true, |range| range.used_cells().next().is_some())
        }
    };
    Ok(tables.into_iter().filter(|name| is_filled(name)).collect())
}

/// The sheet to read of a workbook: the declared one, else the one named as the table, else the
/// first.
pub(crate) fn choose_sheet(
    path: &Path,
    declared: Option<&str>,
    table: Table,
) -> Result<String, Fault> {
    let names = sheet_names(path)?;
    if let Some(declared) = declared {
        return names.iter().find(|name| *name == declared).cloned().ok_or_else(|| {
            Fault::new(
                Code::FileUnreadable,
                format!("the workbook has no sheet '{declared}'; it has {}", names.join(", ")),
                format!("correct sheet under [[files.{table}]] in book.toml"),
            )
        });
    }
    let named = names.iter().find(|name| is_named(name, table));
    named.or_else(|| names.first()).cloned().ok_or_else(|| {
        Fault::new(Code::FileEmpty, "the workbook has no sheet", "export it again, or remove it")
    })
}

/// Whether a sheet bears the name of a table.
pub(crate) fn is_named(sheet: &str, table: Table) -> bool {
    sheet.trim().eq_ignore_ascii_case(table.as_str())
}

impl Cells for Vec<Data> {
    fn len(&self) -> usize {
        Vec::len(self)
    }

    fn cell(&self, index: usize) -> Cell<'_> {
        match self.get(index) {
            None | Some(Data::Empty) => Cell::Empty,
            Some(Data::String(text)) => Cell::Text(Cow::Borrowed(text)),
            Some(Data::Int(value)) => Cell::Integer(*value),
            Some(Data::Float(value)) => Cell::Number(*value),
            Some(Data::Bool(value)) => Cell::Flag(*value),
            // Day 0 is no day: a time of day, or the length of one.
            Some(Data::DateTime(moment)) if moment.is_duration() || moment.as_f64() < 1.0 => {
                Cell::Clock(moment.as_f64())
            }
            Some(Data::DateTime(moment)) => {
                let (year, month, day, ..) = moment.to_ymd_hms_milli();
                let date = i16::try_from(year).ok().and_then(|year| {
                    Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
                });
                date.map_or(Cell::Broken(Cow::Borrowed("a day that does not exist")), Cell::Date)
            }
            Some(Data::DateTimeIso(text)) => Cell::Text(Cow::Borrowed(text)),
            Some(Data::DurationIso(text)) => duration(text)
                .map_or(Cell::Broken(Cow::Borrowed("a duration that cannot be read")), Cell::Clock),
            Some(Data::Error(CellErrorType::GettingData)) => {
                Cell::Broken(Cow::Borrowed(NOT_RECKONED))
            }
            Some(Data::Error(error)) => Cell::Broken(Cow::Owned(error.to_string())),
        }
    }
}

/// Days of a duration such as `PT00H09M30S`, as OpenDocument writes times.
fn duration(text: &str) -> Option<f64> {
    let span: jiff::SignedDuration = text.parse().ok()?;
    Some(span.as_secs_f64() / 86_400.0)
}

/// Whether a cell is empty or holds an empty text, as some programs write a result that is not there.
fn holds_nothing(cell: Option<&Data>) -> bool {
    match cell {
        None | Some(Data::Empty) => true,
        Some(Data::String(text)) => text.trim().is_empty(),
        _ => false,
    }
}

/// Writes into cells that hold a formula without its result that it was not reckoned; as files are that a script
/// wrote. An empty cell would say that there is nothing. Looked for where a named column is mostly empty, as it takes
/// a second pass through the sheet.
fn mark_formulas<R: std::io::Read + std::io::Seek>(
    book: &mut Xlsx<R>,
    sheet: &str,
    rows: &mut [(u64, Vec<Data>)],
    (header_at, header): &(usize, Header),
) -> Result<(), Fault> {
    let below = rows.get(header_at + 1..).unwrap_or_default();
    let is_mostly_empty = |at: usize| {
        let empty = below.iter().filter(|(_, cells)| holds_nothing(cells.get(at))).count();
        empty > 0 && 2 * empty >= below.len()
    };
    let named = header.names.iter().enumerate().filter(|(_, name)| !name.is_empty());
    let gaps: Vec<usize> = named.map(|(at, _)| at).filter(|at| is_mostly_empty(*at)).collect();
    if gaps.is_empty() {
        return Ok(());
    }
    let wrap = |error| unreadable(&calamine::Error::Xlsx(error));
    let mut reader = book.worksheet_cells_reader(sheet).map_err(wrap)?;
    while let Some(cell) = reader.next_formula().map_err(wrap)? {
        // Every cell comes by, those without a formula with an empty one: cells with borders and nothing else too.
        if cell.get_value().is_empty() {
            continue;
        }
        let (row, column) = cell.get_position();
        let (line, column) = (u64::from(row) + 1, column as usize);
        let found = rows.binary_search_by_key(&line, |(line, _)| *line);
        let own = found.ok().filter(|at| at > header_at).and_then(|at| rows.get_mut(at));
        if let Some((_, cells)) = own.filter(|_| gaps.contains(&column)) {
            if cells.len() <= column {
                cells.resize(column + 1, Data::Empty);
            }
            if let Some(cell) = cells.get_mut(column).filter(|cell| holds_nothing(Some(cell))) {
                *cell = Data::Error(CellErrorType::GettingData);
            }
        }
    }
    Ok(())
}

impl SheetRows {
    pub(crate) fn open(path: &Path, sheet: &str, words: &HeaderWords<'_>) -> Result<Self, Fault> {
        let empty =
            || Fault::new(Code::FileEmpty, "the sheet is empty", "export it again, or remove it");
        let rows = match workbook(path)? {
            // Cell by cell: a stray entry in the far corner must not blow up a dense range.
            Sheets::Xlsx(mut book) => {
                let wrap = |error| unreadable(&calamine::Error::Xlsx(error));
                let mut reader = book.worksheet_cells_reader(sheet).map_err(wrap)?;
                let mut rows = SparseRows::within(limits::SHEET_CELLS, limits::SHEET_TEXT);
                while let Some(cell) = reader.next_cell().map_err(wrap)? {
                    rows.put(cell.get_position(), cell.get_value().clone().into())?;
                }
                drop(reader);
                let mut rows = rows.rows;
                let found = find_header(&rows, words).ok_or_else(empty)?;
                mark_formulas(&mut book, sheet, &mut rows, &found)?;
                rows
            }
            mut book => {
                let range = book.worksheet_range(sheet).map_err(|error| unreadable(&error))?;
                let (top, left) = range.start().unwrap_or_default();
                let mut rows = SparseRows::within(limits::SHEET_CELLS, limits::SHEET_TEXT);
                for (row, column, value) in range.used_cells() {
                    let shift = |base: u32, by: usize| {
                        base.saturating_add(u32::try_from(by).unwrap_or(u32::MAX))
                    };
                    rows.put((shift(top, row), shift(left, column)), value.clone())?;
                }
                rows.rows
            }
        };
        let (header_at, header) = find_header(&rows, words).ok_or_else(empty)?;
        Ok(Self { rows, header_at, header })
    }
}

struct SparseRows {
    rows: Vec<(u64, Vec<Data>)>,
    /// Cells in memory, blanks before a filled one included.
    cells: u64,
    /// Bytes of their text.
    text: u64,
    /// The most of both.
    most: [Limit; 2],
}

impl SparseRows {
    fn within(cells: Limit, text: Limit) -> Self {
        Self { rows: Vec::new(), cells: 0, text: 0, most: [cells, text] }
    }

    /// Puts a cell; positions count from 0. A sheet whose rows do not ascend, or that fills a cell
    /// twice, is damaged: which of its rows a line number means could not be told.
    fn put(&mut self, (row, column): (u32, u32), value: Data) -> Result<(), Fault> {
        if value == Data::Empty {
            return Ok(());
        }
        let row = u64::from(row) + 1;
        if let Data::String(text) | Data::DateTimeIso(text) | Data::DurationIso(text) = &value {
            self.text += text.len() as u64;
        }
        match self.rows.last() {
            Some((last, _)) if *last > row => return Err(disordered(row)),
            Some((last, _)) if *last == row => {}
            _ => self.rows.push((row, Vec::new())),
        }
        if let Some((_, cells)) = self.rows.last_mut() {
            let column = column as usize;
            if cells.len() <= column {
                self.cells += (column + 1 - cells.len()) as u64;
                let [most_cells, most_text] = self.most;
                if !most_cells.holds(self.cells) || !most_text.holds(self.text) {
                    return Err(too_large(format!(
                        "at row {row} the sheet exceeds {} or {} of text",
                        most_cells.words(),
                        most_text.words()
                    )));
                }
                cells.resize(column + 1, Data::Empty);
            }
            if let Some(cell) = cells.get_mut(column) {
                if *cell != Data::Empty {
                    return Err(disordered(row));
                }
                *cell = value;
            }
        }
        Ok(())
    }
}

fn names(cells: &Vec<Data>) -> Vec<String> {
    (0..cells.len()).map(|i| cells.cell(i).into_text().into_owned()).collect()
}

/// The most header-like of the first rows, the first of equals.
fn find_header(rows: &[(u64, Vec<Data>)], words: &HeaderWords<'_>) -> Option<(usize, Header)> {
    let mut best: Option<(usize, (usize, usize), Header)> = None;
    let mut titles = 0;
    for (at, (line, cells)) in rows.iter().enumerate() {
        let is_out_of_reach = *line > HEADER_WITHIN as u64;
        if is_out_of_reach && best.is_some() {
            break;
        }
        let names = names(cells);
        if names.iter().all(String::is_empty) {
            continue;
        }
        let rank = words.rank(&names);
        if best.as_ref().is_none_or(|(_, high, _)| rank > *high) {
            best = Some((at, rank, Header { line: *line, names, titles, encoding_found_at: None }));
        }
        titles += 1;
    }
    best.map(|(at, _, header)| (at, header))
}

impl Rows for SheetRows {
    fn header(&self) -> &Header {
        &self.header
    }

    fn each(&mut self, sink: &mut RowSink<'_>) -> Result<(), Fault> {
        for (line, cells) in self.rows.iter().skip(self.header_at + 1) {
            let damage = Damage::of_length(cells);
            sink(&RawRow { line: *line, cells, raw: None, damage });
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_before_a_far_entry_count() {
        let limit = |most| Limit { what: "a test", most, unit: "cells" };
        let mut rows = SparseRows::within(limit(40_000), limit(10));
        for row in 0..2 {
            rows.put((row, 16_383), Data::Bool(true)).unwrap();
        }
        let refused = rows.put((2, 16_383), Data::Bool(true)).unwrap_err();
        assert_eq!(refused.code, Code::FileTooLarge);
        assert!(refused.what.contains("at row 3"), "{}", refused.what);
        let mut rows = SparseRows::within(limit(40_000), limit(10));
        rows.put((0, 0), Data::String("1234567890".to_owned())).unwrap();
        assert!(rows.put((1, 0), Data::String("1".to_owned())).is_err());
    }
}
