//! Reads a whole record book.

use crate::alike::alike;
use crate::archive::too_large;
use crate::cache::{self, Cache, ReadFile};
use crate::discover::{Format, Source, discover};
use crate::draw::Draw;
use crate::header::HeaderWords;
use crate::parquet_rows::ParquetRows;
use crate::parts::{FILE, Parts};
use crate::report::fingerprint;
use crate::rows::{Fault, Rows};
use crate::sheet_rows::SheetRows;
use crate::slips;
use crate::summary::quarantine_problems;
use crate::table::{FileOutcome, Keep, LINE, TableReader, file_number};
use crate::text_rows::TextRows;
use crate::unread::{self, FileColumns, Unread};
use crate::{FileReport, Progress, QuarantinedRow};
use polars::prelude::{DataFrame, PolarsError, PolarsResult};
use records::{
    Book, Code, Place, Problem, SeenTrials, Severity, StatedValue, Table, counted, limits,
};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use thiserror::Error;
use words::{say, text};

/// The tables of a record book.
///
/// Each frame has every column of the table's schema in schema order (null where a file has none),
/// then the extra text columns of trials, then `.file` (`UInt32`, index into [`Self::files`]) and
/// `.line` (`UInt32`, physical line where the row starts, sheet row, or Parquet row from 1).
/// Types: text and words `String`, dates `Date`, numbers `Float64` in the schema's unit, counts
/// `Int64`, flags `Boolean`. In prunings `intensity` (fraction) and `measured_as` are never null.
/// Required columns are never null. Optional tables without a file are absent.
#[derive(Debug, Clone)]
pub struct BookTables {
    /// Settings.
    pub book: Book,
    /// Rows kept, by table; files in reading order, rows in file order.
    pub frames: BTreeMap<Table, DataFrame>,
    /// One report per file or sheet, in reading order.
    pub files: Vec<FileReport>,
    /// Warnings and repairs summarised per file, column and kind with count and first place, and
    /// quarantined rows (the first twenty of a kind one by one, then their number); sorted.
    pub problems: Vec<Problem>,
    /// Every quarantined row, in reading order.
    pub quarantine: Vec<QuarantinedRow>,
    /// Fingerprint of the text of `book.toml`; empty for tables made in memory.
    pub(crate) settings: String,
    /// Where each file is, to fetch the text of rows set aside later; empty for tables made in memory.
    pub(crate) sources: Vec<Source>,
    /// Per file, the cell of each column, from 1; empty for tables made in memory.
    pub(crate) cells: Vec<BTreeMap<String, u32>>,
    /// Files whose rows came from the cache; nothing that is computed from them depends on it.
    pub from_cache: usize,
    /// The trees whose prunings, laterals and harvests were kept, where a share was asked for; the
    /// tree table holds all.
    pub draw: Option<Draw>,
}

/// How a book is read.
#[derive(Debug, Clone, Copy, Default)]
pub struct ReadSettings<'a> {
    /// Folder of rows read before: files whose rows it holds are not parsed again, and those of
    /// others are put there. The tables are the same with and without it.
    pub cache: Option<&'a Path>,
    /// Share of the trees whose prunings, laterals and harvests are kept, between 0 and 1; they are
    /// drawn site by site, and trees of trials are kept too. No cache is used then.
    pub trees: Option<f64>,
    /// Whether a book may be without visits: tables of prunings and harvests that have no file or no
    /// row are empty then, instead of a reason to refuse the book.
    pub without_visits: bool,
}

impl ReadSettings<'_> {
    /// Whether a book is refused without a row of the table.
    fn needs(&self, table: Table) -> bool {
        let is_of_visits = matches!(table, Table::Prunings | Table::Harvests);
        table.spec().required && !(self.without_visits && is_of_visits)
    }
}

/// Why a book could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum IngestError {
    /// The book or its files cannot be used: every fatal problem found, sorted by place.
    #[error("the record book cannot be read: {}", counted(.0.len() as u64, text!("problem"), text!("problems")))]
    Refused(Vec<Problem>),
    /// The program broke one of its promises; nothing that can be mended in the files.
    #[error("internal error: {0}")]
    Internal(String),
}

impl IngestError {
    /// The fatal problems; none for an internal error.
    #[must_use]
    pub fn problems(&self) -> &[Problem] {
        match self {
            Self::Refused(problems) => problems,
            Self::Internal(_) => &[],
        }
    }
}

