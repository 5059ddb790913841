//! The stages of a run, from files to advice.

pub mod advice;
pub mod components;
pub mod laterals;
pub mod method;
pub mod namesake;
pub mod quality;
pub mod review;
pub mod rounding;
pub mod trials;
pub mod unfitted;
pub mod work;
pub mod zones;

use crate::console::{Failure, Stages};
use arrow::record_batch::RecordBatch;
use ingest_seasons::{LinkError, Linked, TrialTree};
use ingest_tables::{BookTables, FileReport, IngestError, QuarantinedRow, ReadSettings};
use records::{Code, Problem, ReportLanguage, Severity, Table};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// The language that a book states; English where it states none. A book that cannot be read is
/// told of when it is read in full.
#[must_use]
pub fn stated_language(book: &Path) -> words::Language {
    let text = std::fs::read_to_string(book.join("book.toml")).unwrap_or_default();
    let read = records::Book::parse(&text);
    read.map_or_else(
        |_| words::Language::default(),
        |book| match book.book.language {
            ReportLanguage::En => words::Language::English,
            ReportLanguage::Pt => words::Language::Portuguese,
        },
    )
}

/// A record book read and linked.
pub struct Checked {
    /// Typed tables and what reading found.
    pub tables: BookTables,
    /// Tree-seasons and what linking found.
    pub linked: Linked,
    /// Rows made after the season through which the book was asked for, by table; not looked at.
    pub later: BTreeMap<Table, u64>,
}

impl Checked {
    /// Everything found by reading and linking, by place.
    pub fn problems(&self) -> Vec<Problem> {
        let mut all: Vec<Problem> =
            self.tables.problems.iter().chain(&self.linked.problems).cloned().collect();
        all.sort();
        all.dedup();
        all
    }

    /// Refuses to go on when a file of the book is no longer what was read.
    ///
    /// # Errors
    /// With every file that changed, vanished or was added.
    pub fn still_holds(&self, book: &Path) -> Result<(), Failure> {
        self.tables.check_unchanged(book).map_err(from_ingest)
    }

    /// Whether a person should look at something.
    pub fn has_findings(&self) -> bool {
        !self.tables.quarantine.is_empty()
            || self.problems().iter().any(|problem| problem.severity > Severity::Repaired)
    }
}

/// Reads and links a record book.
///
/// # Errors
/// With every fatal problem of the book.
pub fn check(book: &Path, stages: &Stages) -> Result<Checked, Failure> {
    check_through(book, None, stages)
}

/// Reads and links a record book as it stood when the harvest of a season closed, or all of it.
///
/// # Errors
/// With every fatal problem of the book.
pub fn check_through(
    book: &Path,
    through: Option<i16>,
    stages: &Stages,
) -> Result<Checked, Failure> {
    check_wanted(book, Reading { through, ..Reading::default() }, stages)
}

/// How a book is to be read.
#[derive(Debug, Clone, Copy, Default)]
pub struct Reading<'a> {
    /// Only what was recorded until the harvest of this season closed.
    pub through: Option<i16>,
    /// Folder of rows read before.
    pub cache: Option<&'a Path>,
    /// Share of the trees whose records are used.
    pub trees: Option<f64>,
}

/// Reads and links a record book.
///
/// # Errors
/// With every fatal problem of the book.
pub fn check_wanted(
    book: &Path,
    Reading { through, cache, trees }: Reading<'_>,
    stages: &Stages,
) -> Result<Checked, Failure> {
    let mut tables = read(book, ReadSettings { cache, trees, ..ReadSettings::default() }, stages)?;
    let later = match through {
        Some(season) => {
            let picked = ingest_seasons::seasons_picked(&tables).map_err(from_ingest)?;
            if !picked.contains(&season) {
                return Err(not_picked(season, &picked, &mut tables));
            }
            ingest_seasons::through(&mut tables, season).map_err(from_ingest)?
        }
        None => BTreeMap::new(),
    };
    stages.enter("linking");
    stages.now("linking picks and prunings to tree-seasons");
    let mut linked =
        ingest_seasons::link(&mut tables).map_err(|error| from_link(error, &tables))?;
    review::leave_out_controls(book, &mut linked)?;
    Ok(Checked { tables, linked, later })
}

