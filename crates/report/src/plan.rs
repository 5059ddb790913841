//! The plan of work as files: tables, spreadsheet, calendar and crew sheets.

mod calendar;
mod cells;
mod crew_page;
mod tables;
mod titles;
mod workbook;

pub use tables::{cautions, crew_name, sheets, stuff, waiting_times};

use crate::error::ReportError;
use jiff::civil::Date;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use workplan::plan::Plan;
use workplan::text::Catalogue;

/// What a plan belongs to.
#[derive(Debug, Clone)]
pub struct PlanOf<'a> {
    /// Name of the record book.
    pub book: &'a str,
    /// Season advised for, the latest where regions differ.
    pub season: i32,
    /// Every season advised for.
    pub seasons: BTreeSet<i32>,
    /// Currency.
    pub currency: &'a str,
    /// One fingerprint of all input files.
    pub inputs: &'a str,
    /// The plan.
    pub plan: &'a Plan,
    /// Language of crew sheets and calendar.
    pub words: Catalogue,
}

/// Names of the files that [`write_plan`] writes.
pub const PLAN_FILES: [&str; 9] = [
    "workplan.xlsx",
    "workplan.csv",
    "materials.csv",
    "shopping.csv",
    "tools.csv",
    "alarms.csv",
    "missing.csv",
    "calendar.ics",
    "crew_sheets.html",
];

/// Writes the files of a plan into a folder that exists: `workplan.xlsx` and the same sheets as CSV,
/// `calendar.ics` and `crew_sheets.html`. The same plan gives the same bytes.
///
/// # Errors
/// When a file cannot be encoded or written.
pub fn write_plan(of: &PlanOf<'_>, dir: &Path) -> Result<(), ReportError> {
    let write = |name: &str, bytes: &[u8]| {
        let path = dir.join(name);
        fs::write(&path, bytes).map_err(|source| ReportError::Write { path, source })
    };
    let sheets = sheets(of.plan);
    for sheet in &sheets {
        write(sheet.file, sheet.csv().as_bytes())?;
    }
    write("workplan.xlsx", &workbook::workbook(&sheets, &cautions(of), of.inputs)?)?;
    write("calendar.ics", calendar::calendar_ics(of)?.as_bytes())?;
    write("crew_sheets.html", crew_page::crew_sheets_html(of)?.as_bytes())
}

/// One table of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// Name of the sheet.
    pub name: &'static str,
    /// Name of its CSV file.
    pub file: &'static str,
    /// Columns, in the order of the dictionary, as the CSV file names them.
    pub heads: Vec<&'static str>,
    /// The same as people read them.
    pub titles: Vec<&'static str>,
    /// Rows, each as long as the heads.
    pub rows: Vec<Vec<PlanCell>>,
}

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub enum PlanCell {
    /// No value.
    Empty,
    /// Text.
    Text(String),
    /// A word of the program's own: as CSV files write it in every language, and as people read it.
    Word {
        /// As in the CSV file.
        code: String,
        /// In the language being spoken.
        shown: String,
    },
    /// A share, 0 to 1: CSV files hold it as it is, people read per cent.
    Share(f64),
    /// A number, with the decimals a spreadsheet shows.
    Number(f64, u8),
    /// A day.
    Day(Date),
}