impl BookTables {
    /// Tables made in memory, for example simulated ones; rows set aside later have no text.
    #[must_use]
    pub fn in_memory(
        book: Book,
        frames: BTreeMap<Table, DataFrame>,
        files: Vec<FileReport>,
    ) -> Self {
        Self {
            book,
            frames,
            files,
            problems: Vec::new(),
            quarantine: Vec::new(),
            settings: String::new(),
            sources: Vec::new(),
            cells: Vec::new(),
            from_cache: 0,
            draw: None,
        }
    }

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
    /// named. A row of a file stands once, however many tables the file is read for.
    #[must_use]
    pub fn set_aside_of_trial(&self, id: &str, trees: &BTreeSet<&str>) -> Vec<&QuarantinedRow> {
        let ids = self.frames.get(&Table::Trials).and_then(|rows| rows.column("trial").ok());
        let ids = ids.and_then(|ids| ids.str().ok());
        let alone = ids.is_some_and(|ids| ids.iter().flatten().all(|own| own == id));
        let rejected = self.rejected_visits(trees);
        let is_own = |row: &&QuarantinedRow| match &row.visit {
            Some(visit) => trees.contains(visit.tree.as_str()),
            None if row.table == Table::Trials => alone || is_of_trial(row, id, &self.sources),
            None => rejected.contains(&(row.table, row.file.as_str(), row.line)),
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

    /// Table, file and line of the visits to some trees that linking rejected: they were kept when
    /// the files were read.
    fn rejected_visits(&self, trees: &BTreeSet<&str>) -> BTreeSet<(Table, &str, u64)> {
        let is_rejected = |row: &&QuarantinedRow| row.visit.is_none() && row.of_place.is_none();
        let lines: BTreeSet<(Table, &str, u64)> = self
            .quarantine
            .iter()
            .filter(is_rejected)
            .filter(|row| is_of_visits(row.table))
            .map(|row| (row.table, row.file.as_str(), row.line))
            .collect();
        let mut found = BTreeSet::new();
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
            for ((tree, file), line) in own.iter().zip(files.iter()).zip(at.iter()) {
                let (Some(tree), Some(file), Some(line)) = (tree, file, line) else { continue };
                let Some(report) = self.files.get(file as usize) else { continue };
                let place = (table, report.file.as_str(), u64::from(line));
                if trees.contains(tree) && lines.contains(&place) {
                    found.insert(place);
                }
            }
        }
        found
    }

    /// The cell of a file, from 1, that is read into a column of its table.
    #[must_use]
    pub fn cell_of(&self, file: u32, column: &str) -> Option<u32> {
        self.cells.get(file as usize)?.get(column).copied()
    }
}

/// The bytes of a file with their fingerprint.
pub(crate) struct Loaded {
    bytes: Vec<u8>,
    pub(crate) fingerprint: String,
}

impl Loaded {
    /// Loads a file that is not too large.
    pub(crate) fn of(source: &Source) -> Result<Self, Fault> {
        let unreadable = |error| {
            let what = say!("the file cannot be read: {error}");
            Fault::new(Code::FileUnreadable, what, text!("check its permissions, or remove it"))
        };
        // Workbooks and Parquet have limits of their own, looked at before they are unpacked.
        let size = source.path.metadata().map_err(unreadable)?.len();
        if source.format == Format::Text && !limits::TEXT_FILE.holds(size) {
            let most = limits::TEXT_FILE.words();
            return Err(too_large(say!("the file has {size} bytes; at most {most} are read")));
        }
        let bytes = std::fs::read(&source.path).map_err(unreadable)?;
        if bytes.is_empty() {
            let remedy = text!("export it again, or remove it");
            return Err(Fault::new(Code::FileEmpty, text!("the file is empty"), remedy));
        }
        let fingerprint = fingerprint(&bytes);
        Ok(Self { bytes, fingerprint })
    }

