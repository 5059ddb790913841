//! Turns the raw rows of a table's files into typed rows, each kept or quarantined.

mod outcome;
mod plan;

pub(crate) use outcome::FileOutcome;

use crate::cell::date;
use crate::cell::fault::{CellFault, too_long};
use crate::cell::number::plain;
use crate::cell::value::{CellReader, Notes, Value};
use crate::columns::Columns;
use crate::date_order::DateOrders;
use crate::discover::Source;
use crate::draw::Draw;
use crate::duplicates::{Duplicates, Repetition};
use crate::header::{EVERY_ROW, HeaderWords, Joined};
use crate::prunings::IntensityColumns;
use crate::quarantine::{MissingVisit, QuarantinedRow};
use crate::refused::{is_header_again, is_total, quarantined};
use crate::rows::{Fault, RawRow, Rows};
use crate::stated::{NotRows, Stated};
use crate::summary::{Event, Summary};
use outcome::{note_days, note_header, note_units};
use plan::{JOINT, Plan};
use polars::prelude::{DataFrame, PolarsResult};
use records::{Book, Code, Severity, Table, TableSpec, counted};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Position of the day in the schemas of visits.
const DAY: usize = 1;

/// Column of the line on which a row starts.
pub(crate) const LINE: &str = ".line";

/// One table while its files are read.
pub(crate) struct TableReader {
    spec: &'static TableSpec,
    /// Rows kept of the file being read, and their hashes.
    columns: Columns,
    hashes: Vec<(u64, u64)>,
    duplicates: Duplicates,
    intensity: Option<IntensityColumns>,
    /// Names of the columns of files whose heading was refused.
    refused: BTreeSet<String>,
}

/// By what rows are kept.
#[derive(Clone, Copy)]
pub(crate) struct Keep<'a> {
    pub(crate) book: &'a Book,
    /// Trees whose visits are wanted; all where there is none.
    pub(crate) draw: Option<&'a Draw>,
}

/// Room for one row, used again for the next.
#[derive(Default)]
struct Scratch {
    values: Vec<Value>,
    faults: Vec<(Option<u32>, CellFault)>,
    /// Position in the schema, repair.
    repairs: Vec<(usize, Code)>,
    unusual: Vec<usize>,
    /// Position in the schema, and why the cell is left out.
    left_out: Vec<(usize, CellFault)>,
    /// Nothing says what the intensity is a fraction of.
    is_basis_assumed: bool,
    notes: Notes,
}

impl Scratch {
    /// Whether the row repeats another.
    fn repeats(&self) -> bool {
        self.faults.iter().any(|(_, fault)| fault.code == Code::RowDuplicate)
    }
}

/// A cell as people count it, from 1.
pub(crate) fn cell_number(cell: usize) -> u32 {
    u32::try_from(cell).map_or(u32::MAX, |cell| cell.saturating_add(1))
}

impl TableReader {
    pub(crate) fn new(table: Table) -> Self {
        let spec = table.spec();
        Self {
            spec,
            columns: Columns::new(spec),
            hashes: Vec::new(),
            duplicates: Duplicates::new(table),
            intensity: (table == Table::Prunings).then(|| IntensityColumns::of(spec)).flatten(),
            refused: BTreeSet::new(),
        }
    }

    /// Names of the columns of files whose heading was refused, as far as it tells them.
    pub(crate) fn into_refused(self) -> BTreeSet<String> {
        self.refused
    }

