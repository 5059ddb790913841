//! The what-if: a few scenarios as a table, and a form where scripts run.

use super::table::{Head, Table};
use crate::content::Report;
use crate::how;
use crate::names::printable;
use crate::number::{DASH, unbroken};
use crate::text;
use crate::what_if::{WhatIfRow, asked, no_advice};
use words::{Text, constant, say};
use workplan::economics::{Scenario, WHAT_IF_SCRIPT};

/// The form's own part of the script.
const FORM: &str = include_str!("../../templates/what_if_form.js");
/// Scenarios of the table: heading, factors of price, wage and yield.
const SCENARIOS: [(Text, f64, f64, f64); 5] = [
    (constant!("As expected"), 1.0, 1.0, 1.0),
    (constant!("Price − 25 %"), 0.75, 1.0, 1.0),
    (constant!("Price + 25 %"), 1.25, 1.0, 1.0),
    (constant!("Wage + 25 %"), 1.0, 1.25, 1.0),
    (constant!("Yield − 25 %"), 1.0, 1.0, 0.75),
];

/// The section as the template takes it.
pub struct WhatIfView {
    /// The scenarios.
    pub table: Table,
    /// Link to how it is computed.
    pub how: String,
    /// Columns of the form's answer.
    pub heads: [Text; 5],
    /// Regions of the form's answer.
    pub names: Vec<String>,
    /// Longest horizon.
    pub seasons: usize,
    /// The command that gives the digits of the form: what stands before its numbers and after them, and whole for
    /// the numbers that the form begins with, where a price or wage left open is each region's own.
    pub command: [String; 3],
    /// What the script reckons with.
    pub json: String,
    /// Label of the price.
    pub price: String,
    /// Label of the wage.
    pub wage: String,
    /// What the answer's amounts are.
    pub summed: String,
    /// Of which regions the answer is of no advice; empty where of none.
    pub no_advice: String,
    /// The script.
    pub script: String,
}

/// The section; `None` when no region has draws.
pub fn what_if(report: &Report) -> Option<WhatIfView> {
    let regions = asked(&report.advice, &report.pictures);
    let seasons = regions.iter().map(|(_, _, planned)| planned.what_if.seasons.len()).min()?;
    let link = how::page("what-if");
    let head = |words: String| Head::from(unbroken(&words)).how(link.clone());
    let mut heads = vec![Head::from(text::C_REGION.get())];
    heads.extend(SCENARIOS.iter().map(|(words, ..)| head(format!("#{words}"))));
    if seasons > 1 {
        heads.push(head(say!("#As expected, {seasons} seasons")));
    }
    let caption = say!("Gain per tree ({}) and chance of loss", report.advice.currency);
    let mut table = Table::new(caption, heads);
    table.cards = true;
    for (region, name, planned) in &regions {
        let ask = |price: f64, wage: f64, yield_level: f64, seasons: usize| {
            let scenario = Scenario {
                price_per_kg: price * planned.price_per_kg,
                wage_per_hour: wage * planned.wage_per_hour,
                yield_level,
                seasons,
            };
            let row = planned.what_if.at(&scenario).map(|outcome| WhatIfRow {
                region: (*region).to_owned(),
                name: (*name).to_owned(),
                scenario,
                outcome,
            });
            row.map_or_else(
                |_| DASH.to_owned(),
                |row| {
                    let [_, _, gain, _, loss] = row.cells();
                    format!("{gain} ({})", unbroken(&loss))
                },
            )
        };
        let mut cells = vec![(*name).to_owned()];
        cells.extend(SCENARIOS.map(|(_, price, wage, level)| ask(price, wage, level, 1)));
        cells.extend((seasons > 1).then(|| ask(1.0, 1.0, 1.0, seasons)));
        table.row(cells);
    }
    let currency = &report.advice.currency;
    let (before, after) = ("anacurve whatif BOOK", format!("--seed {}", report.advice.seed));
    let first = format!("{before} --yield-level 1 --seasons 1 {after}");
    let data: Vec<_> = regions.iter().map(|(_, _, planned)| planned).collect();
    Some(WhatIfView {
        table,
        how: link,
        heads: WhatIfRow::HEADS,
        names: regions.iter().map(|(_, name, _)| (*name).to_owned()).collect(),
        seasons,
        command: [before.to_owned(), after, first],
        // A text that holds `<` could end the script element.
        json: printable(&serde_json::to_string(&data).ok()?).replace('<', "\\u003c"),
        price: say!("Price ({currency} per kg)"),
        wage: say!("Wage ({currency} per hour)"),
        summed: say!("Summed over the seasons, in {currency}"),
        no_advice: no_advice(
            &report.advice,
            &regions.iter().map(|(region, ..)| *region).collect::<Vec<_>>(),
        )
        .unwrap_or_default(),
        script: format!("{WHAT_IF_SCRIPT}\n{FORM}"),
    })
}
