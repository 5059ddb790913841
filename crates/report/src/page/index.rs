//! `index.html`: the answer first, then each region, the work, the data and the method.

use super::method::{coefficients, facts, spreads};
use super::overview::{answer, figures};
use super::quality::{files, findings, linked};
use super::region::{RegionView, regions};
use super::table::{Fact, Figure, Table};
use super::what_if::{WhatIfView, what_if};
use super::work::{WorkView, work};
use crate::content::{MethodItem, Report};
use crate::error::ReportError;
use crate::how;
use crate::number::{count, percent};
use crate::review::review_figures;
use crate::text;
use askama::Template;
use words::say;

/// The page as the template takes it.
#[derive(Template)]
#[template(path = "index.html")]
pub struct IndexPage<'a> {
    report: &'a Report,
    title: String,
    css: &'static str,
    how_to_read: String,
    /// That regions are advised for different seasons, where they are.
    other_seasons: String,
    to_look_at: String,
    answer: Table,
    compare: Vec<Figure>,
    regions: Vec<RegionView>,
    what_if: Option<WhatIfView>,
    season: Vec<Figure>,
    work: WorkView,
    files: Table,
    linked: Table,
    quarantined: String,
    findings: Table,
    findings_how: String,
    sentences: &'a [MethodItem],
    facts: Vec<Fact>,
    coefficients: Table,
    spreads: Table,
}

impl IndexPage<'_> {
    /// Every figure of the page, in its order.
    pub fn all_figures(&self) -> impl Iterator<Item = &Figure> {
        self.compare.iter().chain(self.regions.iter().flat_map(RegionView::all_figures))
    }
}

/// Prepares the page.
///
/// # Errors
/// When a plot cannot be drawn.
pub fn index_page(report: &Report) -> Result<IndexPage<'_>, ReportError> {
    let quality = &report.quality;
    let method = &report.method;
    Ok(IndexPage {
        report,
        title: say!(
            "{book}, season {season}",
            book = report.advice.book,
            season = report.advice.season
        ),
        css: include_str!("../../templates/style.css"),
        other_seasons: crate::sentence::other_seasons(&report.advice.regions),
        to_look_at: super::quality::to_look_at(&report.quality),
        how_to_read: text::how_to_read(&percent(report.advice.tolerance_pct / 100.0)),
        answer: answer(report),
        compare: figures(report)?,
        regions: regions(report)?,
        what_if: what_if(report),
        season: review_figures(&report.review)?,
        work: work(report),
        files: files(&quality.files),
        linked: linked(&quality.linked),
        quarantined: text::quarantined(&count(quality.quarantine_rows)),
        findings: findings(quality).into_cards(),
        findings_how: how::page("findings"),
        sentences: &method.sentences,
        facts: facts(method),
        coefficients: coefficients(method),
        spreads: spreads(method),
    })
}