    fn name(&self, position: usize) -> &'static str {
        self.spec.columns.get(position).map_or("", |column| column.name)
    }

    /// Reads every row of a file. `names` are the files read so far and this one; `tick` hears the
    /// number of rows read.
    pub(crate) fn read(
        &mut self,
        source: &Source,
        Keep { book, draw }: Keep<'_>,
        names: &[String],
        rows: &mut dyn Rows,
        tick: &mut dyn FnMut(u64),
    ) -> Result<FileOutcome, Vec<Fault>> {
        let header = rows.header().clone();
        let file = file_number(names);
        self.columns = Columns::new(self.spec);
        self.hashes = Vec::new();
        let at = |faults: Vec<Fault>| -> Vec<Fault> {
            faults.into_iter().map(|fault| Fault { line: Some(header.line), ..fault }).collect()
        };
        let planned = Plan::of(self.spec, &mut self.columns, file, source, book, &header);
        if planned.is_err() {
            self.refused.extend(HeaderWords::new(self.spec, &source.options).names(&header.names));
        }
        let (plan, layout) = planned.map_err(at)?;
        let mut stated =
            Stated::of(&source.options, self.spec, &layout, &header.names).map_err(at)?;
        let not_rows = NotRows::of(&source.options);
        let cells = self.cell_numbers(&plan);
        let mut outcome =
            FileOutcome { header_line: Some(header.line), cells, ..FileOutcome::default() };
        note_header(&header, &layout, &mut outcome.summary);
        let order = source.options.dates.unwrap_or(book.book.dates);
        note_days(self.spec, source, order, (&header, &layout), &mut outcome.summary);
        note_units(&HeaderWords::new(self.spec, &source.options), &layout, &header, &mut outcome);
        let mut scratch = Scratch::default();
        let visits = matches!(self.spec.table, Table::Prunings | Table::Laterals | Table::Harvests);
        let draw = draw.filter(|_| visits);
        let day = plan.readers.get(DAY).copied().flatten().filter(|_| visits);
        // Rows of text with more cells than the header, and the line of the first.
        let mut longer = (0, 0);
        let mut orders = day.map(|(cell, reader)| (cell, DateOrders::new(reader.style.dates)));
        rows.each(&mut |row| {
            if row.is_blank() {
                return;
            }
            if let Some((cell, text)) = not_rows.found(row) {
                let is_whole = !plan.is_needed(cell, self.spec)
                    && self.reads_whole(row, &mut stated, &plan, &mut scratch);
                stated.carry_on(row.cells, cell);
                outcome.note_not_one(row.line, text, is_whole);
                return;
            }
            if row.raw.is_some() && row.cells.len() > plan.header.len() {
                longer = (longer.0 + 1, if longer.0 == 0 { row.line } else { longer.1 });
            }
            let as_it_stands = row;
            let cells;
            let row = if stated.is_empty() || row.damage.is_some() {
                row
            } else {
                let is_no_visit = is_total(row) || is_header_again(row, &header.names);
                cells = stated.cells(row.cells, is_no_visit);
                &RawRow { line: row.line, cells: &cells, raw: row.raw, damage: None }
            };
            if visits && plan.is_unfilled(row, DAY) {
                outcome.note_unfilled(row.line);
                return;
            }
            outcome.rows_read += 1;
            // The schemas of visits put the tree first.
            if draw.is_some_and(|draw| !draw.has(&plan.text(row, 0))) {
                outcome.pass_over(row.line);
            } else {
                if let (Some((cell, orders)), None) = (&mut orders, &row.damage) {
                    orders.see(row.cells.cell(*cell), row.line);
                }
                let set_aside = outcome.quarantine.len();
                self.row(row, &plan, names, &mut scratch, &mut outcome);
                match outcome.quarantine.get_mut(set_aside) {
                    // As it stands in the file, not as it was read.
                    Some(quarantined) => quarantined.text = as_it_stands.text(),
                    None => outcome.note_stated(as_it_stands.line, &stated),
                }
            }
            if outcome.rows_read.is_multiple_of(1 << 16) {
                tick(outcome.rows_read);
            }
        })
        .map_err(|fault| vec![fault])?;
        outcome.note_longer(longer);
        if let Some((cell, orders)) = orders {
            orders.note(self.name(DAY), stands_at(cell), &mut outcome.summary);
        }
        Ok(outcome)
    }

    /// The rows kept of the file read last, with every column of the schema, the extra ones and
    /// `.line`, and the hashes by which repetitions of them are noticed.
    ///
    /// # Errors
    /// When the columns differ in length, which they cannot.
    pub(crate) fn take(&mut self) -> PolarsResult<(DataFrame, Vec<(u64, u64)>)> {
        let columns = std::mem::replace(&mut self.columns, Columns::new(self.spec));
        Ok((columns.finish()?, std::mem::take(&mut self.hashes)))
    }

    /// Remembers rows of a file that was read at another time, so that later ones may repeat them.
    pub(crate) fn remember(
        &mut self,
        names: &[String],
        rows: &DataFrame,
        hashes: &[(u64, u64)],
    ) -> PolarsResult<()> {
        let file = file_number(names);
        let lines = rows.column(LINE)?.u32()?;
        for (line, (key, rest)) in lines.iter().zip(hashes) {
            self.duplicates.meet((file, line.unwrap_or(0)), *key, *rest);
        }
        Ok(())
    }

    fn cell_numbers(&self, plan: &Plan) -> BTreeMap<String, u32> {
        let schema = self.spec.columns.iter().enumerate().filter_map(|(position, column)| {
            Some((column.name.to_owned(), stands_at(plan.cell_of(position)?)?))
        });
        let extra = self.columns.extra_names().zip(&plan.extra);
        let extra = extra.filter_map(|(name, cell)| Some((name.to_owned(), stands_at((*cell)?)?)));
        schema.chain(extra).collect()
    }

    fn row(
        &mut self,
        row: &RawRow<'_>,
        plan: &Plan,
        names: &[String],
        scratch: &mut Scratch,
        outcome: &mut FileOutcome,
    ) {
        scratch.faults.clear();
        if let Some(damage) = &row.damage {
            let (code, reason, remedy) =
                (damage.code, damage.reason.clone(), damage.remedy.clone());
            scratch.faults.push((damage.column, CellFault { code, reason, remedy }));
        } else {
            self.cells(row, plan, scratch);
            if scratch.faults.is_empty() {
                self.against_others(row, plan, names, scratch, outcome);
            }
        }
        let file = names.last().map_or("", String::as_str);
        if !scratch.faults.is_empty() {
            let visit = self.missing_visit(row, plan, scratch);
            let of_place = self.own_place(row, plan, scratch);
            outcome.quarantine.push(QuarantinedRow {
                visit,
                of_place,
                ..quarantined((file, self.spec.table), &plan.header, row, &scratch.faults)
            });
            return;
        }
        let line = line_number(row.line);
        let extra = |position: usize| {
            let cell = plan.extra.get(position).copied().flatten();
            cell.map(|cell| row.cells.cell(cell).into_text()).unwrap_or_default()
        };
        self.hashes.push(self.duplicates.last());
        self.columns.push(line, &scratch.values, |position| plan.text(row, position), extra);
        self.note_kept(row, plan, scratch, &mut outcome.summary);
    }

    /// Whether a row that is passed over could be read.
    fn reads_whole(
        &self,
        row: &RawRow<'_>,
        stated: &mut Stated,
        plan: &Plan,
        scratch: &mut Scratch,
    ) -> bool {
        let cells = stated.cells(row.cells, false);
        scratch.faults.clear();
        let row = RawRow { line: row.line, cells: &cells, raw: row.raw, damage: None };
        self.cells(&row, plan, scratch);
        scratch.faults.is_empty()
    }

    /// The block or tree of whose own row nothing is left.
    fn own_place(&self, row: &RawRow<'_>, plan: &Plan, scratch: &Scratch) -> Option<String> {
        let is_place = matches!(self.spec.table, Table::Blocks | Table::Trees);
        // The schemas put the id first.
        match (scratch.values.first(), &row.damage) {
            (Some(Value::Text), None) if is_place && !scratch.repeats() => {
                Some(plan.text(row, 0).into_owned())
            }
            _ => None,
        }
    }

    /// The visit that is lost with a row set aside.
    fn missing_visit(
        &self,
        row: &RawRow<'_>,
        plan: &Plan,
        scratch: &Scratch,
    ) -> Option<MissingVisit> {
        let recorded =
            matches!(self.spec.table, Table::Harvests | Table::Prunings | Table::Laterals);
        // The schemas put tree and day first.
        let (Some(Value::Text), true, false, None) =
            (scratch.values.first(), recorded, scratch.repeats(), &row.damage)
        else {
            return None;
        };
        let days = match (scratch.values.get(DAY), plan.readers.get(DAY)) {
            (Some(Value::Date(day)), _) => vec![(*day, *day)],
            (_, Some(Some((cell, reader)))) => {
                date::possible(&row.cells.cell(*cell).into_text(), reader.style.dates)
            }
            _ => Vec::new(),
        };
        Some(MissingVisit { tree: plan.text(row, 0).into_owned(), days })
    }

    /// Reads the cells into `scratch`, every fault of the row included.
    fn cells(&self, row: &RawRow<'_>, plan: &Plan, scratch: &mut Scratch) {
        scratch.values.clear();
        scratch.repairs.clear();
        scratch.unusual.clear();
        scratch.left_out.clear();
        scratch.is_basis_assumed = false;
        for (position, reader) in plan.readers.iter().enumerate() {
            let Some((cell, reader)) = reader else {
                scratch.values.push(Value::Null);
                continue;
            };
            scratch.notes.repairs.clear();
            scratch.notes.is_unusual = false;
            let value = match plan.joined_at(position) {
                Some(joined) => joined_value(row, plan, reader, joined, scratch),
                None => {
                    let read = reader.read(row.cells.cell(*cell), &mut scratch.notes);
                    read.unwrap_or_else(|fault| {
                        if reader.column.spare {
                            scratch.left_out.push((position, fault));
                        } else {
                            scratch.faults.push((stands_at(*cell), fault));
                        }
                        Value::Null
                    })
                }
            };
            scratch.values.push(value);
            scratch.repairs.extend(scratch.notes.repairs.iter().map(|code| (position, *code)));
            if scratch.notes.is_unusual {
                scratch.unusual.push(position);
            }
        }
        for (name, cell) in self.columns.extra_names().zip(&plan.extra) {
            if let Some(cell) = cell
                && let Some(fault) = too_long(name, &row.cells.cell(*cell).into_text())
            {
                scratch.faults.push((stands_at(*cell), fault));
            }
        }
        // In the order of the file, so that the first bad cell names the place; what is stated stands nowhere.
        scratch.faults.sort_by_key(|(cell, _)| cell.unwrap_or(u32::MAX));
        if scratch.faults.is_empty()
            && let Some((position, fault)) = self.more_flowering(&scratch.values)
        {
            scratch.faults.push((plan.cell_of(position).and_then(stands_at), fault));
        }
        if scratch.faults.is_empty()
            && let Some(columns) = &self.intensity
        {
            match columns.settle(&scratch.values, plan.measured_as) {
                Ok(settled) => {
                    // One that was written was looked at as it was read.
                    let is_computed =
                        matches!(scratch.values.get(columns.intensity), Some(Value::Null));
                    let usual = self.spec.columns.get(columns.intensity).and_then(|of| of.usual);
                    if is_computed
                        && usual
                            .is_some_and(|(low, high)| !(low..=high).contains(&settled.fraction))
                    {
                        scratch.unusual.push(columns.intensity);
                    }
                    let intensity = Value::Number(settled.fraction);
                    let basis = Value::Word(settled.basis.as_str());
                    for (position, value) in
                        [(columns.intensity, intensity), (columns.measured_as, basis)]
                    {
                        if let Some(slot) = scratch.values.get_mut(position) {
                            *slot = value;
                        }
                    }
                    scratch.is_basis_assumed = settled.is_assumed;
                }
                Err((position, fault)) => {
                    let cell = plan.cell_of(position).and_then(stands_at);
                    scratch.faults.push((cell, fault));
                }
            }
        }
    }

    /// A frame with more flowering laterals than laterals: either count may be the wrong one.
    fn more_flowering(&self, values: &[Value]) -> Option<(usize, CellFault)> {
        if self.spec.table != Table::Laterals {
            return None;
        }
        let count = |name: &str| {
            let position = self.spec.columns.iter().position(|column| column.name == name)?;
            Some((position, values.get(position).copied().and_then(Value::as_number)?))
        };
        let ((_, all), (position, flowering)) =
            count("laterals").zip(count("flowering_laterals"))?;
        (flowering > all).then(|| {
            let reason = say!(
                "flowering_laterals {} of {} in the frame: no more can flower than there are",
                plain(flowering),
                counted(all as u64, text!("lateral"), text!("laterals"))
            );
            let remedy = text!("compare both counts with the field book and correct the wrong one");
            (position, CellFault { code: Code::RangeImpossible, reason, remedy: remedy.to_owned() })
        })
    }

    fn against_others(
        &mut self,
        row: &RawRow<'_>,
        plan: &Plan,
        names: &[String],
        scratch: &mut Scratch,
        outcome: &mut FileOutcome,
    ) {
        let place = (plan.file, line_number(row.line));
        let text = |position: usize| plan.text(row, position);
        let table = self.spec.table;
        // The columns beyond the schema are read as they stand.
        let whole = || {
            let cells = (0..row.cells.len()).map(|cell| row.cells.cell(cell).into_text());
            cells.collect::<Vec<_>>().join("\t")
        };
        match self.duplicates.see(place, &scratch.values, text, whole) {
            Repetition::New | Repetition::Elsewhere => {}
            Repetition::SameKey => {
                if matches!(table, Table::Harvests | Table::Prunings) && !plan.several_a_day {
                    let event = Event {
                        severity: Severity::Warning,
                        code: Code::RowDuplicate,
                        column: "",
                        line: row.line,
                        cell: None,
                    };
                    outcome.summary.add(event, 1, String::new);
                }
            }
            Repetition::Duplicate((file, line)) => {
                let first = names.get(file as usize).map_or("", String::as_str);
                let key = plan.text(row, usize::from(table == Table::Trials));
                let code = Code::RowDuplicate;
                let reason = say!("the row repeats {first}:{line} ('{key}')");
                let remedy = match table {
                    Table::Blocks => {
                        text!(
                            "keep one of the two rows; whatever else they hold, the first counts until then"
                        )
                    }
                    Table::Trees | Table::Trials => text!("keep one of the two rows"),
                    Table::Laterals => {
                        text!("remove it, or tell two frames apart by the column side")
                    }
                    Table::Prunings | Table::Harvests => {
                        text!(
                            "remove it; if it is a second visit that day, add the two into one row"
                        )
                    }
                };
                let cell = plan.cell_of(usize::from(table == Table::Trials)).and_then(stands_at);
                scratch.faults.push((cell, CellFault { code, reason, remedy: remedy.to_owned() }));
            }
        }
    }

    fn note_kept(&self, row: &RawRow<'_>, plan: &Plan, scratch: &Scratch, summary: &mut Summary) {
        let event = |severity, code, position: usize| Event {
            severity,
            code,
            column: self.name(position),
            line: row.line,
            cell: plan.cell_of(position).and_then(stands_at),
        };
        for (position, code) in &scratch.repairs {
            summary.add(event(Severity::Repaired, *code, *position), 1, String::new);
        }
        if scratch.is_basis_assumed
            && let Some(columns) = &self.intensity
        {
            let event = event(Severity::Warning, Code::BasisAssumed, columns.measured_as);
            summary.add(event, 1, String::new);
        }
        for (position, fault) in &scratch.left_out {
            let event = event(Severity::Warning, Code::CellLeftOut, *position);
            summary.add(event, 1, || say!("{}; {}", fault.reason, fault.remedy));
        }
        for position in &scratch.unusual {
            let value = scratch.values.get(*position).copied().and_then(Value::as_number);
            let example = || value.map_or_else(String::new, plain);
            summary.add(event(Severity::Warning, Code::RangeUnusual, *position), 1, example);
        }
        let beyond = |cell| !row.cells.cell(cell).into_text().is_empty();
        if let Some(cell) = (plan.header.len()..row.cells.len()).find(|&cell| beyond(cell)) {
            let event = Event {
                severity: Severity::Warning,
                code: Code::ColumnUnknown,
                column: "",
                line: row.line,
                cell: Some(cell_number(cell)),
            };
            summary.add(event, 1, String::new);
        }
    }
}

