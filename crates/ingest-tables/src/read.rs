//! Reads a whole record book.

use crate::alike::alike;
use crate::archive::too_large;
use crate::cache::{self, Cache, ReadFile};
use crate::copies::{copies, nearly_copies, same_picks};
use crate::discover::{Format, Source, discover};
use crate::draw::Draw;
use crate::header::HeaderWords;
use crate::of_trials::{Seen, trees_of, trial_problems};
use crate::parquet_rows::ParquetRows;
use crate::parts::Parts;
use crate::report::fingerprint;
use crate::rows::{Fault, Rows};
use crate::sheet_rows::SheetRows;
use crate::slips;
use crate::summary::quarantine_problems;
use crate::table::{FileOutcome, Keep, TableReader, file_number};
use crate::text_rows::TextRows;
use crate::unread::{self, FileColumns, Unread};
use crate::{FileReport, Progress, QuarantinedRow};
use polars::prelude::{DataFrame, PolarsError};
use records::{Book, Code, Place, Problem, Severity, Table, counted, limits};
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
    let Reading {
        files, cells, unread, quarantine, mut problems, from_cache, draw, refused, ..
    } = reading;
    let seen = Seen {
        table: frames.get(&Table::Trials),
        files: &files,
        quarantine: &quarantine,
        sources: &sources,
        refused,
    };
    let of_trials = trial_problems(&book, &toml, seen, &problems)?;
    problems.extend(of_trials);
    if problems.iter().any(|problem| problem.severity == Severity::Fatal) {
        problems.retain(|problem| problem.severity == Severity::Fatal);
        problems.sort();
        return Err(IngestError::Refused(told_once(problems)));
    }
    problems.extend(quarantine_problems(&quarantine));
    problems.extend(copies(&files));
    problems.extend(nearly_copies(&files, &quarantine));
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
    problems.extend(slips::whole_files(&frames, &files, cell_of).map_err(internal)?);
    let unit_of =
        |file: u32| sources.get(file as usize)?.options.units.get("intensity").map(String::as_str);
    problems.extend(slips::hard_files(&frames, &files, cell_of, unit_of).map_err(internal)?);
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

/// Files that are named where several lack the same column.
const NAMED: usize = 3;

/// What is the same of many files, as those of one `*`, told once, at the first of them; the order stays.
fn told_once(problems: Vec<Problem>) -> Vec<Problem> {
    let mut of_words: BTreeMap<(String, String), Vec<String>> = BTreeMap::new();
    let words = |problem: &Problem| (problem.what.clone(), problem.remedy.clone());
    for problem in problems.iter().filter(|problem| problem.code == Code::ColumnMissing) {
        of_words.entry(words(problem)).or_default().push(problem.place.file.clone());
    }
    let mut told = Vec::new();
    for mut problem in problems {
        if problem.code == Code::ColumnMissing {
            let Some(files) = of_words.remove(&words(&problem)) else { continue };
            let others = files.get(1..).unwrap_or_default();
            if let Some(named) = others.get(..others.len().min(NAMED)).filter(|of| !of.is_empty()) {
                let more = if others.len() > named.len() { ", ..." } else { "" };
                problem.what = say!(
                    "{}; the same in {}: {}",
                    problem.what,
                    counted(others.len() as u64, text!("other file"), text!("other files")),
                    named.join(", ") + more
                );
            }
        }
        told.push(problem);
    }
    told
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
    /// Names of the columns of trial tables whose heading was refused.
    refused: BTreeSet<String>,
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
            refused: BTreeSet::new(),
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
        if table == Table::Trials {
            self.refused = reader.into_refused();
        }
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
