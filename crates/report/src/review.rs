//! The season review's page and tables; every number comes computed.

mod content;
mod figures;
mod page;

pub use content::{
    BlockMap, IntervalRow, Intervals, MappedTree, PartsPlot, PartsRow, ReviewFigure, ReviewReport,
    ReviewSection, TreeFlag,
};
pub use page::review_figures;

use crate::error::ReportError;
use crate::escape::with_code;
use crate::page::dictionary_html;
use crate::trials::{csv, sections_workbook};
use askama::Template;
use std::fs;
use std::path::Path;

/// Writes `review.html`, `dictionary.html`, `review.xlsx`, `review/*.csv` (one per table) and `review/*.svg` into `dir`,
/// which is created when absent. The same review gives the same bytes. `inputs` is the fingerprint of
/// the input files, which the workbook carries.
///
/// # Errors
/// When a file cannot be encoded or written; files written before stay.
pub fn write_review(review: &ReviewReport, inputs: &str, dir: &Path) -> Result<(), ReportError> {
    let folder = dir.join("review");
    fs::create_dir_all(&folder)
        .map_err(|source| ReportError::Write { path: folder.clone(), source })?;
    let write = |path: &Path, bytes: &[u8]| {
        fs::write(path, bytes)
            .map_err(|source| ReportError::Write { path: path.to_owned(), source })
    };
    let page = page::ReviewPage::of(review)?;
    for figure in page.all_figures() {
        write(&folder.join(&figure.file), figure.svg.as_bytes())?;
    }
    let sections = || review.sections.iter().map(|section| &section.of);
    for table in sections().flat_map(|section| &section.tables) {
        write(&folder.join(format!("{}.csv", table.name)), csv(table).as_bytes())?;
    }
    let title = format!("{}: {}", review.title, review.book);
    let workbook = sections_workbook((&title, inputs), &review.answers, sections())?;
    write(&dir.join("review.xlsx"), &workbook)?;
    write(&dir.join("dictionary.html"), dictionary_html("review.html")?.as_bytes())?;
    write(&dir.join("review.html"), with_code(&page.render()?).as_bytes())
}
