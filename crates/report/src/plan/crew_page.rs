//! `crew_sheets.html`: one printed page per block with work, or with trees that are to be left alone.

use super::PlanOf;
use crate::error::ReportError;
use crate::escape::with_code;
use crate::names::printable;
use askama::Template;
use words::text;
use workplan::crew_sheet::CrewSheet;
use workplan::text::Key;

#[derive(Template)]
#[template(path = "crew_sheets.html")]
struct CrewPage<'a> {
    css: &'static str,
    language: &'static str,
    title: String,
    tools: &'static str,
    sheets: &'a [CrewSheet],
    /// What the link to each sheet says, which tells two sheets of one block apart.
    links: Vec<String>,
}

/// Titles of sheets, with the work where several sheets share one, as the parts of a block, and a number where they
/// share that too.
fn links(sheets: &[CrewSheet]) -> Vec<String> {
    let shared = |same: &dyn Fn(&CrewSheet) -> bool| sheets.iter().filter(|own| same(own)).count();
    let link = |(at, sheet): (usize, &CrewSheet)| {
        let (title, work) = (&sheet.title, &sheet.work);
        let is_same = |own: &CrewSheet| (&own.title, &own.work) == (title, work);
        if shared(&|own| own.title == *title) < 2 {
            title.clone()
        } else if shared(&is_same) < 2 {
            format!("{title}: {work}")
        } else {
            let number = 1 + sheets.iter().take(at).filter(|own| is_same(own)).count();
            format!("{title}: {work} ({number})")
        }
    };
    sheets.iter().enumerate().map(link).collect()
}

/// The book with every season that its regions are advised for.
fn title(of: &PlanOf<'_>) -> String {
    let seasons: Vec<String> = of.seasons.iter().map(ToString::to_string).collect();
    let seasons =
        if seasons.is_empty() { of.season.to_string() } else { seasons.join(text!(" and ")) };
    format!("{}, {seasons}", printable(of.book))
}

/// The page as HTML. It needs no network, and each sheet is one A4 page on paper.
pub(super) fn crew_sheets_html(of: &PlanOf<'_>) -> Result<String, ReportError> {
    let sheets: Vec<CrewSheet> = of
        .plan
        .blocks
        .iter()
        .filter(|block| block.sheet.trees_worked > 0 || !block.sheet.in_trials.is_empty())
        .map(|block| block.crew_sheet(&of.words))
        .collect();
    let page = CrewPage {
        css: include_str!("../../templates/crew_sheets.css"),
        language: of.words.language,
        title: title(of),
        tools: of.words.text(Key::Tools),
        links: links(&sheets),
        sheets: &sheets,
    };
    Ok(with_code(&page.render()?))
}
