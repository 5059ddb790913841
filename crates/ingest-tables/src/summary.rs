//! Sums up what happened in a file: one line per column and kind, with count and first place.

use crate::report::Repair;
use crate::unread::Unread;
use crate::{FileReport, QuarantinedRow};
use records::{Code, Place, Problem, Severity, Table, counted};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use words::{say, text};

/// Quarantined rows of one kind in one column of one file, all its sheets and rounds together, that are listed
/// one by one.
const LISTED: u64 = 5;

#[derive(Debug, Serialize, Deserialize)]
struct Tally {
    severity: Severity,
    code: Code,
    column: String,
    line: u64,
    cell: Option<u32>,
    count: u64,
    example: String,
    /// First and last line of the stretches in which they follow each other, [`STRETCHES`] and one more at most.
    #[serde(default)]
    stretches: Vec<[u64; 2]>,
}

/// Stretches of lines that are named.
const STRETCHES: usize = 6;

/// Repairs and warnings of one file.
#[derive(Debug, Default, Serialize, Deserialize)]
pub(crate) struct Summary {
    tallies: Vec<Tally>,
}

/// Where and what, for one repair or warning.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Event<'a> {
    pub(crate) severity: Severity,
    pub(crate) code: Code,
    pub(crate) column: &'a str,
    pub(crate) line: u64,
    pub(crate) cell: Option<u32>,
}

impl Summary {
    /// Counts `count` events of a kind; the example is asked for the first time only.
    pub(crate) fn add(&mut self, event: Event<'_>, count: u64, example: impl FnOnce() -> String) {
        let Event { severity, code, column, line, cell } = event;
        let same = |t: &&mut Tally| t.code == code && t.column == column && t.severity == severity;
        if let Some(tally) = self.tallies.iter_mut().find(same) {
            tally.count += count;
            tally.stretch(line);
        } else {
            let column = column.to_owned();
            let example = example();
            let stretches = vec![[line; 2]];
            self.tallies.push(Tally {
                severity,
                code,
                column,
                line,
                cell,
                count,
                example,
                stretches,
            });
        }
    }

    /// The repairs, by column and kind.
    pub(crate) fn repairs(&self) -> Vec<Repair> {
        let repaired = self.tallies.iter().filter(|tally| tally.severity == Severity::Repaired);
        let mut repairs: Vec<Repair> = repaired
            .map(|tally| Repair {
                column: tally.column.clone(),
                code: tally.code,
                count: tally.count,
                first_line: tally.line,
            })
            .collect();
        repairs.sort();
        repairs
    }

    /// The columns left out, which are told once all readings of the file are known.
    pub(crate) fn unread(&self) -> Vec<Unread> {
        let columns = self.tallies.iter().filter(|tally| tally.is_unread());
        let unread = |tally: &Tally| {
            Some(Unread { column: tally.column.clone(), line: tally.line, cell: tally.cell? })
        };
        columns.filter_map(unread).collect()
    }

    /// One problem per column and kind, columns left out apart.
    pub(crate) fn problems(&self, file: &FileReport) -> Vec<Problem> {
        self.tallies
            .iter()
            .filter(|tally| !tally.is_unread())
            .map(|tally| {
                let (what, remedy) = tally.sentence(file);
                let place =
                    Place { file: file.file.clone(), line: Some(tally.line), column: tally.cell };
                Problem::new(place, tally.severity, tally.code, what, remedy)
            })
            .collect()
    }
}

impl Tally {
    /// Whether it tells of a column of the header that is left out.
    fn is_unread(&self) -> bool {
        self.code == Code::ColumnUnknown && !self.column.is_empty()
    }

    /// Adds a line to the last stretch, or begins another.
    fn stretch(&mut self, line: u64) {
        let number = self.stretches.len();
        match self.stretches.last_mut() {
            Some([_, last]) if line <= *last + 1 => *last = line.max(*last),
            _ if number > STRETCHES => {}
            _ => self.stretches.push([line; 2]),
        }
    }

    /// The lines of the stretches, in words.
    fn lines(&self) -> String {
        let named = self.stretches.iter().take(STRETCHES).map(|[first, last]| {
            if first == last { first.to_string() } else { say!("{first} to {last}") }
        });
        let more = if self.stretches.len() > STRETCHES { ", .." } else { "" };
        named.collect::<Vec<_>>().join(", ") + more
    }

