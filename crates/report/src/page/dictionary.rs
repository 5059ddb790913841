//! `dictionary.html`: what every field of the result files means.

use super::table::Table;
use crate::dictionary::{
    Field, advice_fields, laterals_fields, page_fields, plan_table_fields, quarantine_fields,
    review_fields, trial_fields, work_plan_fields,
};
use crate::error::ReportError;
use crate::escape::with_code;
use crate::how::Part;
use askama::Template;
use words::text;

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
        text!("advice.json, advice.csv and advice.parquet"),
        [
            text!("Path in advice.json"),
            text!("Column in the tables"),
            text!("Unit or kind"),
            text!("Meaning"),
        ],
        advice_fields(),
        |field| [field.path, field.column, field.unit.get(), field.meaning.get()],
    );
    let laterals = table(
        Part::Laterals,
        "laterals.json",
        [text!("Path"), text!("Unit or kind"), text!("Meaning")],
        laterals_fields(),
        |field| [field.path, field.unit.get(), field.meaning.get()],
    );
    let work = table(
        Part::WorkPlan,
        text!("workplan.csv and workplan.xlsx"),
        [text!("Column"), text!("Unit or kind"), text!("Meaning")],
        work_plan_fields(),
        |field| [field.column, field.unit.get(), field.meaning.get()],
    );
    let others = table(
        Part::PlanTables,
        text!("Other tables of the plan, each also a sheet of workplan.xlsx"),
        [text!("File"), text!("Column"), text!("Unit or kind"), text!("Meaning")],
        plan_table_fields(),
        |field| [field.path, field.column, field.unit.get(), field.meaning.get()],
    );
    let set_aside = table(
        Part::Quarantine,
        "quarantine.csv",
        [text!("Column"), text!("Unit or kind"), text!("Meaning")],
        quarantine_fields(),
        |field| [field.column, field.unit.get(), field.meaning.get()],
    );
    let page_heads = [text!("Number"), text!("Unit or kind"), text!("How it is computed")];
    let shown = |field: &Field| [field.title.get(), field.unit.get(), field.meaning.get()];
    let pages = [
        table(Part::Page, text!("Numbers of the report's page"), page_heads, page_fields(), shown),
        table(
            Part::Trials,
            text!("Tables and figures of trials.html"),
            page_heads,
            trial_fields(),
            shown,
        ),
        table(
            Part::Review,
            text!("Tables and figures of review.html"),
            page_heads,
            review_fields(),
            shown,
        ),
    ];
    let page = DictionaryPage {
        back,
        css: include_str!("../../templates/style.css"),
        tables: [advice, laterals, work, others, set_aside].into_iter().chain(pages).collect(),
    };
    Ok(with_code(&page.render()?))
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
