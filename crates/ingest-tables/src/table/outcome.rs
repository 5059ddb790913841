//! What reading one file gave, apart from the rows kept.

use super::{cell_number, stands_at};
use crate::cell::date;
use crate::discover::Source;
use crate::header::{HeaderWords, Layout, Meaning};
use crate::quarantine::QuarantinedRow;
use crate::rows::Header;
use crate::stated::Stated;
use crate::summary::{Event, Summary};
use records::{Code, ColumnKind, DateOrder, Severity, StatedValue, TableSpec};
use std::collections::BTreeMap;
use words::{say, text};

/// What reading one file gave, apart from the rows kept.
#[derive(Default)]
pub(crate) struct FileOutcome {
    /// Line of the header, when the file has one.
    pub(crate) header_line: Option<u64>,
    /// The cell of each column that is read, from 1.
    pub(crate) cells: BTreeMap<String, u32>,
    pub(crate) rows_read: u64,
    /// Rows of trees that were not drawn.
    pub(crate) rows_not_drawn: u64,
    pub(crate) summary: Summary,
    pub(crate) quarantine: Vec<QuarantinedRow>,
}

impl FileOutcome {
    /// Counts the cells of a kept row that were read as `book.toml` states.
    pub(super) fn note_stated(&mut self, line: u64, stated: &Stated) {
        for (column, cell, code) in stated.changes() {
            let severity =
                if code == Code::FilledAnewPlot { Severity::Warning } else { Severity::Repaired };
            let cell = stands_at(cell);
            self.summary.add(Event { severity, code, column, line, cell }, 1, String::new);
        }
    }

    /// Rows that are longer than others, be their last cells empty: a mark within a cell split them.
    pub(super) fn note_longer(&mut self, (longer, first): (u64, u64)) {
        if longer > 0 && longer < self.rows_read {
            let (severity, code) = (Severity::Warning, Code::RowRagged);
            let event = Event { severity, code, column: "", line: first, cell: None };
            self.summary.add(event, longer, String::new);
        }
    }

    /// A row passed over, which may hold all that a row needs.
    pub(super) fn note_not_one(&mut self, line: u64, text: String, is_whole: bool) {
        let severity = if is_whole { Severity::Warning } else { Severity::Repaired };
        let code = Code::RowNotOne;
        let event = Event { severity, code, column: "", line, cell: None };
        self.summary.add(event, 1, || text);
    }

    /// A row that holds an id and nothing of a visit.
    pub(super) fn note_unfilled(&mut self, line: u64) {
        let (severity, code) = (Severity::Repaired, Code::RowUnfilled);
        let event = Event { severity, code, column: "", line, cell: None };
        self.summary.add(event, 1, String::new);
    }

    pub(super) fn pass_over(&mut self, line: u64) {
        self.rows_not_drawn += 1;
        let (severity, code) = (Severity::Warning, Code::TreesNotDrawn);
        let event = Event { severity, code, column: "", line, cell: None };
        self.summary.add(event, 1, String::new);
    }
}

/// Counts what was passed over to read the header, and the columns left out.
pub(super) fn note_header(header: &Header, layout: &Layout, summary: &mut Summary) {
    let event = |severity, code, line| Event { severity, code, column: "", line, cell: None };
    if header.titles > 0 {
        let event = event(Severity::Repaired, Code::TitleSkipped, 1);
        summary.add(event, header.titles, String::new);
    }
    if let Some(line) = header.encoding_found_at {
        summary.add(event(Severity::Repaired, Code::TextEncoding, line), 1, String::new);
    }
    for (cell, name) in &layout.unknown {
        let (code, line, cell) = (Code::ColumnUnknown, header.line, Some(cell_number(*cell)));
        let column = if name.is_empty() { text!("without a name") } else { name };
        let event = Event { severity: Severity::Warning, code, column, line, cell };
        summary.add(event, 1, String::new);
    }
}

/// Tells headings of measures that read as a day other than the one that `every_row` states, as of sheets with one
/// column for each round: one of the two is mistyped, and nothing else in the file says which.
pub(super) fn note_days(
    spec: &TableSpec,
    source: &Source,
    order: DateOrder,
    (header, layout): (&Header, &Layout),
    summary: &mut Summary,
) {
    let kind = |name: &str| spec.column(name).map(|column| column.kind);
    let stated = source.options.every_row.iter().find_map(|(column, value)| match value {
        StatedValue::Text(text) if kind(column) == Some(ColumnKind::Date) => {
            Some((text, date::epoch_days(date::parse(text, order, false).ok()?.date)))
        }
        _ => None,
    });
    let Some((stated, day)) = stated else { return };
    for reading in &layout.readings {
        let (Meaning::Column(position), Some(heading)) =
            (&reading.meaning, header.names.get(reading.cell))
        else {
            continue;
        };
        let Some(column) = spec.columns.get(*position).filter(|own| own.kind != ColumnKind::Date)
        else {
            continue;
        };
        let days = date::possible(heading.trim(), order);
        if days.is_empty() || days.iter().any(|(first, last)| (*first..=*last).contains(&day)) {
            continue;
        }
        let (severity, code) = (Severity::Warning, Code::ValueStated);
        let (line, cell) = (header.line, Some(cell_number(reading.cell)));
        let event = Event { severity, code, column: column.name, line, cell };
        summary.add(event, 1, || {
            say!(
                "the column read as {} is headed '{heading}', which is another day than the one that every_row states, {stated}",
                column.name
            )
        });
    }
}

/// Tells headings with a unit in brackets that is not known, such as weights in tins.
pub(super) fn note_units(
    words: &HeaderWords<'_>,
    layout: &Layout,
    header: &Header,
    outcome: &mut FileOutcome,
) {
    for reading in &layout.readings {
        if let (Some(unit), Meaning::Column(position)) =
            (words.unknown_unit(reading), &reading.meaning)
        {
            let column = words.column_name(*position);
            let (severity, cell) = (Severity::Warning, Some(cell_number(reading.cell)));
            let event =
                Event { severity, code: Code::UnitSuspect, column, line: header.line, cell };
            outcome.summary.add(event, 0, || unit.to_owned());
        }
    }
}
