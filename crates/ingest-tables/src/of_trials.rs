//! Trials: their rows, those set aside among them, and what is wrong with their declarations.

use crate::discover::Source;
use crate::parts::FILE;
use crate::table::LINE;
use crate::{BookTables, FileReport, IngestError, MissingVisit, QuarantinedRow};
use polars::prelude::{DataFrame, DataType, PolarsResult};
use records::{Book, Code, Place, Problem, SeenTrials, Severity, StatedValue, Table, counted};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

impl BookTables {
    /// How many rows of a trial its table holds, those set aside among them as far as they can be
    /// told by the trial's id.
    #[must_use]
    pub fn rows_of_trial(&self, id: &str) -> u64 {
        let ids = self.frames.get(&Table::Trials).and_then(|rows| rows.column("trial").ok());
        let read = ids.and_then(|ids| ids.str().ok());
        let read = read.map_or(0, |ids| ids.iter().filter(|own| *own == Some(id)).count() as u64);
        read.max(rows_set_aside(&self.quarantine, id, &self.sources))
    }

    /// Rows set aside of a trial and of its trees, visits last: rows of the trial table as far as they
    /// can be told by the trial's id, or that of the only trial there is, and visits of the trees
    /// named on days that `is_within` a stretch of the trial, or on no known day. A row of a file
    /// stands once, however many tables the file is read for.
    #[must_use]
    pub fn set_aside_of_trial(
        &self,
        id: &str,
        trees: &BTreeSet<&str>,
        is_within: Within<'_>,
    ) -> Vec<&QuarantinedRow> {
        let ids = self.frames.get(&Table::Trials).and_then(|rows| rows.column("trial").ok());
        let ids = ids.and_then(|ids| ids.str().ok());
        let alone = ids.is_some_and(|ids| ids.iter().flatten().all(|own| own == id));
        let rejected = self.rejected_visits();
        let is_own = |row: &&QuarantinedRow| match &row.visit {
            Some(visit) => {
                trees.contains(visit.tree.as_str()) && may_be(row.table, visit, is_within)
            }
            None if row.table == Table::Trials => alone || is_of_trial(row, id, &self.sources),
            None => rejected.get(&(row.table, row.file.as_str(), row.line)).is_some_and(|visits| {
                visits.iter().any(|(tree, day)| {
                    trees.contains(tree) && day.is_none_or(|day| is_within(row.table, day, day))
                })
            }),
        };
        let mut found: Vec<&QuarantinedRow> = self.quarantine.iter().filter(is_own).collect();
        found.sort_by(|a, b| {
            let by = |row: &&QuarantinedRow| row.table != Table::Trials;
            (by(a), &a.file, a.line).cmp(&(by(b), &b.file, b.line))
        });
        // A row of a sheet that is read for several tables, or for several dates, is one row.
        let mut seen = BTreeSet::new();
        found.retain(|row| seen.insert((row.file.as_str(), row.line)));
        found
    }

    /// Whether picks of the book were set aside, of whatever tree, on days that `is_within` a stretch
    /// or on no known day.
    #[must_use]
    pub fn sets_picks_aside(&self, is_within: Within<'_>) -> bool {
        let rejected = self.rejected_visits();
        // What repeats a pick is missing nowhere.
        let is_lost =
            |row: &&QuarantinedRow| row.table == Table::Harvests && row.code != Code::RowDuplicate;
        self.quarantine.iter().filter(is_lost).any(|row| match &row.visit {
            Some(visit) => may_be(row.table, visit, is_within),
            None => rejected.get(&(row.table, row.file.as_str(), row.line)).is_none_or(|visits| {
                visits.iter().any(|(_, day)| day.is_none_or(|day| is_within(row.table, day, day)))
            }),
        })
    }

    /// Tree and day of the visits that linking rejected, by table, file and line: they were kept when
    /// the files were read.
    fn rejected_visits(&self) -> Rejected<'_> {
        let is_rejected = |row: &&QuarantinedRow| row.visit.is_none() && row.of_place.is_none();
        let lines: BTreeSet<(Table, &str, u64)> = self
            .quarantine
            .iter()
            .filter(is_rejected)
            .filter(|row| is_of_visits(row.table))
            .map(|row| (row.table, row.file.as_str(), row.line))
            .collect();
        let mut found = Rejected::new();
        let tables: BTreeSet<Table> = lines.iter().map(|(table, ..)| *table).collect();
        for table in tables {
            let Some(rows) = self.frames.get(&table) else { continue };
            let column = |name: &str| rows.column(name).ok();
            let (Some(own), Some(files), Some(at)) = (
                column("tree").and_then(|trees| trees.str().ok()),
                column(FILE).and_then(|files| files.u32().ok()),
                column(LINE).and_then(|lines| lines.u32().ok()),
            ) else {
                continue;
            };
            let days = column("date").and_then(|days| days.cast(&DataType::Int32).ok());
            let days = days.as_ref().and_then(|days| days.i32().ok());
            for (row, ((tree, file), line)) in
                own.iter().zip(files.iter()).zip(at.iter()).enumerate()
            {
                let (Some(tree), Some(file), Some(line)) = (tree, file, line) else { continue };
                let Some(report) = self.files.get(file as usize) else { continue };
                let place = (table, report.file.as_str(), u64::from(line));
                if lines.contains(&place) {
                    let day = days.and_then(|days| days.get(row));
                    found.entry(place).or_default().push((tree, day));
                }
            }
        }
        found
    }
}

