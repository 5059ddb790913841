//! `trials.html`: one section per trial, the finding first.

use super::content::{TrialPart, TrialReport};
use super::{figures::figure, tables::table};
use crate::error::ReportError;
use crate::how;
use crate::names::stem;
use crate::page::{Fact, Figure, Table};
use askama::Template;

/// The page as the template takes it.
#[derive(Template)]
#[template(path = "trials.html")]
pub struct TrialsPage<'a> {
    book: &'a str,
    css: &'static str,
    trials: Vec<TrialView<'a>>,
}

/// A trial as the template takes it.
struct TrialView<'a> {
    anchor: String,
    workbook: String,
    of: &'a TrialReport,
    facts: Vec<Fact>,
    parts: Vec<PartView<'a>>,
}

struct PartView<'a> {
    anchor: String,
    of: &'a TrialPart,
    sections: Vec<SectionView<'a>>,
}

struct SectionView<'a> {
    heading: &'a str,
    paragraphs: &'a [String],
    /// Table, its file and its notes.
    tables: Vec<(Table, String, &'a [String])>,
    figures: Vec<Figure>,
}

impl<'a> TrialsPage<'a> {
    /// Prepares the page.
    ///
    /// # Errors
    /// When a plot cannot be drawn.
    pub fn of(book: &'a str, trials: &'a [TrialReport]) -> Result<Self, ReportError> {
        let ids = || trials.iter().map(|trial| trial.id.as_str());
        let trials = trials
            .iter()
            .map(|trial| view(trial, stem(&trial.id, ids())))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(Self { book, css: include_str!("../../templates/style.css"), trials })
    }

    /// File name and drawing of every figure.
    pub fn drawings(&self) -> impl Iterator<Item = (&str, &str)> {
        self.trials
            .iter()
            .flat_map(|trial| &trial.parts)
            .flat_map(|part| &part.sections)
            .flat_map(|section| &section.figures)
            .map(|figure| (figure.file.as_str(), figure.svg.as_str()))
    }
}

fn view(trial: &TrialReport, stem: String) -> Result<TrialView<'_>, ReportError> {
    let parts = trial.parts.iter().map(|part| part_view(&stem, part));
    Ok(TrialView {
        workbook: format!("trials/{stem}.xlsx"),
        parts: parts.collect::<Result<_, _>>()?,
        anchor: format!("trial-{stem}"),
        facts: trial
            .facts
            .iter()
            .map(|(name, value)| Fact::new(name, value, how::trial("facts")))
            .collect(),
        of: trial,
    })
}

/// The size of a trial as the template takes it.
#[derive(Template)]
#[template(path = "size.html")]
pub struct SizePage<'a> {
    css: &'static str,
    part: PartView<'a>,
}

impl<'a> SizePage<'a> {
    /// Prepares the page.
    ///
    /// # Errors
    /// When a plot cannot be drawn.
    pub fn of(part: &'a TrialPart) -> Result<Self, ReportError> {
        let mut part = part_view("trial", part)?;
        for section in &mut part.sections {
            for (_, file, _) in &mut section.tables {
                *file = file.replace("trials/trial-size-", "size/");
            }
        }
        Ok(Self { css: include_str!("../../templates/style.css"), part })
    }

    /// File name and drawing of every figure.
    pub fn drawings(&self) -> impl Iterator<Item = (&str, &str)> {
        let figures = self.part.sections.iter().flat_map(|section| &section.figures);
        figures.map(|figure| (figure.file.as_str(), figure.svg.as_str()))
    }
}

fn part_view<'a>(stem: &str, part: &'a TrialPart) -> Result<PartView<'a>, ReportError> {
    let place = format!("{stem}-{}", part.slug);
    let mut sections = Vec::new();
    for section in &part.sections {
        let tables = section.tables.iter().map(|of| {
            let file = format!("trials/{place}-{}.csv", of.name);
            (table(of), file, of.notes.as_slice())
        });
        sections.push(SectionView {
            heading: &section.heading,
            paragraphs: &section.paragraphs,
            tables: tables.collect(),
            figures: section.plots.iter().map(|of| figure(&place, of)).collect::<Result<_, _>>()?,
        });
    }
    Ok(PartView { anchor: place, of: part, sections })
}
