//! The trials' page and its tables, ready to paste into a paper; every number comes computed.

mod content;
mod figures;
mod page;
mod tables;
mod workbook;

pub use content::{
    TrialCell, TrialHead, TrialPart, TrialPlot, TrialPoint, TrialReport, TrialSection, TrialSeries,
    TrialTable,
};

pub use tables::{csv, table};
pub use workbook::sections_workbook;

use crate::error::ReportError;
use crate::escape::with_code;
use crate::names::stem;
use crate::page::dictionary_html;
use askama::Template;
use std::fs;
use std::path::Path;

/// Writes `size.html`, `dictionary.html`, `size/*.csv` and `size/*.svg` into `dir`, which is created when absent.
///
/// # Errors
/// When a file cannot be encoded or written; files written before stay.
pub fn write_size(part: &TrialPart, dir: &Path) -> Result<(), ReportError> {
    let folder = dir.join("size");
    fs::create_dir_all(&folder)
        .map_err(|source| ReportError::Write { path: folder.clone(), source })?;
    let write = |path: &Path, bytes: &[u8]| {
        fs::write(path, bytes)
            .map_err(|source| ReportError::Write { path: path.to_owned(), source })
    };
    let page = page::SizePage::of(part)?;
    for (file, svg) in page.drawings() {
        write(&folder.join(file), svg.as_bytes())?;
    }
    for table in part.sections.iter().flat_map(|section| &section.tables) {
        let name = format!("{}.csv", table.name);
        write(&folder.join(name), tables::csv(table).as_bytes())?;
    }
    write(&dir.join("dictionary.html"), dictionary_html("size.html")?.as_bytes())?;
    write(&dir.join("size.html"), with_code(&page.render()?).as_bytes())
}

/// Writes `trials.html`, `dictionary.html`, `trials/*.csv` (one per table), `trials/*.xlsx` (one per trial),
/// `trials/*.toml` and `trials/*.svg` into `dir`, which is created when absent; nothing without trials. The same trials
/// give the same bytes. `inputs` is the fingerprint of the input files, which workbooks carry.
///
/// # Errors
/// When a file cannot be encoded or written; files written before stay.
pub fn write_trials(
    book: &str,
    trials: &[TrialReport],
    inputs: &str,
    dir: &Path,
) -> Result<(), ReportError> {
    if trials.is_empty() {
        return Ok(());
    }
    let folder = dir.join("trials");
    fs::create_dir_all(&folder)
        .map_err(|source| ReportError::Write { path: folder.clone(), source })?;
    let write = |path: &Path, bytes: &[u8]| {
        fs::write(path, bytes)
            .map_err(|source| ReportError::Write { path: path.to_owned(), source })
    };
    let page = page::TrialsPage::of(book, trials)?;
    for (file, svg) in page.drawings() {
        write(&folder.join(file), svg.as_bytes())?;
    }
    for trial in trials {
        let stem = stem(&trial.id, trials.iter().map(|other| other.id.as_str()));
        for part in &trial.parts {
            for table in part.sections.iter().flat_map(|section| &section.tables) {
                let name = format!("{stem}-{}-{}.csv", part.slug, table.name);
                write(&folder.join(name), tables::csv(table).as_bytes())?;
            }
            for (ending, text) in &part.files {
                write(&folder.join(format!("{stem}-{}-{ending}", part.slug)), text.as_bytes())?;
            }
        }
        write(&folder.join(format!("{stem}.xlsx")), &workbook::workbook(trial, inputs)?)?;
    }
    write(&dir.join("dictionary.html"), dictionary_html("trials.html")?.as_bytes())?;
    write(&dir.join("trials.html"), with_code(&page.render()?).as_bytes())
}