    /// Opens it far enough to know its header.
    pub(crate) fn open(self, source: &Source) -> Result<Box<dyn Rows>, Fault> {
        let words = HeaderWords::new(source.table.spec(), &source.options);
        Ok(match source.format {
            Format::Text => Box::new(TextRows::open(self.bytes, &source.options, &words)?),
            Format::Sheet => {
                drop(self.bytes);
                let sheet = source.sheet.as_deref().unwrap_or_default();
                Box::new(SheetRows::open(&source.path, sheet, &words)?)
            }
            Format::Parquet => {
                drop(self.bytes);
                Box::new(ParquetRows::open(&source.path)?)
            }
        })
    }
}

/// Reads and checks every table of the book in a folder.
///
/// # Errors
/// [`IngestError::Refused`] with every fatal problem: `book.toml` absent or wrong, the folder or a
/// declared file absent, a file unreadable, a required table or column absent, a required table
/// without any row.
pub fn read_book(
    dir: &Path,
    progress: &mut dyn FnMut(Progress<'_>),
) -> Result<BookTables, IngestError> {
    read_book_with(dir, ReadSettings::default(), progress)
}

/// Reads and checks every table of the book in a folder.
///
/// # Errors
/// As [`read_book`], and when the cache folder cannot be written to.
pub fn read_book_with(
    dir: &Path,
    settings: ReadSettings<'_>,
    progress: &mut dyn FnMut(Progress<'_>),
) -> Result<BookTables, IngestError> {
    let (book, toml) = read_settings(dir)?;
    let cache = settings
        .cache
        .filter(|_| settings.trees.is_none())
        .map(|folder| Cache::open(folder).map_err(|error| no_cache(folder, &error)))
        .transpose()?;
    let (sources, problems) = discover(dir, &book, &toml, |table| settings.needs(table));
    let of = |table| sources.iter().filter(move |s| s.table == table).collect::<Vec<&Source>>();
    // Which trees are drawn must be known before the first visit is read.
    let always = match settings.trees {
        Some(_) => {
            let trials = of(Table::Trials);
            let mut ahead = Reading::new(&book, None, settings, trials.len(), progress);
            trees_of(&ahead.table(Table::Trials, &trials)?).map_err(internal)?
        }
        None => BTreeSet::new(),
    };
    let mut reading = Reading::new(&book, cache.as_ref(), settings, sources.len(), progress);
    reading.problems = problems;
    let mut frames = BTreeMap::new();
    for table in Table::ALL {
        // Blocks and trees come before the visits, of which prunings are the first.
        if table == Table::Prunings
            && let Some(share) = settings.trees
            && let (Some(blocks), Some(trees)) =
                (frames.get(&Table::Blocks), frames.get(&Table::Trees))
        {
            let draw = Draw::of(share, blocks, trees, &always).map_err(internal)?;
            reading.draw = Some(draw);
        }
        let files = of(table);
        let is_optional = !table.spec().required;
        // Required tables are there for whoever links them, be it without a row.
        if !(files.is_empty() && (is_optional || settings.needs(table))) {
            frames.insert(table, reading.table(table, &files)?);
        }
    }
    let Reading { files, cells, unread, quarantine, mut problems, from_cache, draw, .. } = reading;
    let seen = Seen {
        table: frames.get(&Table::Trials),
        files: &files,
        quarantine: &quarantine,
        sources: &sources,
    };
    let of_trials = trial_problems(&book, &toml, seen, &problems)?;
    problems.extend(of_trials);
    if problems.iter().any(|problem| problem.severity == Severity::Fatal) {
        problems.retain(|problem| problem.severity == Severity::Fatal);
        problems.sort();
        return Err(IngestError::Refused(problems));
    }
    problems.extend(quarantine_problems(&quarantine));
    problems.extend(copies(&files));
    let again = same_picks(frames.get(&Table::Harvests), &files);
    problems.extend(again.map_err(internal)?);
    let columns = files.iter().zip(&cells).zip(&unread);
    let columns = columns.map(|((report, cells), unread)| FileColumns {
        report,
        cells,
        unread: unread.as_deref(),
    });
    problems.extend(unread::unread(&columns.collect::<Vec<_>>(), &book));
    let cell_of = |file: u32, column: &str| cells.get(file as usize)?.get(column).copied();
    let suspicious = alike(&frames, &files, cell_of);
    problems.extend(suspicious.map_err(|error| IngestError::Internal(error.to_string()))?);
    problems.sort();
    let settings = fingerprint(toml.as_bytes());
    Ok(BookTables {
        book,
        frames,
        files,
        problems,
        quarantine,
        settings,
        sources,
        cells,
        from_cache,
        draw,
    })
}

/// Files of one table that hold the same bytes under different names.
fn copies(files: &[FileReport]) -> Vec<Problem> {
    let path = |file: &FileReport| file.file.split('#').next().unwrap_or_default().to_owned();
    let mut first: BTreeMap<(Table, &str), String> = BTreeMap::new();
    let mut problems = Vec::new();
    for file in files.iter().filter(|file| file.rows_read > 0) {
        let own = path(file);
        let known = first.entry((file.table, &file.fingerprint)).or_insert_with(|| own.clone());
        if *known != own {
            problems.push(Problem::new(
                Place::file(&file.file),
                Severity::Warning,
                Code::FileTwice,
                say!("the file holds the same bytes as {known}, which is read too"),
                text!("put the right file in its place, or take one of the two out"),
            ));
        }
    }
    problems
}

/// Fewest rows, and weights among them, for two files of the same picks to be no chance.
const ROWS_OF_COPY: u64 = 20;
const WEIGHTS_OF_COPY: usize = 5;

/// Files of picks of the same trees with the same weights: one round saved twice, be its title or its day
/// another.
fn same_picks(picks: Option<&DataFrame>, files: &[FileReport]) -> PolarsResult<Vec<Problem>> {
    let Some(picks) = picks else { return Ok(Vec::new()) };
    // Only files of as many rows can be the same.
    let mut lengths: BTreeMap<u64, u64> = BTreeMap::new();
    for file in files.iter().filter(|file| file.table == Table::Harvests) {
        *lengths.entry(file.rows_kept).or_default() += 1;
    }
    let is_candidate = |file: u32| {
        let rows = files.get(file as usize).map_or(0, |file| file.rows_kept);
        rows >= ROWS_OF_COPY && lengths.get(&rows).is_some_and(|files| *files > 1)
    };
    let mut rows: BTreeMap<u32, Vec<(&str, u64)>> = BTreeMap::new();
    let of_file = picks.column(FILE)?.u32()?.iter();
    let trees = picks.column("tree")?.str()?.iter();
    for ((file, tree), kg) in of_file.zip(trees).zip(picks.column("nut_kg")?.f64()?.iter()) {
        if let (Some(file), Some(tree), Some(kg)) =
            (file.filter(|file| is_candidate(*file)), tree, kg)
        {
            rows.entry(file).or_default().push((tree, kg.to_bits()));
        }
    }
    let mut known: Vec<(u32, &Vec<(&str, u64)>)> = Vec::new();
    let mut problems = Vec::new();
    for own in rows.values_mut() {
        own.sort_unstable();
    }
    for (file, own) in &rows {
        let weights: BTreeSet<u64> = own.iter().map(|(_, kg)| *kg).collect();
        if weights.len() < WEIGHTS_OF_COPY {
            continue;
        }
        let Some((first, _)) = known.iter().find(|(_, earlier)| *earlier == own) else {
            known.push((*file, own));
            continue;
        };
        let name = |file: u32| files.get(file as usize).map(|of| (&of.file, &of.fingerprint));
        // Files of the same bytes are told by that.
        if let (Some((earlier, bytes)), Some((again, other))) = (name(*first), name(*file))
            && bytes != other
        {
            problems.push(Problem::new(
                Place::file(again),
                Severity::Warning,
                Code::FileTwice,
                say!("its picks are of the same trees and weights as those of {earlier}"),
                text!("put the right file in its place, or take one of the two out"),
            ));
        }
    }
    Ok(problems)
}

/// The trees of a trial table.
fn trees_of(plots: &DataFrame) -> PolarsResult<BTreeSet<String>> {
    let trees = plots.column("tree")?.str()?;
    Ok(trees.iter().flatten().map(str::to_owned).collect())
}

fn no_cache(folder: &Path, error: &std::io::Error) -> IngestError {
    IngestError::Refused(vec![Problem::new(
        Place::file(folder.display().to_string()),
        Severity::Fatal,
        Code::FileUnreadable,
        say!("the cache cannot be written: {error}"),
        text!("give --cache a folder that may be written to and has space, or leave it out"),
    )])
}

/// What was read of the trials.
struct Seen<'a> {
    table: Option<&'a DataFrame>,
    files: &'a [FileReport],
    quarantine: &'a [QuarantinedRow],
    sources: &'a [Source],
}

/// What is wrong with the declared trials when they are held against the trial table. `found` is
/// what is known already.
fn trial_problems(
    book: &Book,
    toml: &str,
    Seen { table, files, quarantine, sources }: Seen<'_>,
    found: &[Problem],
) -> Result<Vec<Problem>, IngestError> {
    if book.trials.is_empty() {
        return Ok(Vec::new());
    }
    let seen = table
        .map_or_else(|| Ok(SeenTrials::default()), seen_trials)
        .map_err(|error| IngestError::Internal(error.to_string()))?;
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

/// Reads `book.toml`; its text serves to find lines.
pub(crate) fn read_settings(dir: &Path) -> Result<(Book, String), IngestError> {
    let refuse = |place: String, code, what: String, remedy: &str| {
        let problem = Problem::new(Place::file(place), Severity::Fatal, code, what, remedy);
        IngestError::Refused(vec![problem])
    };
    if !dir.is_dir() {
        return Err(refuse(
            dir.display().to_string(),
            Code::FileUnreadable,
            say!("there is no such folder"),
            text!("give the folder that holds book.toml"),
        ));
    }
    let size = dir.join("book.toml").metadata().map_or(0, |data| data.len());
    if !limits::SETTINGS.holds(size) {
        return Err(refuse(
            "book.toml".to_owned(),
            Code::FileTooLarge,
            say!("the settings have {size} bytes; at most {} are read", limits::SETTINGS.words()),
            text!("remove what does not belong there; tables go into files of their own"),
        ));
    }
    let toml = std::fs::read_to_string(dir.join("book.toml")).map_err(|error| {
        refuse(
            "book.toml".to_owned(),
            Code::BookUnreadable,
            say!("the settings of the book cannot be read: {error}"),
            text!("put a file book.toml in UTF-8 into the folder; `anacurve demo DIR --kind first` writes a small book to copy from"),
        )
    })?;
    let toml = toml.strip_prefix('\u{feff}').unwrap_or(&toml).to_owned();
    let book = Book::parse(&toml).map_err(|error| IngestError::Refused(error.problems))?;
    Ok((book, toml))
}

fn internal(error: PolarsError) -> IngestError {
    IngestError::Internal(error.to_string())
}

/// What has been read so far.
struct Reading<'a> {
    book: &'a Book,
    cache: Option<&'a Cache>,
    settings: ReadSettings<'a>,
    draw: Option<Draw>,
    from_cache: usize,
    progress: &'a mut dyn FnMut(Progress<'_>),
    total: usize,
    /// Names of the files read so far and of the one being read.
    names: Vec<String>,
    files: Vec<FileReport>,
    /// As in [`BookTables`].
    cells: Vec<BTreeMap<String, u32>>,
    /// Columns that each file left out; `None` of files that could not be read.
    unread: Vec<Option<Vec<Unread>>>,
    quarantine: Vec<QuarantinedRow>,
    problems: Vec<Problem>,
}

impl<'a> Reading<'a> {
    fn new(
        book: &'a Book,
        cache: Option<&'a Cache>,
        settings: ReadSettings<'a>,
        total: usize,
        progress: &'a mut dyn FnMut(Progress<'_>),
    ) -> Self {
        Self {
            book,
            cache,
            settings,
            draw: None,
            from_cache: 0,
            progress,
            total,
            names: Vec::new(),
            files: Vec::new(),
            cells: Vec::new(),
            unread: Vec::new(),
            quarantine: Vec::new(),
            problems: Vec::new(),
        }
    }

