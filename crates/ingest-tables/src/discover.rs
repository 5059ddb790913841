//! Finds the files of each table in the book folder.

use crate::pattern::{Pattern, as_glob, starred};
use crate::rows::Fault;
use crate::sheet_rows::{choose_sheet, filled_sheets, is_named, sheet_names};
use records::{Book, Code, FileOptions, Place, Problem, Severity, StatedValue, Table, counted};
use std::collections::BTreeSet;
use std::path::{Component, Path, PathBuf};
use words::{say, text};

/// How a file is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    Text,
    Sheet,
    Parquet,
}

/// One file or sheet of a table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Source {
    pub(crate) table: Table,
    pub(crate) path: PathBuf,
    /// Name in messages: relative path, with `#sheet`.
    pub(crate) name: String,
    pub(crate) sheet: Option<String>,
    pub(crate) format: Format,
    pub(crate) options: FileOptions,
    /// What the `*` of its sheet or path stands for.
    pub(crate) named: Option<String>,
}

/// A file of the folder: its name, lower-case stem, and format.
struct Candidate {
    path: PathBuf,
    name: String,
    stem: String,
    format: Format,
}

impl Format {
    fn of(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_str()?.to_lowercase();
        match extension.as_str() {
            "csv" | "tsv" | "txt" => Some(Self::Text),
            "xlsx" | "ods" => Some(Self::Sheet),
            "parquet" => Some(Self::Parquet),
            _ => None,
        }
    }
}

/// Every file of the book in reading order, and what is wrong with the choice, the absence of a
/// table that is needed among it.
pub(crate) fn discover(
    dir: &Path,
    book: &Book,
    toml: &str,
    needs: impl Fn(Table) -> bool,
) -> (Vec<Source>, Vec<Problem>) {
    let (mut sources, mut problems) = (Vec::new(), Vec::new());
    let candidates = match candidates(dir) {
        Ok(candidates) => candidates,
        Err(error) => {
            let what = say!("the book folder cannot be listed: {error}");
            let fault = Fault::new(Code::FileUnreadable, what, text!("check its permissions"));
            return (sources, vec![fault.into_problem(&dir.display().to_string())]);
        }
    };
    let nested = nested(dir, book);
    for table in Table::ALL {
        let before = (sources.len(), problems.len());
        match book.files.get(&table) {
            Some(files) if !files.is_empty() => {
                for options in files {
                    for found in declared(dir, book, table, options) {
                        match found {
                            Ok(source) => sources.push(source),
                            Err(fault) => {
                                let line = book.file_place(toml, table, &options.path);
                                problems.push(Fault { line, ..fault }.into_problem("book.toml"));
                            }
                        }
                    }
                }
                problems.extend(left_out(&candidates, book, table));
                problems.extend(left_out(&nested, book, table));
            }
            _ => {
                for found in by_name(&candidates, table) {
                    match found {
                        Ok(source) => sources.push(source),
                        Err(problem) => problems.push(problem),
                    }
                }
            }
        }
        let is_missing = before == (sources.len(), problems.len());
        if is_missing && needs(table) {
            problems.push(missing(table, &unnamed(&candidates, book)));
        }
    }
    // Those named as a table, or declared, are told where their table is looked for.
    let named = |stem: &str| Table::ALL.iter().any(|&table| is_stem_of(stem, table));
    problems.extend(unread(&candidates, book, &sources, &named));
    // Below the folder only the files of tables that book.toml names files of are looked for.
    let named_below = |stem: &str| {
        book.files.iter().any(|(&table, own)| !own.is_empty() && is_stem_of(stem, table))
    };
    problems.extend(unread(&nested, book, &sources, &named_below));
    let of_paths = folders_of_paths(dir, book);
    problems.extend(foreign(dir, &of_paths, book));
    problems.extend(unread_below(dir, &of_paths, book));
    problems.extend(twice(&sources));
    (sources, problems)
}

