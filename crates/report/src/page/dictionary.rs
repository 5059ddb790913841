//! `dictionary.html`: what every field of the result files means.

use super::table::Table;
use crate::dictionary::{
    Field, advice_fields, laterals_fields, plan_table_fields, work_plan_fields,
};
use crate::error::ReportError;
use askama::Template;

#[derive(Template)]
#[template(path = "dictionary.html")]
struct DictionaryPage {
    css: &'static str,
    tables: Vec<Table>,
}

/// The page as HTML.
///
/// # Errors
/// When the template cannot be filled in.
pub fn dictionary_html() -> Result<String, ReportError> {
    let mut advice = Table::new(
        "advice.json, advice.csv and advice.parquet",
        &["Path in advice.json", "Column in the tables", "Unit or kind", "Meaning"],
    );
    for Field { path, column, unit, meaning } in advice_fields() {
        advice.row([*path, *column, *unit, *meaning]);
    }
    let mut work =
        Table::new("workplan.csv and workplan.xlsx", &["Column", "Unit or kind", "Meaning"]);
    for Field { column, unit, meaning, .. } in work_plan_fields() {
        work.row([*column, *unit, *meaning]);
    }
    let mut others = Table::new(
        "Other tables of the plan, each also a sheet of workplan.xlsx",
        &["File", "Column", "Unit or kind", "Meaning"],
    );
    for Field { path, column, unit, meaning } in plan_table_fields() {
        others.row([*path, *column, *unit, *meaning]);
    }
    let mut laterals = Table::new("laterals.json", &["Path", "Unit or kind", "Meaning"]);
    for Field { path, unit, meaning, .. } in laterals_fields() {
        laterals.row([*path, *unit, *meaning]);
    }
    let page = DictionaryPage {
        css: include_str!("../../templates/style.css"),
        tables: vec![advice, laterals, work, others],
    };
    Ok(page.render()?)
}
