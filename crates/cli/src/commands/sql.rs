//! `anacurve sql`: the yield model as queries, for records beyond one machine.

use crate::args::SqlArgs;
use crate::console::{Failure, Outcome, Stages, print_after};
use crate::pipeline;
use model::{Declaration, FitSummary, TreeSeasons, YieldSettings};
use records::counted;
use report::ReportError;
use serde::Serialize;

/// Settles the design and writes the queries.
pub fn execute(args: &SqlArgs) -> Result<Outcome, Failure> {
    super::free_for(&args.out, report::Writer::Sql)?;
    let stages = Stages::new();
    let declared = declare(args, &stages);
    stages.finish();
    let declared = declared?;
    let summary = FitSummary::of(&declared.fit).map_err(defect)?;
    let files = [
        ("rows.sql", declared.rows_sql.clone()),
        ("moments.sql", declared.moments_sql.clone()),
        ("design.json", json(&declared.model)?),
        ("local.json", json(&summary)?),
    ];
    report::publish(&args.out, report::Writer::Sql, |dir| -> Result<(), ReportError> {
        for (name, text) in &files {
            let path = dir.join(name);
            std::fs::write(&path, text).map_err(|source| ReportError::Write { path, source })?;
        }
        Ok(())
    })
    .map_err(|error| super::from_publish(&error))?;
    let dir = args.out.display();
    let text = format!(
        "The yield model of {} on the {}, family {}: {} and {} of random effects.\n\n\
         1. Run {dir}/rows.sql over the table tree_seasons; save its result as the table model_rows.\n\
         2. Run {dir}/moments.sql; save its result as Parquet or CSV.\n\
         3. anacurve fit-moments RESULT --design {dir}/design.json\n\n\
         {dir}/local.json holds the fit of this book, for comparison.\n",
        counted(declared.model.rows, "tree-season", "tree-seasons"),
        declared.model.scale.name(),
        declared.model.family.name(),
        counted(declared.model.fixed.len() as u64, "column", "columns"),
        counted(declared.model.factors.len() as u64, "factor", "factors"),
    );
    print_after(&text, Some(&args.out))?;
    Ok(Outcome::Done)
}

fn declare(args: &SqlArgs, stages: &Stages) -> Result<Declaration, Failure> {
    let checked = pipeline::check(&args.book, stages)?;
    checked.still_holds(&args.book)?;
    let table = TreeSeasons::from_batch(&checked.linked.tree_seasons).map_err(defect)?;
    stages.enter("settling the yield model");
    let settings = YieldSettings {
        scale: checked.tables.book.options.response_scale,
        // Draws are no part of a declaration.
        draws: 0,
        seed: args.seed,
        level: checked.tables.book.options.level,
    };
    Declaration::of(&table, &settings).map_err(|error| {
        Failure::new(
            error,
            "anacurve check says what is missing; anacurve run gives what such a book allows",
        )
    })
}

fn json(value: &impl Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(value).map(|text| text + "\n").map_err(defect)
}

fn defect(error: impl std::fmt::Display) -> Failure {
    Failure::new(error, "this is a defect of the program; please report it")
}