/// Folders below that of the book that a path of book.toml leads into, by their paths.
fn folders_of_paths(dir: &Path, book: &Book) -> BTreeSet<String> {
    let paths = book.files.values().flatten().map(|file| plain_path(&file.path));
    let mut folders: BTreeSet<String> = BTreeSet::new();
    for (folder, _) in paths.filter_map(|path| path.rsplit_once('/')) {
        if Pattern::is_plain(folder) || dir.join(folder).is_dir() {
            folders.insert(folder.to_owned());
        } else {
            folders.extend(below(dir, folder, Path::is_dir));
        }
    }
    folders
}

/// Kinds of files in which tables are kept and that are not read.
const FOREIGN: [&str; 16] = [
    "xls", "xlsm", "xlsb", "numbers", "gz", "bz2", "xz", "zip", "7z", "rar", "dbf", "mdb", "accdb",
    "gsheet", "feather", "arrow",
];

/// Files beside those read that may hold a table and are of a kind that is not read.
fn foreign(dir: &Path, of_paths: &BTreeSet<String>, book: &Book) -> Vec<Problem> {
    let folders = std::iter::once("").chain(of_paths.iter().map(String::as_str));
    let found = folders.flat_map(|folder| {
        let inside = names_in(&dir.join(folder));
        inside.into_iter().map(move |name| within(folder, &name))
    });
    let is_foreign = |name: &String| {
        let extension = Path::new(name).extension().and_then(|of| of.to_str());
        extension.is_some_and(|of| FOREIGN.contains(&of.to_lowercase().as_str()))
    };
    let mut names: Vec<String> = found
        .filter(|name| is_foreign(name) && dir.join(name).is_file())
        .filter(|name| !is_no_table(name, book))
        .collect();
    names.sort();
    let told = names.into_iter().map(|name| {
        let remedy = say!(
            "save it as .xlsx or .csv; if it is no table, add it to not_tables under [book] or move it out of the folder"
        );
        let what = say!("the file is of a kind that cannot be read, and is not");
        Problem::new(Place::file(name), Severity::Warning, Code::FileLeftOut, what, remedy)
    });
    told.collect()
}

/// How many folders below that of the book are looked into for files that nothing reads: a folder of
/// years within one of picks, and no further.
const DEEPEST: usize = 2;

/// Files in folders that no path of book.toml leads into, one problem for each folder.
fn unread_below(dir: &Path, of_paths: &BTreeSet<String>, book: &Book) -> Vec<Problem> {
    let mut problems = Vec::new();
    let mut left = vec![(String::new(), 0)];
    while let Some((folder, depth)) = left.pop() {
        let is_read = folder.is_empty() || of_paths.contains(&folder);
        let (mut files, mut below) = (Vec::new(), Vec::new());
        for name in names_in(&dir.join(&folder)).into_iter().map(|name| within(&folder, &name)) {
            let path = dir.join(&name);
            // A link may lead out of the book, or back into it.
            if path.is_dir() && !path.is_symlink() {
                below.push(name);
            } else if Format::of(&path).is_some() && !is_no_table(&name, book) {
                files.push(name);
            }
        }
        // Reports and kept advice are this program's own.
        let is_own = dir.join(&folder).join(".anacurve-report").exists()
            || folder == "kept"
            || book
                .book
                .not_tables
                .iter()
                .any(|other| plain_path(other).trim_end_matches('/') == folder);
        if is_own {
            continue;
        }
        if let (false, Some(first)) = (is_read, files.first()) {
            problems.push(Problem::new(
                Place::file(first),
                Severity::Warning,
                Code::FileLeftOut,
                say!(
                    "{} of the folder {folder} read by nothing, this one first",
                    counted(files.len() as u64, text!("file"), text!("files"))
                ),
                say!(
                    "name what is a table with [[files.TABLE]] and path = \"{folder}/*\"; if none is, add \"{folder}\" to not_tables under [book]"
                ),
            ));
        }
        if depth < DEEPEST {
            left.extend(below.into_iter().map(|name| (name, depth + 1)));
        }
    }
    problems
}

