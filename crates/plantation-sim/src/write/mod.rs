//! Writes simulated records as a record book.

mod book_toml;
mod climate;
mod delimited;
mod dialect;
mod guide;
mod sheet;
mod spreadsheet;
mod tables;
mod untidy;

use crate::{Plantation, Records, truth};
use dialect::FileFormat;
use serde::Serialize;
use sheet::Sheet;
use std::collections::BTreeMap;
use std::io;
use std::path::Path;

/// How tidily the book is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tidiness {
    /// One plain CSV per table with every column, no bad row, nothing beside them.
    Clean,
    /// One plain CSV per table with the columns in use, no bad row; `truth.json` and a README
    /// beside them.
    Tidy,
    /// One file per region office, each with its habits, and about one bad row in a hundred;
    /// `truth.json` and a README beside them.
    Untidy,
    /// Untidy, with climate normals beside.
    Demo,
}

/// Bad rows added to each file, by kind.
pub type BadRows = BTreeMap<String, BTreeMap<&'static str, usize>>;

/// One file: where, what and how.
pub(crate) struct BookFile {
    path: String,
    table: records::Table,
    sheet: Sheet,
    format: FileFormat,
    style: crate::RecordStyle,
}

#[derive(Serialize)]
struct TruthFile {
    #[serde(flatten)]
    truth: crate::Truth,
    rows_written: BTreeMap<String, usize>,
    bad_rows: BadRows,
}

/// The files of a record book, as paths relative to its folder and bytes, sorted by path. The
/// same records give the same bytes.
///
/// # Errors
/// When a spreadsheet cannot be assembled.
pub fn render_book(
    records: &Records,
    plantation: &Plantation,
    tidiness: Tidiness,
) -> io::Result<BTreeMap<String, Vec<u8>>> {
    let mut files = match tidiness {
        Tidiness::Clean => tables::plain_files(records, plantation),
        Tidiness::Tidy => tables::lean_files(records, plantation),
        Tidiness::Untidy | Tidiness::Demo => tables::office_files(records, plantation),
    };
    let mut out = BTreeMap::new();
    if tidiness != Tidiness::Clean {
        let bad_rows = match tidiness {
            Tidiness::Clean | Tidiness::Tidy => BadRows::new(),
            Tidiness::Untidy | Tidiness::Demo => untidy::spoil(&mut files, records, plantation),
        };
        let rows_written =
            files.iter().map(|file| (file.path.clone(), file.sheet.rows.len())).collect();
        let told = TruthFile { truth: truth(plantation, records), rows_written, bad_rows };
        let mut json = serde_json::to_string_pretty(&told).map_err(io::Error::other)?;
        json.push('\n');
        out.insert("truth.json".to_owned(), json.into_bytes());
        if tidiness == Tidiness::Demo {
            out.insert("climate_normals.csv".to_owned(), climate::normals(plantation).into_bytes());
        }
        out.insert("README.md".to_owned(), guide::readme(&told.truth, tidiness).into_bytes());
    }
    out.insert("book.toml".to_owned(), book_toml::text(plantation, &files, tidiness).into_bytes());
    for file in &mut files {
        for word in &mut file.sheet.header {
            *word = dialect::header_word(file.style, file.table, word).to_owned();
        }
        let bytes = match file.format {
            FileFormat::Spreadsheet => spreadsheet::bytes(&file.sheet).map_err(io::Error::other)?,
            FileFormat::Delimited(dialect) => delimited::bytes(&file.sheet, dialect),
        };
        out.insert(file.path.clone(), bytes);
    }
    Ok(out)
}

/// The `book.toml` of a tidy book whose files are found by their names.
#[must_use]
pub fn tidy_settings(plantation: &Plantation) -> String {
    book_toml::text(plantation, &[], Tidiness::Clean)
}

/// Writes a record book into a folder, which is made if absent; files of the same name are
/// replaced.
///
/// # Errors
/// When a file cannot be written or a spreadsheet cannot be assembled.
pub fn write_book(
    records: &Records,
    plantation: &Plantation,
    dir: &Path,
    tidiness: Tidiness,
) -> io::Result<()> {
    std::fs::create_dir_all(dir)?;
    for (path, bytes) in render_book(records, plantation, tidiness)? {
        std::fs::write(dir.join(path), bytes)?;
    }
    Ok(())
}