/// A season without a harvest on record has no day on which its harvest closed. Seasons are told as
/// linking leaves them, without those that are slips of the year.
fn not_picked(season: i16, picked: &BTreeSet<i16>, tables: &mut BookTables) -> Failure {
    let known: BTreeSet<i32> = match ingest_seasons::link(tables) {
        Ok(linked) => linked.summary.regions.into_iter().flat_map(|own| own.seasons).collect(),
        Err(_) => picked.iter().copied().map(i32::from).collect(),
    };
    let known: Vec<String> = known.iter().map(i32::to_string).collect();
    let hint = if known.is_empty() {
        "no pick is on record that falls into the harvest of a season; anacurve check says why"
            .to_owned()
    } else {
        format!("seasons with harvests: {}", known.join(", "))
    };
    Failure::new(format!("--through {season}: no harvest of season {season} is recorded"), hint)
}

fn read(book: &Path, settings: ReadSettings<'_>, stages: &Stages) -> Result<BookTables, Failure> {
    stages.enter("reading");
    ingest_tables::read_book_with(book, settings, &mut |progress| {
        stages.now(format!(
            "reading {} ({} rows; file {} of {})",
            progress.file,
            progress.rows,
            (progress.files_done + 1).min(progress.files),
            progress.files
        ));
    })
    .map_err(from_ingest)
}

/// The rows of blocks and trees that were set aside, in the order of files and lines.
pub fn places_set_aside(tables: &BookTables) -> Vec<&QuarantinedRow> {
    let rows = tables.quarantine.iter();
    rows.filter(|row| matches!(row.table, Table::Blocks | Table::Trees)).collect()
}

/// A book in which a trial is to be laid out, read and, where it holds visits, linked.
pub struct Standing {
    /// Typed tables and what reading found.
    pub tables: BookTables,
    /// Trees of trials.
    pub trial_trees: Vec<TrialTree>,
    /// The linked table; `None` of a book without harvests, such as that of a new plantation.
    pub tree_seasons: Option<RecordBatch>,
}

impl Standing {
    /// Reads a book of which blocks and trees are needed alone.
    ///
    /// # Errors
    /// With every fatal problem of the book.
    pub fn of(book: &Path, stages: &Stages) -> Result<Self, Failure> {
        let settings = ReadSettings { without_visits: true, ..ReadSettings::default() };
        let mut tables = read(book, settings, stages)?;
        stages.enter("linking");
        stages.now("linking trees to blocks");
        let of_picks = |file: &&FileReport| file.table == Table::Harvests;
        if tables.files.iter().filter(of_picks).all(|file| file.rows_read == 0) {
            let trial_trees = ingest_seasons::link_places(&mut tables)
                .map_err(|error| from_link(error, &tables))?;
            return Ok(Self { tables, trial_trees, tree_seasons: None });
        }
        let linked =
            ingest_seasons::link(&mut tables).map_err(|error| from_link(error, &tables))?;
        let Linked { tree_seasons, trial_trees, .. } = linked;
        Ok(Self { tables, trial_trees, tree_seasons: Some(tree_seasons) })
    }
}

/// What the results of a checked book are computed from.
pub fn origin(checked: &Checked, seed: Option<u64>) -> report::Origin {
    report::Origin {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        seed,
        inputs_fingerprint: checked.tables.fingerprint(),
        inputs: checked
            .tables
            .inputs()
            .into_iter()
            .map(|(file, hash)| report::InputFile {
                file: file.to_owned(),
                fingerprint: hash.to_owned(),
            })
            .collect(),
    }
}

/// Problems of the files, or a defect of the program.
pub fn from_ingest(error: IngestError) -> Failure {
    match error {
        IngestError::Refused(problems) => Failure::Book(problems),
        IngestError::Internal(what) => Failure::new(
            format!("internal error while reading: {what}"),
            "this is a defect of the program; please report it with the record book if you may",
        ),
    }
}

fn from_link(error: LinkError, tables: &BookTables) -> Failure {
    match error {
        LinkError::NothingLinked { problem, .. } => {
            // One wrong order of day and month sets a file's rows aside one by one: the cause comes before what it
            // leads to.
            let of = |wanted: fn(&Problem) -> bool| {
                tables.problems.iter().filter(move |problem| wanted(problem)).cloned()
            };
            let orders = of(|problem| problem.code == Code::DateOrder);
            let rows = of(|problem| problem.severity == Severity::Quarantined);
            Failure::Book(orders.chain(std::iter::once(*problem)).chain(rows).collect())
        }
        LinkError::SetAside(error) => from_ingest(error),
        other => Failure::new(
            format!("while linking: {other}"),
            "this is a defect of the program; please report it with the record book if you may",
        ),
    }
}