/// Names in a folder but hidden ones and the lock files of open spreadsheets, in their order; a folder
/// that cannot be listed is told by the files that are missing there.
fn names_in(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> =
        entries.filter_map(|entry| entry.file_name().into_string().ok()).collect();
    names.retain(|name| !name.starts_with(['.', '~']));
    names.sort();
    names
}

fn within(folder: &str, name: &str) -> String {
    if folder.is_empty() { name.to_owned() } else { format!("{folder}/{name}") }
}

/// Files of the folders below that of the book that a path of book.toml leads into, by their paths.
fn nested(dir: &Path, book: &Book) -> Vec<Candidate> {
    let mut found = Vec::new();
    for folder in &folders_of_paths(dir, book) {
        // A folder that cannot be listed is told by the files that are missing there.
        for candidate in candidates(&dir.join(folder)).unwrap_or_default() {
            found.push(Candidate { name: format!("{folder}/{}", candidate.name), ..candidate });
        }
    }
    found
}

/// Files and sheets that are declared twice for a table, in the same way: sheets with several visits
/// side by side are declared once for each, with other headings, and one sheet of several rounds with
/// other `every_row`.
fn twice(sources: &[Source]) -> Vec<Problem> {
    let is_same = |a: &Source, b: &Source| {
        (a.table, &a.name) == (b.table, &b.name)
            && (&a.options.header, &a.options.joined) == (&b.options.header, &b.options.joined)
            && (&a.options.values, &a.options.every_row)
                == (&b.options.values, &b.options.every_row)
    };
    let again = sources
        .iter()
        .enumerate()
        .filter(|(at, source)| sources.iter().take(*at).any(|earlier| is_same(earlier, source)));
    again
        .map(|(_, source)| {
            Problem::new(
                Place::file(&source.name),
                Severity::Warning,
                Code::FileTwice,
                say!(
                    "book.toml names it twice for the table {}, with the same columns",
                    source.table
                ),
                say!("correct the path of one [[files.{}]], or take it out", source.table),
            )
        })
        .collect()
}

/// Files named after a table of which book.toml names others: declared files replace those that
/// would have been found, which is seldom meant when a second file joins the first.
fn left_out(candidates: &[Candidate], book: &Book, table: Table) -> Vec<Problem> {
    let named = candidates.iter().filter(|candidate| {
        is_stem_of(&candidate.stem, table)
            && !is_declared(&candidate.name, book)
            && !is_no_table(&candidate.name, book)
    });
    named
        .map(|candidate| {
            let name = &candidate.name;
            Problem::new(
                Place::file(name),
                Severity::Warning,
                Code::FileLeftOut,
                say!(
                    "the file is named as one of {table} and is not read: where book.toml has [[files.{table}]], only the files that it names are"
                ),
                say!(
                    "add a further [[files.{table}]] with path = \"{name}\", or move the file out of the folder"
                ),
            )
        })
        .collect()
}

fn is_declared(name: &str, book: &Book) -> bool {
    let mut paths = book.files.values().flatten().map(|file| plain_path(&file.path));
    paths.any(|path| {
        path == name || !Pattern::is_plain(path) && Pattern::of_path(path).matches_path(name)
    })
}

/// Whether `not_tables` names a file, or a sheet as `FILE#SHEET`.
fn is_no_table(name: &str, book: &Book) -> bool {
    let mut others = book.book.not_tables.iter().map(|other| plain_path(other));
    others.any(|other| {
        other == name || !Pattern::is_plain(other) && Pattern::of_path(other).matches_path(name)
    })
}

fn plain_path(path: &str) -> &str {
    path.trim_start_matches("./")
}