/// A cell as people count it; `None` of what is stated for every row and stands nowhere.
fn stands_at(cell: usize) -> Option<u32> {
    (cell < EVERY_ROW).then(|| cell_number(cell))
}

/// The value of a column that is joined from several cells, each read as a cell of that column;
/// what is wrong with them goes to `scratch`.
fn joined_value(
    row: &RawRow<'_>,
    plan: &Plan,
    reader: &CellReader,
    (joined, names): &(Joined, Vec<String>),
    scratch: &mut Scratch,
) -> Value {
    let column = reader.column.name;
    let mut empty = Vec::new();
    for (cell, part) in joined.cells.iter().zip(names) {
        let at = stands_at(*cell);
        match reader.read(row.cells.part(*cell), &mut scratch.notes) {
            Err(CellFault { code, reason, remedy }) if code != Code::CellMissing => {
                let reason = say!("'{part}', from which {column} is joined: {reason}");
                scratch.faults.push((at, CellFault { code, reason, remedy }));
            }
            Err(_) | Ok(Value::Null) => {
                let reason = say!("'{part}', from which {column} is joined, is empty");
                let remedy = say!(
                    "fill in {}; every row needs it, or name it under fill_down in [[files.TABLE]] where it stands once for a group of rows",
                    part
                );
                empty.push((at, CellFault { code: Code::CellMissing, reason, remedy }));
            }
            // The joint within a part could make one id of two trees.
            Ok(_) if row.cells.part(*cell).into_text().contains(JOINT) => {
                let reason = say!("'{part}' holds '{JOINT}', by which {column} is joined");
                let remedy = say!("write another sign in its place, in every file");
                scratch.faults.push((at, CellFault { code: Code::WordUnknown, reason, remedy }));
            }
            Ok(_) => {}
        }
    }
    if !reader.column.required && empty.len() == joined.cells.len() {
        return Value::Null;
    }
    scratch.faults.append(&mut empty);
    if let Some(fault) = too_long(column, &plan.text(row, joined.column)) {
        scratch.faults.push((joined.cells.first().and_then(|cell| stands_at(*cell)), fault));
    }
    Value::Text
}

/// The index of the file being read, the last of those named.
pub(crate) fn file_number(names: &[String]) -> u32 {
    u32::try_from(names.len().saturating_sub(1)).unwrap_or(u32::MAX)
}

fn line_number(line: u64) -> u32 {
    u32::try_from(line).unwrap_or(u32::MAX)
}