    fn sentence(&self, file: &FileReport) -> (String, String) {
        let table = file.table;
        let column = &self.column;
        let values = counted(self.count, text!("value"), text!("values"));
        let rows = counted(self.count, text!("row"), text!("rows"));
        let under = say!("under [[files.{table}]] in book.toml");
        match self.code {
            Code::DecimalComma => (
                say!("{column}: {values} with a decimal comma read as decimals"),
                say!("set decimal = \"comma\" {under} if the whole file is written so"),
            ),
            Code::ThousandsMark => {
                (say!("{column}: {values} with thousands marks read without them"), String::new())
            }
            Code::DateOrder => (
                say!(
                    "{column}: {values} can be read with dates = \"{}\" alone, and no date of the file speaks against it; as book.toml stands, dates of the file are set aside, or read with day and month swapped",
                    self.example
                ),
                say!(
                    "write dates = \"{}\" under [[files.{table}]] of path = \"{}\" in book.toml",
                    self.example,
                    file.file.split('#').next().unwrap_or_default()
                ),
            ),
            Code::DatesSwapped => (
                say!(
                    "{column}: {values} as text with a day over 12 beside dates of the spreadsheet's own, none with a day over 12: it was opened under another order, and those dates have day and month swapped"
                ),
                say!(
                    "import the original file anew with the right order of day and month, or as text"
                ),
            ),
            Code::DateSerial => (
                say!("{column}: {values} that are spreadsheet day numbers read as dates"),
                say!("export dates as year-month-day to be sure"),
            ),
            Code::YearShort => (
                say!("{column}: {values} with a year of two digits read as 20yy"),
                say!("write years with four digits"),
            ),
            Code::UnitConverted => {
                let unit = table.spec().column(column).map_or("", |column| column.unit);
                (say!("{column}: {values} converted to {unit}"), String::new())
            }
            Code::TextEncoding => (
                say!("the file is not UTF-8 and was read as Windows-1252 (Latin-1)"),
                say!("set encoding {under}, or export the file as UTF-8"),
            ),
            Code::TitleSkipped => (
                say!(
                    "{} above the header passed over",
                    counted(self.count, text!("line"), text!("lines"))
                ),
                String::new(),
            ),
            Code::ValueStated if self.severity == Severity::Warning => (
                self.example.clone(),
                say!(
                    "read with the day stated; correct it in every_row, or the word in header, {under}, or the heading in the file"
                ),
            ),
            Code::ValueStated => (say!("{column}: {values} read as stated {under}"), String::new()),
            Code::FilledDown => (
                say!("{column}: {values} taken from the row above, as fill_down says"),
                String::new(),
            ),
            Code::ZerosDropped => (
                say!("{column}: {values} read without the zeros before, as drop_zeros says"),
                String::new(),
            ),
            Code::RowRagged => (
                say!(
                    "{rows} with more cells than the header and the other rows, the last of them empty: a mark within a number or a remark may split them"
                ),
                say!(
                    "compare one with the field book; quote cells that hold the separator, or export with another separator"
                ),
            ),
            Code::RowNotOne if self.severity == Severity::Warning => (
                say!(
                    "{rows} passed over as not_rows says, though nothing that a row needs is missing; the first holds '{}'",
                    self.example
                ),
                say!("narrow not_rows {under} if they are rows"),
            ),
            Code::RowNotOne => (
                say!("{rows} passed over as not_rows says; the first holds '{}'", self.example),
                String::new(),
            ),
            Code::RowUnfilled => {
                (say!("{rows} with an id and nothing of a visit passed over"), String::new())
            }
            Code::FilledAnewPlot => (
                say!(
                    "{column}: {values} taken from the plot above, as fill_down says, in rows that begin another plot"
                ),
                say!(
                    "if these plots have none, as controls beside a factorial, write a word such as none into the cells, or take {column} out of fill_down {under} and declare the control"
                ),
            ),
            Code::CellLeftOut => (
                say!(
                    "{column}: {values} left out, the rows kept without; the first: {}",
                    self.example
                ),
                say!("mend the cells, or leave them so if the rest of the row is what counts"),
            ),
            Code::UnitSuspect if self.count == 0 => (
                say!(
                    "the heading of {column} says ({}), which is no unit known; its values are read as {}",
                    self.example,
                    table.spec().column(column).map_or("", |column| column.unit)
                ),
                say!(
                    "if one stands for a weight or measure, say how much {under}: units = {{ {column} = \"2.5 kg\" }}"
                ),
            ),
            Code::UnitSuspect if column == "intensity" => (
                say!(
                    "{column}: {values} about a hundred times below the others of the file; the first is {}",
                    self.example
                ),
                say!(
                    "kept; if they were written as fractions where the file is in per cent, correct them"
                ),
            ),
            Code::UnitSuspect => (
                say!(
                    "{column}: {values} about a thousand times below the others of the file; the first is {} kg",
                    self.example
                ),
                say!(
                    "kept; if they were written in {} where the file is in another unit, correct them",
                    table.spec().column(column).map_or("", |column| column.unit)
                ),
            ),
            Code::BasisAssumed => (
                say!("{rows} without a stated basis of intensity; canopy fraction was taken"),
                say!("set measured_as = \"canopy_fraction\" (or the true basis) {under}"),
            ),
            Code::RangeUnusual => {
                let usual = table.spec().column(column).and_then(|column| {
                    let unit = column.unit;
                    column.usual.map(|(low, high)| say!("{low} to {high} {unit}"))
                });
                (
                    say!(
                        "{column}: {values} outside the usual {}; the first is {}",
                        usual.unwrap_or_default().trim_end(),
                        self.example
                    ),
                    say!("kept; check whether value and unit are right"),
                )
            }
            Code::RowDuplicate => (
                say!(
                    "{rows} with the tree and date of an earlier row and other values (line {})",
                    self.lines()
                ),
                say!(
                    "kept, as a tree may be visited twice in a day: if it is, several_a_day = true {under} says so; remove them if they are corrections"
                ),
            ),
            Code::TreesNotDrawn => (
                say!("{rows} of trees that were not drawn are passed over"),
                say!("run without --draw-trees to use the records of all trees"),
            ),
            Code::ColumnUnknown => (
                say!("{rows} with entries beyond the last header; those entries are left out"),
                say!("give the column a header if it matters"),
            ),
            _ => (format!("{column}: {values}: {}", self.example), String::new()),
        }
    }
}