/// Files and sheets that nothing reads and that book.toml does not call something else: a season may
/// stand in them.
fn unread(
    candidates: &[Candidate],
    book: &Book,
    sources: &[Source],
    is_told: &dyn Fn(&str) -> bool,
) -> Vec<Problem> {
    let is_other = |name: &str| is_no_table(name, book);
    let mut problems = Vec::new();
    for Candidate { path, name, stem, format } in candidates {
        let of_file: Vec<&Source> = sources.iter().filter(|source| source.path == *path).collect();
        if is_other(name) || (of_file.is_empty() && (is_told(stem) || is_declared(name, book))) {
            continue;
        }
        let told = |what: String, remedy: String| {
            Problem::new(Place::file(name), Severity::Warning, Code::FileLeftOut, what, remedy)
        };
        if of_file.is_empty() {
            problems.push(told(
                say!("no table is named after the file and book.toml does not name it: it is not read"),
                say!(
                    "name its table with [[files.TABLE]] and path = \"{name}\"; if it is no table, add it to not_tables under [book] or move it out of the folder"
                ),
            ));
            continue;
        }
        if *format != Format::Sheet {
            continue;
        }
        // A workbook that cannot be opened is told where it is read.
        let filled = filled_sheets(path).unwrap_or_default();
        let is_read =
            |sheet: &str| of_file.iter().any(|source| source.sheet.as_deref() == Some(sheet));
        let left: Vec<String> = filled
            .into_iter()
            .filter(|sheet| !is_read(sheet) && !is_other(&format!("{name}#{sheet}")))
            .collect();
        if let Some(first) = left.first() {
            problems.push(told(
                say!(
                    "{} of the workbook read by nothing: {}",
                    counted(left.len() as u64, text!("sheet"), text!("sheets")),
                    left.join(", ")
                ),
                say!(
                    "name each sheet that is a table with [[files.TABLE]], path = \"{name}\" and sheet = \"{first}\" (`*` in it stands for any text); add what is none to not_tables under [book], as \"{name}#{first}\""
                ),
            ));
        }
    }
    problems
}

/// Files of the folder that no table is named after and book.toml does not name.
fn unnamed<'a>(candidates: &'a [Candidate], book: &Book) -> Vec<&'a str> {
    let is_a_table = |stem: &str| Table::ALL.iter().any(|&table| is_stem_of(stem, table));
    candidates
        .iter()
        .filter(|candidate| !is_a_table(&candidate.stem) && !is_declared(&candidate.name, book))
        .map(|candidate| candidate.name.as_str())
        .collect()
}

fn missing(table: Table, unnamed: &[&str]) -> Problem {
    let remedy = if unnamed.is_empty() {
        say!(
            "put {table}.csv (or .xlsx, .ods, .parquet) into the folder, or name its file under [[files.{table}]] in book.toml; `anacurve schema` lists the columns"
        )
    } else {
        let names = unnamed.join(", ");
        say!(
            "put {table}.csv (or .xlsx, .ods, .parquet) into the folder, or name its file under [[files.{table}]] in book.toml (nothing names {names} yet); `anacurve schema` lists the columns"
        )
    };
    let what = say!("no file holds the table {table}");
    Problem::new(Place::file(table.as_str()), Severity::Fatal, Code::TableMissing, what, remedy)
}

/// The files and sheets that one `[[files.TABLE]]` names.
fn declared(
    dir: &Path,
    book: &Book,
    table: Table,
    options: &FileOptions,
) -> Vec<Result<Source, Fault>> {
    let paths = match inside(&options.path).and_then(|()| paths_of(dir, book, table, options)) {
        Ok(paths) => paths,
        Err(fault) => return vec![Err(fault)],
    };
    let of_path = |path: String| {
        let named = starred(&options.path, &path).map(str::to_owned);
        let options = FileOptions { path, ..options.clone() };
        match sheets_of(dir, book, table, &options) {
            Ok(sheets) => sheets
                .into_iter()
                .map(|sheet| {
                    let pattern = options.sheet.as_deref().unwrap_or_default();
                    let of_sheet = sheet.as_deref().and_then(|name| starred(pattern, name));
                    let named = of_sheet.map(str::to_owned).or_else(|| named.clone());
                    let mut options = FileOptions { sheet, ..options.clone() };
                    if let Some(named) = &named {
                        fill_in(&mut options, named);
                    }
                    Ok(Source { named, ..declared_one(dir, table, options)? })
                })
                .collect(),
            Err(fault) => vec![Err(fault)],
        }
    };
    paths.into_iter().flat_map(of_path).collect()
}