    /// Reads the files of one table into one frame.
    fn table(&mut self, table: Table, sources: &[&Source]) -> Result<DataFrame, IngestError> {
        let mut reader = TableReader::new(table);
        let first_file = self.files.len();
        let (mut parts, mut without_rows) = (Parts::new(table.spec()), Vec::new());
        let mut key = String::new();
        for source in sources {
            self.names.push(source.name.clone());
            let (outcome, kept, hash) = match self.file(source, &mut reader, &mut key)? {
                Ok((file, hash)) => {
                    let kept = file.rows.height() as u64;
                    parts.add(file.rows, file_number(&self.names)).map_err(internal)?;
                    (file.outcome, kept, hash)
                }
                Err(faults) => {
                    for fault in faults {
                        let is_empty = fault.code == Code::FileEmpty;
                        let file = if fault.code == Code::SettingImpossible {
                            "book.toml"
                        } else {
                            &source.name
                        };
                        let problem = fault.into_problem(file);
                        if is_empty {
                            without_rows.push(problem);
                        } else {
                            self.problems.push(problem);
                        }
                    }
                    (FileOutcome::default(), 0, fingerprint(&[]))
                }
            };
            self.close(source, outcome, kept, hash, &mut without_rows)?;
        }
        let has_rows = self.files.iter().skip(first_file).any(|file| file.rows_read > 0);
        let is_fatal = self.settings.needs(table) && !has_rows;
        for problem in &mut without_rows {
            problem.severity = if is_fatal { Severity::Fatal } else { Severity::Warning };
            if is_fatal {
                // Not "or remove the file": the table would be missed next.
                problem.remedy = say!(
                    "add the rows: every book needs the table {table}, and removing the file leaves it without"
                );
            }
        }
        self.problems.append(&mut without_rows);
        parts.joined().map_err(internal)
    }