/// A file without its sheet, the table, the code and the column of the table at fault, where the reason begins with it:
/// rounds that stand in columns or sheets of their own lack the same thing in the same rows.
type Kind<'a> = (&'a str, Table, Code, Option<&'static str>);

fn kind(row: &QuarantinedRow) -> Kind<'_> {
    let file = row.file.split('#').next().unwrap_or_default();
    let column = row.reason.split(' ').next().and_then(|word| row.table.spec().column(word));
    (file, row.table, row.code, column.map(|column| column.name))
}

/// Quarantined rows as problems: the first of each kind one by one, then how many more there are.
pub(crate) fn quarantine_problems(rows: &[QuarantinedRow]) -> Vec<Problem> {
    let mut counts: BTreeMap<Kind<'_>, (u64, &QuarantinedRow)> = BTreeMap::new();
    let mut problems = Vec::new();
    for row in rows {
        let (count, last) = counts.entry(kind(row)).or_insert((0, row));
        (*count, *last) = (*count + 1, row);
        if *count <= LISTED {
            let place = Place { file: row.file.clone(), line: Some(row.line), column: row.column };
            let (what, remedy) = (row.reason.clone(), row.remedy.clone());
            problems.push(Problem::new(place, Severity::Quarantined, row.code, what, remedy));
        }
    }
    for (count, last) in counts.into_values() {
        if count > LISTED {
            problems.push(Problem::new(
                Place { file: last.file.clone(), line: Some(last.line), column: last.column },
                Severity::Quarantined,
                last.code,
                say!(
                    "{} of this kind, the last on this line",
                    counted(count - LISTED, text!("more row"), text!("more rows"))
                ),
                text!("all stand in quarantine.csv, which `anacurve check --out FOLDER` writes as soon as the book can be used"),
            ));
        }
    }
    problems
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A round entered twice and a single slip after it are two things to mend.
    #[test]
    fn stretches_of_lines_are_told_apart() {
        let mut summary = Summary::default();
        let event = |line| Event {
            severity: Severity::Warning,
            code: Code::RowDuplicate,
            column: "tree",
            line,
            cell: None,
        };
        for line in (704..733).chain([901]) {
            summary.add(event(line), 1, String::new);
        }
        assert_eq!(summary.tallies[0].lines(), "704 to 732, 901");
        for line in (1000..1020).step_by(2) {
            summary.add(event(line), 1, String::new);
        }
        assert_eq!(summary.tallies[0].lines(), "704 to 732, 901, 1000, 1002, 1004, 1006, ..");
    }

    #[test]
    fn a_kind_is_listed_five_times_and_then_counted() {
        let row = |line| QuarantinedRow {
            file: "harvests.csv".to_owned(),
            line,
            column: Some(3),
            code: Code::NumberUnreadable,
            reason: "nut_kg 'x' is not a number".to_owned(),
            remedy: String::new(),
            text: String::new(),
            visit: None,
            of_place: None,
            table: Table::Harvests,
        };
        let problems = quarantine_problems(&(2..102).map(row).collect::<Vec<_>>());
        assert_eq!(problems.len(), 6);
        let last = &problems[5];
        assert_eq!(last.place.to_string(), "harvests.csv:101:3");
        assert!(last.what.starts_with("95 more rows"));
        // Three rounds on two sheets of a workbook lack the same; a tree that is unknown is another matter.
        let of = |sheet: &str, column, line| QuarantinedRow {
            file: format!("picks.xlsx#{sheet}"),
            column: Some(column),
            code: Code::CellMissing,
            reason: "nut_kg is empty".to_owned(),
            ..row(line)
        };
        let mut rows: Vec<QuarantinedRow> = Vec::new();
        for sheet in ["2023", "2024"] {
            rows.extend(
                (4..7).flat_map(|column| (10..14).map(move |line| of(sheet, column, line))),
            );
        }
        rows.push(QuarantinedRow {
            code: Code::TreeUnknown,
            reason: "tree 'x' is not in the tree table".to_owned(),
            ..of("2024", 1, 20)
        });
        let problems = quarantine_problems(&rows);
        assert_eq!(problems.len(), 7, "{problems:?}");
        assert_eq!(problems[6].place.to_string(), "picks.xlsx#2024:13:6");
        assert!(problems[6].what.starts_with("19 more rows"));
    }
}