/// Puts what the `*` of sheet or path stands for into the texts of `every_row`.
fn fill_in(options: &mut FileOptions, named: &str) {
    for value in options.every_row.values_mut() {
        if let StatedValue::Text(text) = value {
            *text = text.replace('*', named);
        }
    }
}

/// The paths that a declared one stands for. A pattern leaves out what another stanza of the table
/// names in full, and what is no table.
fn paths_of(
    dir: &Path,
    book: &Book,
    table: Table,
    options: &FileOptions,
) -> Result<Vec<String>, Fault> {
    let path = plain_path(&options.path);
    if Pattern::is_plain(path) || dir.join(path).is_file() {
        return Ok(vec![options.path.clone()]);
    }
    let mut others = book.files.get(&table).into_iter().flatten();
    let is_table = |path: &Path| {
        path.is_file()
            && Format::of(path).is_some()
            && path.file_name().is_some_and(|name| !name.to_string_lossy().starts_with(['.', '~']))
    };
    let mut found = below(dir, path, is_table);
    found.retain(|name| {
        !is_no_table(name, book) && !others.clone().any(|other| plain_path(&other.path) == name)
    });
    if found.is_empty() {
        let is_named = others.any(|other| Pattern::is_plain(&other.path));
        let also = if is_named {
            say!(
                "no file beside those that stand under [[files.{table}]] by themselves has a path like {}",
                options.path
            )
        } else {
            say!("no file that can be read has a path like {}", options.path)
        };
        return Err(Fault::new(
            Code::FileUnreadable,
            also,
            say!(
                "correct path under [[files.{table}]], or put the files there; `*` stands for any text within one name"
            ),
        ));
    }
    Ok(found)
}

/// Paths below the folder of the book that a pattern means, in their order.
fn below(dir: &Path, pattern: &str, is_wanted: impl Fn(&Path) -> bool) -> Vec<String> {
    // What is found comes without a leading `.`.
    let dir = dir.strip_prefix(".").unwrap_or(dir);
    let folder = glob::Pattern::escape(&dir.join("").to_string_lossy());
    let found =
        glob::glob(&format!("{folder}{}", as_glob(pattern))).into_iter().flatten().flatten();
    let mut names: Vec<String> = found
        .filter(|path| is_wanted(path))
        .filter_map(|path| {
            let parts = path.strip_prefix(dir).ok()?.components();
            let parts: Option<Vec<&str>> = parts.map(|part| part.as_os_str().to_str()).collect();
            Some(parts?.join("/"))
        })
        .collect();
    names.sort();
    names
}

/// The sheets that a declared one stands for; none where nothing is declared.
fn sheets_of(
    dir: &Path,
    book: &Book,
    table: Table,
    options: &FileOptions,
) -> Result<Vec<Option<String>>, Fault> {
    let path = plain_path(&options.path);
    let pattern = options.sheet.as_deref().filter(|sheet| !Pattern::is_plain(sheet));
    let (Some(sheet), Some(Format::Sheet)) = (pattern, Format::of(Path::new(path))) else {
        return Ok(vec![options.sheet.clone()]);
    };
    let is_meant = Pattern::of_path(sheet);
    let others = book.files.get(&table).into_iter().flatten();
    let is_named = |sheet: &str| {
        let mut of_file = others.clone().filter(|other| plain_path(&other.path) == path);
        of_file.any(|other| other.sheet.as_deref() == Some(sheet))
    };
    let mut sheets = filled_sheets(&dir.join(path))?;
    sheets.retain(|sheet| {
        is_meant.matches_name(sheet)
            && !is_named(sheet)
            && !is_no_table(&format!("{path}#{sheet}"), book)
    });
    if sheets.is_empty() {
        return Err(Fault::new(
            Code::FileUnreadable,
            say!("no sheet of {path} that holds something has a name like '{sheet}'"),
            say!("correct sheet under [[files.{table}]] in book.toml"),
        ));
    }
    Ok(sheets.into_iter().map(Some).collect())
}