    /// A file's rows, from the cache where it holds them, and the file's fingerprint; or what is
    /// wrong with the file. `key` is that of the file of this table read before, then this one's.
    fn file(
        &mut self,
        source: &Source,
        reader: &mut TableReader,
        key: &mut String,
    ) -> Result<Result<(ReadFile, String), Vec<Fault>>, IngestError> {
        let (files_done, files) = (self.files.len(), self.total);
        let mut tick = |rows| {
            let (file, table) = (source.name.as_str(), source.table);
            (self.progress)(Progress { file, table, rows, files_done, files });
        };
        tick(0);
        let loaded = match Loaded::of(source) {
            Ok(loaded) => loaded,
            Err(fault) => {
                *key = cache::key(source, self.book, "", key);
                return Ok(Err(vec![fault]));
            }
        };
        let hash = loaded.fingerprint.clone();
        *key = cache::key(source, self.book, &hash, key);
        let spec = source.table.spec();
        // The factors of trials are columns that no schema names; these tables are small.
        let cache = self.cache.filter(|_| !spec.keeps_extra_columns);
        if let Some(file) = cache.and_then(|cache| cache.get(key, spec)) {
            reader.remember(&self.names, &file.rows, &file.hashes).map_err(internal)?;
            self.from_cache += 1;
            return Ok(Ok((file, hash)));
        }
        let read = loaded.open(source).map_err(|fault| vec![fault]).and_then(|mut rows| {
            let keep = Keep { book: self.book, draw: self.draw.as_ref() };
            reader.read(source, keep, &self.names, rows.as_mut(), &mut tick)
        });
        let mut outcome = match read {
            Ok(outcome) => outcome,
            Err(faults) => return Ok(Err(faults)),
        };
        let (rows, hashes) = reader.take().map_err(internal)?;
        slips::note(source.table, &rows, &outcome.cells, &mut outcome.summary).map_err(internal)?;
        let file = ReadFile { rows, hashes, outcome };
        if let Some(cache) = cache {
            cache.put(key, spec, &file).map_err(|error| no_cache(cache.folder(), &error))?;
        }
        Ok(Ok((file, hash)))
    }

