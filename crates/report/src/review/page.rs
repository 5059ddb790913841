//! `review.html`: how the season went first, then why.

use super::content::{ReviewReport, ReviewSection};
use super::figures::figure;
use crate::error::ReportError;
use crate::how;
use crate::page::{Figure, Table};
use crate::trials::table;
use askama::Template;

/// Tables whose order says something.
const KEPT_IN_ORDER: [&str; 2] = ["by-age", "by-density"];

/// The page as the template takes it.
#[derive(Template)]
#[template(path = "review.html")]
pub struct ReviewPage<'a> {
    of: &'a ReviewReport,
    css: &'static str,
    sections: Vec<SectionView<'a>>,
}

struct SectionView<'a> {
    of: &'a ReviewSection,
    /// Table, its file and its notes.
    tables: Vec<(Table, String, &'a [String])>,
    figures: Vec<Figure>,
}

impl<'a> ReviewPage<'a> {
    /// Prepares the page.
    ///
    /// # Errors
    /// When a plot cannot be drawn.
    pub fn of(of: &'a ReviewReport) -> Result<Self, ReportError> {
        let sections = of.sections.iter().map(view).collect::<Result<Vec<_>, _>>()?;
        Ok(Self { of, css: include_str!("../../templates/style.css"), sections })
    }

    /// Every figure of the page, in its order.
    pub fn all_figures(&self) -> impl Iterator<Item = &Figure> {
        self.sections.iter().flat_map(|section| &section.figures)
    }
}

fn view(of: &ReviewSection) -> Result<SectionView<'_>, ReportError> {
    let tables = of.of.tables.iter().map(|own| {
        let mut shown = table(own);
        shown.how = how::review(&own.name);
        shown.ordered = KEPT_IN_ORDER.contains(&own.name.as_str());
        (shown.into_cards(), format!("review/{}.csv", own.name), own.notes.as_slice())
    });
    Ok(SectionView {
        of,
        tables: tables.collect(),
        figures: of.figures.iter().map(figure).collect::<Result<_, _>>()?,
    })
}

/// The figures of a review's first section, for the summary on the report's page.
///
/// # Errors
/// When a plot cannot be drawn.
pub fn review_figures(of: &ReviewReport) -> Result<Vec<Figure>, ReportError> {
    let first = of.sections.first().and_then(|section| section.figures.first());
    first.into_iter().map(figure).collect()
}
