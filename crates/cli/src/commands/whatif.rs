//! `anacurve whatif`: other prices, wages, yields and horizons.

use crate::args::{Format, WhatIfArgs};
use crate::console::{Failure, Outcome, Stages, print_data};
use crate::pipeline;
use crate::pipeline::advice::{self, Wanted};
use report::{Supposed, WhatIfRow, no_advice, what_if_rows};
use serde_json::json;
use words::{say, text};

/// Fits, decides, and prints what the supposed numbers bring.
pub fn execute(args: &WhatIfArgs) -> Result<Outcome, Failure> {
    let stages = Stages::new();
    let result = run(args, &stages);
    stages.finish();
    result
}

fn run(args: &WhatIfArgs, stages: &Stages) -> Result<Outcome, Failure> {
    let checked = pipeline::check(&args.book, stages)?;
    let book = &checked.tables.book;
    if let Some(region) = args.region.as_ref().filter(|id| !book.regions.contains_key(*id)) {
        let known: Vec<&str> = book.regions.keys().map(String::as_str).collect();
        return Err(Failure::new(
            format!("the book has no region '{region}'"),
            format!("its regions are {}; ids must match letter by letter", known.join(", ")),
        ));
    }
    let wanted = Wanted { challenger: false, ..Wanted::whole(args.seed) };
    let decided = advice::advise(&checked, wanted, stages)?;
    checked.still_holds(&args.book)?;
    let (advice, pictures, _) = decided.results();
    let supposed = Supposed {
        price: args.price,
        wage: args.wage,
        yield_level: args.yield_level,
        seasons: args.seasons,
    };
    let mut rows = what_if_rows(advice, pictures, &supposed).map_err(|error| {
        Failure::new(format!("{}: {}", option_of(&error.key), error.what), error.remedy)
    })?;
    rows.retain(|row| args.region.as_ref().is_none_or(|id| *id == row.region));
    if rows.is_empty() {
        return Err(Failure::new(
            "the records support no practice to reckon with",
            "`anacurve run` says for each region what is missing",
        ));
    }
    stages.finish();
    let text = match args.format {
        Format::Text => {
            let regions: Vec<&str> = rows.iter().map(|row| row.region.as_str()).collect();
            let note = no_advice(advice, &regions).map_or_else(String::new, |note| note + "\n");
            table(&advice.currency, &rows) + &note
        }
        Format::Json => to_json(&rows)?,
    };
    print_data(&text)?;
    Ok(Outcome::Done)
}

/// The option that a key of the scenario is given by: whoever asks has typed that, and no key of the book.
fn option_of(key: &str) -> &str {
    match key {
        "price_per_kg" => "--price",
        "wage_per_hour" => "--wage",
        "yield_level" => "--yield-level",
        "seasons" => "--seasons",
        other => other,
    }
}

/// Columns set under each other.
fn table(currency: &str, rows: &[WhatIfRow]) -> String {
    let names = rows.iter().map(|row| row.name.chars().count());
    let heading = text!("Region");
    let name_width = names.chain([heading.chars().count()]).max().unwrap_or_default();
    let seasons = rows.first().map_or(1, |row| row.scenario.seasons);
    let mut out = if seasons == 1 {
        say!("Money in {currency}, in one season.")
    } else {
        say!("Money in {currency}, summed over {seasons} seasons.")
    };
    out.push('\n');
    let heads = WhatIfRow::HEADS.map(|head| head.get().to_owned());
    let cells: Vec<[String; 5]> = rows.iter().map(WhatIfRow::cells).collect();
    let mut widths = heads.each_ref().map(|head| head.chars().count());
    for row in &cells {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let mut line = |name: &str, cells: &[String; 5]| {
        out.push_str(&format!("{name:name_width$}"));
        for (cell, width) in cells.iter().zip(widths) {
            out.push_str(&format!("  {cell:>width$}"));
        }
        out.push('\n');
    };
    line(heading, &heads);
    for (row, cells) in rows.iter().zip(&cells) {
        line(&row.name, cells);
    }
    out
}

fn to_json(rows: &[WhatIfRow]) -> Result<String, Failure> {
    let rows: Vec<_> = rows
        .iter()
        .map(|row| {
            json!({
                "region": row.region, "name": row.name, "scenario": row.scenario,
                "outcome": row.outcome, "shown": row.cells(),
            })
        })
        .collect();
    serde_json::to_string_pretty(&rows)
        .map(|text| text + "\n")
        .map_err(|error| Failure::new(error, "this is a defect of the program; please report it"))
}
