//! Writes every output of a run into a folder.

use crate::content::Report;
use crate::error::ReportError;
use crate::escape::with_code;
use crate::files::{advice_csv, advice_json, advice_parquet, laterals_json};
use crate::page::{dictionary_html, index_page};
use crate::plan::{PlanOf, write_plan};
use crate::review::write_review;
use crate::trials::write_trials;
use askama::Template;
use std::fs;
use std::path::Path;
use workplan::text::Catalogue;

/// Writes `index.html`, `dictionary.html`, `advice.json|csv|parquet`, `laterals.json`, the files of
/// [`write_plan`] and [`write_review`], `plots/*.svg` and, with trials, `trials.html` and `trials/` into `dir`, which is created when absent. The same report
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
    write(dir, "index.html", with_code(&page.render()?).as_bytes())?;
    write(dir, "advice.json", advice_json(&report.advice)?.as_bytes())?;
    write(dir, "advice.csv", advice_csv(&report.advice)?.as_bytes())?;
    write(dir, "advice.parquet", &advice_parquet(&report.advice)?)?;
    write(dir, "laterals.json", laterals_json(&report.laterals)?.as_bytes())?;
    write_plan(&plan_of(report), dir)?;
    write_review(&report.review, &report.advice.inputs, dir)?;
    write_trials(&report.advice.book, &report.trials, &report.advice.inputs, dir)?;
    // Review's and trials' own copies lead back to them; beside the report it leads back to the report.
    write(dir, "dictionary.html", dictionary_html("index.html")?.as_bytes())
}

/// The plan of a report, in the language of the page.
pub fn plan_of(report: &Report) -> PlanOf<'_> {
    PlanOf {
        book: &report.advice.book,
        season: report.advice.season,
        seasons: report.advice.seasons(),
        currency: &report.advice.currency,
        inputs: &report.advice.inputs,
        plan: &report.plan,
        words: Catalogue::spoken(),
    }
}

fn write(dir: &Path, name: &str, bytes: &[u8]) -> Result<(), ReportError> {
    let path = dir.join(name);
    fs::write(&path, bytes).map_err(|source| ReportError::Write { path, source })
}