    /// Checks that every row of a file is accounted for, and reports on it.
    fn close(
        &mut self,
        source: &Source,
        mut outcome: FileOutcome,
        kept: u64,
        fingerprint: String,
        without_rows: &mut Vec<Problem>,
    ) -> Result<(), IngestError> {
        let report = FileReport {
            file: source.name.clone(),
            table: source.table,
            rows_read: outcome.rows_read,
            rows_kept: kept,
            rows_quarantined: outcome.quarantine.len() as u64,
            rows_not_drawn: outcome.rows_not_drawn,
            repairs: outcome.summary.repairs(),
            fingerprint,
        };
        if !report.is_conserved() {
            return Err(IngestError::Internal(say!(
                "{}: {} rows read, {} kept, {} quarantined, {} not drawn",
                report.file,
                report.rows_read,
                report.rows_kept,
                report.rows_quarantined,
                report.rows_not_drawn
            )));
        }
        if let Some(line) = outcome.header_line
            && report.rows_read == 0
        {
            without_rows.push(Problem::new(
                Place::line(&report.file, line),
                Severity::Warning,
                Code::TableHeaderOnly,
                text!("the file has a header and no rows"),
                text!("add the rows, or remove the file"),
            ));
        }
        self.problems.extend(outcome.summary.problems(&report));
        self.quarantine.append(&mut outcome.quarantine);
        let (file, table, rows) = (report.file.as_str(), report.table, report.rows_read);
        let files_done = self.files.len() + 1;
        (self.progress)(Progress { file, table, rows, files_done, files: self.total });
        self.files.push(report);
        self.cells.push(outcome.cells);
        self.unread.push(outcome.header_line.map(|_| outcome.summary.unread()));
        Ok(())
    }
}
