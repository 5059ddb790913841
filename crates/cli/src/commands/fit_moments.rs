//! `anacurve fit-moments`: the yield model from a table of sums.

use crate::args::{FitMomentsArgs, Format};
use crate::console::{Failure, Outcome, print_data};
use mixed::{Settings, Status};
use model::{DeclaredModel, FitSummary, SUM_COLUMNS, SumLine};
use records::counted;
use std::fs::File;
use std::path::{Path, PathBuf};

const TABLE_HINT: &str =
    "give the result of moments.sql as one Parquet or CSV file, or a folder of such files";

/// Fits and prints.
pub fn execute(args: &FitMomentsArgs) -> Result<Outcome, Failure> {
    let model = design(&args.design)?;
    let mut lines = Vec::new();
    for path in files(&args.table)? {
        lines.extend(read(&path)?);
    }
    let fit = model.fit(&lines, &Settings::default()).map_err(|error| {
        Failure::new(
            format!("{}: {error}", args.table.display()),
            "run rows.sql and moments.sql again over the same tree_seasons, keep design.json with them, and give every file of the result",
        )
    })?;
    let summary = FitSummary::of(&fit).map_err(|error| Failure::new(error, ""))?;
    let text = match args.format {
        Format::Json => {
            serde_json::to_string_pretty(&summary).map_err(|error| Failure::new(error, ""))? + "\n"
        }
        Format::Text => text(&model, &summary),
    };
    print_data(&text)?;
    Ok(match fit.status() {
        Status::NotConverged { .. } | Status::Unidentified { .. } => Outcome::Findings,
        Status::Interior | Status::Boundary { .. } => Outcome::Done,
    })
}

fn design(path: &Path) -> Result<DeclaredModel, Failure> {
    let hint = "name the design.json that anacurve sql wrote beside the queries";
    let failed =
        |error: &dyn std::fmt::Display| Failure::new(format!("{}: {error}", path.display()), hint);
    let text = std::fs::read_to_string(path).map_err(|error| failed(&error))?;
    serde_json::from_str(&text).map_err(|error| failed(&error))
}

/// The file, or the Parquet and CSV files of the folder by name.
fn files(path: &Path) -> Result<Vec<PathBuf>, Failure> {
    if !path.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let failed = |error: &dyn std::fmt::Display| {
        Failure::new(format!("{}: {error}", path.display()), TABLE_HINT)
    };
    let mut found = Vec::new();
    for entry in std::fs::read_dir(path).map_err(|error| failed(&error))? {
        let file = entry.map_err(|error| failed(&error))?.path();
        // Engines leave marks of theirs among the files.
        let hidden = file.file_name().is_some_and(|name| {
            let name = name.to_string_lossy();
            name.starts_with(['.', '_'])
        });
        if !hidden && file.extension().is_some_and(|kind| kind == "parquet" || kind == "csv") {
            found.push(file);
        }
    }
    found.sort();
    if found.is_empty() { Err(failed(&"no file ends in .parquet or .csv")) } else { Ok(found) }
}

fn read(path: &Path) -> Result<Vec<SumLine>, Failure> {
    let failed = |error: &dyn std::fmt::Display| {
        Failure::new(format!("{}: {error}", path.display()), TABLE_HINT)
    };
    if path.extension().is_some_and(|kind| kind == "csv") {
        return read_csv(path);
    }
    let file = File::open(path).map_err(|error| failed(&error))?;
    model::sum_lines_of_parquet(file).map_err(|error| failed(&error))
}

fn read_csv(path: &Path) -> Result<Vec<SumLine>, Failure> {
    let failed = |error: &dyn std::fmt::Display| {
        Failure::new(format!("{}: {error}", path.display()), TABLE_HINT)
    };
    let mut reader = csv::Reader::from_path(path).map_err(|error| failed(&error))?;
    let headers = reader.headers().map_err(|error| failed(&error))?.clone();
    let mut places = [0; SUM_COLUMNS.len()];
    for (place, name) in places.iter_mut().zip(SUM_COLUMNS) {
        let found = headers.iter().position(|header| header == name);
        *place = found.ok_or_else(|| failed(&format!("there is no column {name}")))?;
    }
    let mut lines = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| failed(&error))?;
        let line = record.position().map_or(0, csv::Position::line);
        let text = |column: usize| record.get(places[column]).unwrap_or_default();
        let number = |column: usize| {
            text(column).trim().parse::<f64>().map_err(|_| {
                let (name, found) = (SUM_COLUMNS[column], text(column));
                Failure::new(
                    format!("{}:{line}: {name} is '{found}', not a number", path.display()),
                    TABLE_HINT,
                )
            })
        };
        lines.push(SumLine {
            kind: text(0).to_owned(),
            n_whole: number(1)?,
            n_part: number(2)?,
            part_class: number(3)?,
            factor_a: number(4)?,
            level_a: text(5).to_owned(),
            factor_b: number(6)?,
            level_b: text(7).to_owned(),
            cell: number(8)?,
            amount: number(9)?,
            n_lines: number(10)?,
        });
    }
    Ok(lines)
}

fn text(model: &DeclaredModel, summary: &FitSummary) -> String {
    let mut out = format!(
        "Yield model of {}, on the {}: {}.\n\
         -2 log restricted likelihood {:.6}, residual standard deviation {:.6}.\n\n\
         {:<44} {:>12} {:>12}\n",
        counted(summary.rows, "tree-season", "tree-seasons"),
        model.scale.name(),
        summary.status,
        summary.criterion,
        summary.sigma,
        "coefficient",
        "estimate",
        "std. error"
    );
    let shown = |x: Option<f64>| x.map_or_else(|| "not told".to_owned(), |x| format!("{x:.6}"));
    for line in &summary.coefficients {
        out.push_str(&format!(
            "{:<44} {:>12} {:>12}\n",
            line.name,
            shown(line.estimate),
            shown(line.std_error)
        ));
    }
    out.push_str(&format!("\n{:<44} {:>12}\n", "spread over the residual's", "ratio"));
    for line in &summary.theta {
        out.push_str(&format!("{:<44} {:>12.6}\n", line.name, line.value));
    }
    out
}
