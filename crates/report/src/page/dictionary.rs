//! `dictionary.html`: what every field of the result files means.

use super::table::Table;
use crate::dictionary::{
    Field, advice_fields, laterals_fields, page_fields, plan_table_fields, review_fields,
    trial_fields, work_plan_fields,
};
use crate::error::ReportError;
use crate::how::Part;
use askama::Template;

#[derive(Template)]
#[template(path = "dictionary.html")]
struct DictionaryPage<'a> {
    back: &'a str,
    css: &'static str,
    tables: Vec<Table>,
}

/// The page as HTML, with a link back to the page that it stands beside.
///
/// # Errors
/// When the template cannot be filled in.
pub fn dictionary_html(back: &str) -> Result<String, ReportError> {
    let advice = table(
        Part::Advice,
        "advice.json, advice.csv and advice.parquet",
        ["Path in advice.json", "Column in the tables", "Unit or kind", "Meaning"],
        advice_fields(),
        |field| [field.path, field.column, field.unit, field.meaning],
    );
    let laterals = table(
        Part::Laterals,
        "laterals.json",
        ["Path", "Unit or kind", "Meaning"],
        laterals_fields(),
        |field| [field.path, field.unit, field.meaning],
    );
    let work = table(
        Part::WorkPlan,
        "workplan.csv and workplan.xlsx",
        ["Column", "Unit or kind", "Meaning"],
        work_plan_fields(),
        |field| [field.column, field.unit, field.meaning],
    );
    let others = table(
        Part::PlanTables,
        "Other tables of the plan, each also a sheet of workplan.xlsx",
        ["File", "Column", "Unit or kind", "Meaning"],
        plan_table_fields(),
        |field| [field.path, field.column, field.unit, field.meaning],
    );
    let page_heads = ["Number", "Unit or kind", "How it is computed"];
    let shown = |field: &Field| [field.column, field.unit, field.meaning];
    let pages = [
        table(Part::Page, "Numbers of the report's page", page_heads, page_fields(), shown),
        table(Part::Trials, "Tables and figures of trials.html", page_heads, trial_fields(), shown),
        table(
            Part::Review,
            "Tables and figures of review.html",
            page_heads,
            review_fields(),
            shown,
        ),
    ];
    let page = DictionaryPage {
        back,
        css: include_str!("../../templates/style.css"),
        tables: [advice, laterals, work, others].into_iter().chain(pages).collect(),
    };
    Ok(page.render()?)
}

/// Fields as a table whose rows can be linked to.
fn table<const N: usize>(
    part: Part,
    caption: &str,
    heads: [&str; N],
    fields: &[Field],
    cells: impl Fn(&Field) -> [&'static str; N],
) -> Table {
    let mut table = Table::new(caption, heads);
    for field in fields {
        table.row(cells(field));
        table.ids.push(part.anchor(field));
    }
    table
}
