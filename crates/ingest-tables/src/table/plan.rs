//! Which cell goes where in one file.

use crate::archive::too_large;
use crate::cell::value::{CellReader, Notes, Style};
use crate::columns::Columns;
use crate::discover::Source;
use crate::header::{EVERY_ROW, HeaderWords, Joined, Layout, Meaning};
use crate::rows::{Fault, Header, RawRow};
use crate::stated::meant;
use records::{Book, MeasuredAs, StatedValue, TableSpec, counted, limits};
use std::collections::BTreeMap;
use words::{say, text};

/// Between the texts of which an id is joined.
pub(super) const JOINT: &str = "/";

/// Which cell goes where in one file.
pub(super) struct Plan {
    pub(super) file: u32,
    /// By position in the schema.
    pub(super) readers: Vec<Option<(usize, CellReader)>>,
    /// Columns made of several cells, with the names of these.
    pub(super) joined: Vec<(Joined, Vec<String>)>,
    /// By position among the extra columns.
    pub(super) extra: Vec<Option<usize>>,
    /// Words of the header.
    pub(super) header: Vec<String>,
    pub(super) measured_as: Option<MeasuredAs>,
    /// Whether `values` of the file states of an empty cell that it means nothing.
    empty_is_none: bool,
    /// Whether further rows of a tree on one day are visits of their own.
    pub(super) several_a_day: bool,
}

impl Plan {
    pub(super) fn joined_at(&self, position: usize) -> Option<&(Joined, Vec<String>)> {
        self.joined.iter().find(|(joined, _)| joined.column == position)
    }

    /// The first cell of a column.
    pub(super) fn cell_of(&self, position: usize) -> Option<usize> {
        self.readers.get(position)?.map(|(cell, _)| cell)
    }

    /// Whether a cell is read into a column that every row needs.
    pub(super) fn is_needed(&self, cell: usize, spec: &TableSpec) -> bool {
        let needed = spec.columns.iter().enumerate().filter(|(_, column)| column.required);
        let mut needed = needed.map(|(position, _)| position);
        needed.any(|position| match self.joined_at(position) {
            Some((joined, _)) => joined.cells.contains(&cell),
            None => self.cell_of(position) == Some(cell),
        })
    }

    /// Whether a row holds nothing of its visit: an id and no day, and no other cell that is read; of a file whose empty
    /// cells mean nothing, whatever day is stated of every row.
    pub(super) fn is_unfilled(&self, row: &RawRow<'_>, day: usize) -> bool {
        let is_empty = |cell: usize| row.cells.cell(cell).into_text().is_empty();
        let is_whole =
            row.damage.is_none() && (row.raw.is_none() || row.cells.len() >= self.header.len());
        let of_visit = |position: usize| position > 0 && self.joined_at(position).is_none();
        let mut others = self.readers.iter().enumerate().filter_map(|(position, reader)| {
            let (cell, _) = reader.as_ref()?;
            (of_visit(position) && *cell < EVERY_ROW).then_some(*cell)
        });
        is_whole
            && (self.empty_is_none || self.cell_of(day).is_some_and(|cell| cell < EVERY_ROW))
            && others.all(is_empty)
            && !self.text(row, 0).is_empty()
    }

    pub(super) fn text<'r>(
        &self,
        row: &'r RawRow<'_>,
        position: usize,
    ) -> std::borrow::Cow<'r, str> {
        if let Some((joined, _)) = self.joined_at(position) {
            let parts: Vec<_> =
                joined.cells.iter().map(|cell| row.cells.part(*cell).into_text()).collect();
            return parts.join(JOINT).into();
        }
        self.cell_of(position).map(|cell| row.cells.cell(cell).into_text()).unwrap_or_default()
    }

    /// What a header and the settings of its file say; extra columns are entered into `columns`.
    ///
    /// # Errors
    /// When the header has too many columns or lacks one, or what is stated of every row cannot be read.
    pub(super) fn of(
        spec: &'static TableSpec,
        columns: &mut Columns,
        file: u32,
        source: &Source,
        book: &Book,
        header: &Header,
    ) -> Result<(Self, Layout), Vec<Fault>> {
        let count = header.names.len() as u64;
        if !limits::COLUMNS.holds(count) {
            return Err(vec![too_large(say!(
                "the header has {}; at most {} are read",
                counted(count, text!("column"), text!("columns")),
                limits::COLUMNS.most
            ))]);
        }
        let options = &source.options;
        let words = HeaderWords::new(spec, options);
        let layout = words.layout(&header.names)?;
        let style = Style {
            table: spec.table,
            decimal: options.decimal.unwrap_or(book.book.decimal),
            decimal_is_stated: options.decimal.is_some(),
            dates: options.dates.unwrap_or(book.book.dates),
        };
        let mut readers = vec![None; spec.columns.len()];
        let mut extra = Vec::new();
        for reading in &layout.readings {
            let unit = words.unit(reading);
            match &reading.meaning {
                Meaning::Column(position) => {
                    if let (Some(slot), Some(column)) =
                        (readers.get_mut(*position), spec.columns.get(*position))
                    {
                        *slot = Some((reading.cell, CellReader { column, unit, style }));
                    }
                }
                Meaning::Extra(name) => {
                    let position = columns.extra(name);
                    if extra.len() <= position {
                        extra.resize(position + 1, None);
                    }
                    if let Some(slot) = extra.get_mut(position) {
                        *slot = Some(reading.cell);
                    }
                }
                Meaning::Unknown => {}
            }
        }
        let faults = always_unreadable(&readers, source);
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut joined = Vec::new();
        for of in &layout.joined {
            if let (Some(slot), Some(column), Some(first)) =
                (readers.get_mut(of.column), spec.columns.get(of.column), of.cells.first())
            {
                *slot = Some((*first, CellReader { column, unit: None, style }));
                let stated = |cell: &usize| {
                    let place = cell.checked_sub(EVERY_ROW)?;
                    options.every_row.keys().nth(place).cloned()
                };
                let name = |cell: &usize| {
                    header.names.get(*cell).cloned().or_else(|| stated(cell)).unwrap_or_default()
                };
                joined.push((of.clone(), of.cells.iter().map(name).collect()));
            }
        }
        let measured_as = options.measured_as;
        let header = header.names.clone();
        let nothing = StatedValue::Text(String::new());
        let is_none = |words: &BTreeMap<String, StatedValue>| words.get("") == Some(&nothing);
        let empty_is_none = options.values.values().any(is_none);
        let several_a_day = options.several_a_day;
        let plan = Self {
            file,
            readers,
            joined,
            extra,
            header,
            measured_as,
            empty_is_none,
            several_a_day,
        };
        Ok((plan, layout))
    }
}

/// What is stated of every row and cannot be read: told once, not once a row.
fn always_unreadable(readers: &[Option<(usize, CellReader)>], source: &Source) -> Vec<Fault> {
    let stated = readers.iter().flatten().filter_map(|(cell, reader)| {
        let value = source.options.every_row.values().nth(cell.checked_sub(EVERY_ROW)?)?;
        let fault = reader.read(meant(value), &mut Notes::default()).err()?;
        let what = say!("every_row: {}", fault.reason);
        let remedy = match &source.named {
            Some(named) => say!(
                "{}; '{named}' stands for the `*` of its path or sheet: if it is no such file, name it in not_tables or in a stanza of its own",
                fault.remedy
            ),
            None => fault.remedy,
        };
        Some(Fault::new(fault.code, what, &remedy))
    });
    stated.collect()
}