/// Tree and day of visits, by table, file and line.
type Rejected<'a> = BTreeMap<(Table, &'a str, u64), Vec<(&'a str, Option<i32>)>>;

/// Whether a stretch of days, first and last since 1970-01-01, may hold visits of a table that count.
pub type Within<'a> = &'a dyn Fn(Table, i32, i32) -> bool;

/// Whether a visit may have been on such a day.
fn may_be(table: Table, visit: &MissingVisit, is_within: Within<'_>) -> bool {
    visit.days.is_empty() || visit.days.iter().any(|(first, last)| is_within(table, *first, *last))
}

/// The trees of a trial table.
pub(crate) fn trees_of(plots: &DataFrame) -> PolarsResult<BTreeSet<String>> {
    let trees = plots.column("tree")?.str()?;
    Ok(trees.iter().flatten().map(str::to_owned).collect())
}

/// What was read of the trials.
pub(crate) struct Seen<'a> {
    pub(crate) table: Option<&'a DataFrame>,
    pub(crate) files: &'a [FileReport],
    pub(crate) quarantine: &'a [QuarantinedRow],
    pub(crate) sources: &'a [Source],
    /// Names of the columns of files whose heading was refused: they are there.
    pub(crate) refused: BTreeSet<String>,
}

/// What is wrong with the declared trials when they are held against the trial table. `found` is
/// what is known already.
pub(crate) fn trial_problems(
    book: &Book,
    toml: &str,
    Seen { table, files, quarantine, sources, refused }: Seen<'_>,
    found: &[Problem],
) -> Result<Vec<Problem>, IngestError> {
    if book.trials.is_empty() {
        return Ok(Vec::new());
    }
    let mut seen = table
        .map_or_else(|| Ok(SeenTrials::default()), seen_trials)
        .map_err(|error| IngestError::Internal(error.to_string()))?;
    seen.columns.extend(refused);
    // Without a table, or one that could not be read, every column would be called absent.
    let read = files.iter().any(|file| file.table == Table::Trials && file.rows_read > 0);
    let mut problems = book.trial_problems(toml, read.then_some(&seen));
    let stem = Table::Trials.as_str();
    // What a file that is not read holds is missing from the table without any other sign.
    let left_out = found.iter().filter(|problem| {
        problem.code == Code::FileLeftOut && problem.place.file.to_lowercase().starts_with(stem)
    });
    let left_out: Vec<&str> = left_out.map(|problem| problem.place.file.as_str()).collect();
    let or_read = |remedy: String| match left_out.as_slice() {
        [] => remedy,
        files => say!(
            "{remedy}; or add a further [[files.trials]] for {}, which is not read",
            files.join(", ")
        ),
    };
    for problem in &mut problems {
        if problem.code == Code::ColumnMissing {
            problem.remedy = or_read(std::mem::take(&mut problem.remedy));
        }
    }
    for id in book.trials.keys().filter(|id| !seen.levels.contains_key(*id)) {
        let mut problem = book
            .trial_place(toml, id)
            .map_or_else(|| Place::file("book.toml"), |line| Place::line("book.toml", line));
        problem.column = None;
        let rows = rows_set_aside(quarantine, id, sources);
        let (what, remedy) = if rows == 0 {
            let remedy = text!(
                "add its plots to the trial table, or remove the section; ids must match letter by letter"
            );
            (
                say!("trial {id} is declared and the trial table has no row of it"),
                or_read(remedy.to_owned()),
            )
        } else {
            (
                say!(
                    "trial {id} is declared and none of its rows is left: {} set aside",
                    counted(rows, text!("row is"), text!("rows are"))
                ),
                text!("mend the rows set aside; each is told with its line").to_owned(),
            )
        };
        problems.push(Problem::new(
            problem,
            Severity::Warning,
            Code::TrialWithoutRows,
            what,
            remedy,
        ));
    }
    Ok(problems)
}

/// Whether the rows of a table are visits to trees.
fn is_of_visits(table: Table) -> bool {
    matches!(table, Table::Prunings | Table::Laterals | Table::Harvests)
}

/// Rows set aside of which a cell is the trial's id, as they stand in their files.
fn rows_set_aside(quarantine: &[QuarantinedRow], id: &str, sources: &[Source]) -> u64 {
    let is_own =
        |row: &&QuarantinedRow| row.table == Table::Trials && is_of_trial(row, id, sources);
    quarantine.iter().filter(is_own).count() as u64
}

/// Whether a row set aside holds the id of a trial, or `every_row` gives it to the rows of its file.
fn is_of_trial(row: &QuarantinedRow, id: &str, sources: &[Source]) -> bool {
    let mut own = sources
        .iter()
        .filter(|source| source.table == Table::Trials && source.name == row.file)
        .filter_map(|source| source.options.every_row.get("trial"));
    has_cell(row, id) || own.any(|of| matches!(of, StatedValue::Text(text) if text == id))
}

/// Whether a cell of a row set aside holds a text and nothing else.
fn has_cell(row: &QuarantinedRow, text: &str) -> bool {
    let mut cells = row.text.split([',', ';', '\t', '|']);
    cells.any(|cell| cell.trim().trim_matches('"').trim() == text)
}

/// Columns and levels of the trial table.
fn seen_trials(table: &DataFrame) -> PolarsResult<SeenTrials> {
    let mut seen = SeenTrials::default();
    let ids = table.column("trial")?.str()?;
    for column in table.columns() {
        let name = column.name().as_str();
        let Ok(texts) = column.str() else { continue };
        // A column of the schema that no file has is null throughout.
        if texts.null_count() == texts.len() && !texts.is_empty() {
            continue;
        }
        seen.columns.insert(name.to_owned());
        for (id, text) in ids.iter().zip(texts.iter()) {
            let levels = seen.levels.entry(id.unwrap_or("").to_owned()).or_default();
            if let Some(text) = text {
                levels.entry(name.to_owned()).or_default().insert(text.to_owned());
            }
        }
    }
    Ok(seen)
}