/// Refuses a path that leaves the folder of the book.
fn inside(path: &str) -> Result<(), Fault> {
    let is_inside = !path.contains('\\')
        && Path::new(path)
            .components()
            .all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    if !path.is_empty() && is_inside {
        return Ok(());
    }
    Err(Fault::new(
        Code::SettingImpossible,
        say!("the path '{path}' does not stay within the book folder"),
        text!("copy the file into the folder and give its path from there, with forward slashes"),
    ))
}

fn declared_one(dir: &Path, table: Table, options: FileOptions) -> Result<Source, Fault> {
    let relative = Path::new(&options.path);
    let path = dir.join(relative);
    if !path.is_file() {
        return Err(Fault::new(
            Code::FileUnreadable,
            say!("the file {} does not exist", options.path),
            say!("correct path under [[files.{table}]], or put the file there"),
        ));
    }
    let format = Format::of(relative).ok_or_else(|| {
        Fault::new(
            Code::FileUnreadable,
            say!("{} is of no kind that can be read", options.path),
            text!("give a .csv, .tsv, .txt, .xlsx, .ods or .parquet file"),
        )
    })?;
    let name = plain_path(&options.path).to_owned();
    source(table, path, name, format, options)
}

fn source(
    table: Table,
    path: PathBuf,
    mut name: String,
    format: Format,
    options: FileOptions,
) -> Result<Source, Fault> {
    let mut sheet = None;
    // An empty workbook is reported when it is read, like any empty file.
    let has_bytes = path.metadata().is_ok_and(|data| data.len() > 0);
    if format == Format::Sheet && has_bytes {
        let chosen = choose_sheet(&path, options.sheet.as_deref(), table)?;
        name = format!("{name}#{chosen}");
        sheet = Some(chosen);
    }
    Ok(Source { table, path, name, sheet, format, options, named: None })
}

fn candidates(dir: &Path) -> std::io::Result<Vec<Candidate>> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(dir)? {
        let path = entry?.path();
        let (Some(name), Some(stem)) = (
            path.file_name().and_then(|name| name.to_str()),
            path.file_stem().and_then(|stem| stem.to_str()),
        ) else {
            continue;
        };
        // Hidden files and the lock files of open spreadsheets.
        if name.starts_with(['.', '~']) || !path.is_file() {
            continue;
        }
        if let Some(format) = Format::of(&path) {
            let (name, stem) = (name.to_owned(), stem.to_lowercase());
            found.push(Candidate { path, name, stem, format });
        }
    }
    found.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(found)
}

fn is_stem_of(stem: &str, table: Table) -> bool {
    stem.strip_prefix(table.as_str())
        .is_some_and(|rest| rest.is_empty() || rest.starts_with(['_', '-', ' ']))
}

/// Files whose stem is the table's, else sheets of that name in workbooks of another name.
fn by_name(candidates: &[Candidate], table: Table) -> Vec<Result<Source, Problem>> {
    let named: Vec<&Candidate> = candidates.iter().filter(|c| is_stem_of(&c.stem, table)).collect();
    let open = |candidate: &Candidate, options: FileOptions| {
        source(table, candidate.path.clone(), candidate.name.clone(), candidate.format, options)
            .map_err(|fault| fault.into_problem(&candidate.name))
    };
    if !named.is_empty() {
        return named.into_iter().map(|c| open(c, FileOptions::default())).collect();
    }
    let is_workbook = |c: &&Candidate| {
        c.format == Format::Sheet && Table::ALL.iter().all(|&table| !is_stem_of(&c.stem, table))
    };
    let mut found = Vec::new();
    for workbook in candidates.iter().filter(is_workbook) {
        match sheet_names(&workbook.path) {
            Ok(names) => {
                let sheets = names.into_iter().filter(|name| is_named(name, table));
                found.extend(sheets.map(|sheet| {
                    open(workbook, FileOptions { sheet: Some(sheet), ..FileOptions::default() })
                }));
            }
            Err(fault) => found.push(Err(fault.into_problem(&workbook.name))),
        }
    }
    found
}
