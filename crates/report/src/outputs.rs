//! Writes every output of a run into a folder.

use crate::content::Report;
use crate::error::ReportError;
use crate::files::{
    advice_csv, advice_json, advice_parquet, calendar_ics, laterals_json, workplan_csv,
    workplan_xlsx,
};
use crate::page::{dictionary_html, index_page};
use crate::trials::write_trials;
use askama::Template;
use std::fs;
use std::path::Path;

/// Writes `index.html`, `dictionary.html`, `advice.json|csv|parquet`, `laterals.json`, `workplan.csv|xlsx`,
/// `calendar.ics`, `plots/*.svg` and, with trials, `trials.html` and `trials/` into `dir`, which is created when absent. The same report
/// gives the same bytes.
///
/// # Errors
/// When a file cannot be encoded or written; files written before stay. Use [`crate::publish`] to
/// replace a folder as a whole.
pub fn write_outputs(report: &Report, dir: &Path) -> Result<(), ReportError> {
    let plots = dir.join("plots");
    fs::create_dir_all(&plots)
        .map_err(|source| ReportError::Write { path: plots.clone(), source })?;
    let page = index_page(report)?;
    for figure in page.all_figures() {
        write(&plots, &figure.file, figure.svg.as_bytes())?;
    }
    write(dir, "index.html", page.render()?.as_bytes())?;
    write(dir, "dictionary.html", dictionary_html()?.as_bytes())?;
    write(dir, "advice.json", advice_json(&report.advice)?.as_bytes())?;
    write(dir, "advice.csv", advice_csv(&report.advice)?.as_bytes())?;
    write(dir, "advice.parquet", &advice_parquet(&report.advice)?)?;
    write(dir, "laterals.json", laterals_json(&report.laterals)?.as_bytes())?;
    write(dir, "workplan.csv", workplan_csv(&report.work).as_bytes())?;
    write(dir, "workplan.xlsx", &workplan_xlsx(report)?)?;
    write_trials(&report.advice.book, &report.trials, dir)?;
    write(dir, "calendar.ics", calendar_ics(report)?.as_bytes())
}

fn write(dir: &Path, name: &str, bytes: &[u8]) -> Result<(), ReportError> {
    let path = dir.join(name);
    fs::write(&path, bytes).map_err(|source| ReportError::Write { path, source })
}
