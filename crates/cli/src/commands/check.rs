//! `anacurve check`: reads and links a book and says what it found.

mod text;
mod trials;

use crate::args::{CheckArgs, Format};
use crate::commands::{cache_apart, from_publish, no_book};
use crate::console::{Failure, Outcome, Stages, print_after};
use crate::pipeline::{self, Checked, Reading, advice};
use ingest_tables::SpotCheck;
use records::Code;
use report::PublishError;
use std::path::Path;
use trials::FoundTrial;
pub use trials::trial_problems;

/// Rows of each file of visits shown for comparison with the field books.
const SPOT_CHECKS: usize = 2;

/// Prints what was kept, repaired, set aside and linked.
pub fn execute(args: &CheckArgs) -> Result<Outcome, Failure> {
    if let Some(dir) = &args.out {
        no_book(dir, "--out", "the tables")?;
    }
    cache_apart(args.cache.as_deref())?;
    let stages = Stages::new();
    let reading = Reading { cache: args.cache.as_deref(), ..Reading::default() };
    let checked = pipeline::check_wanted(&args.book, reading, &stages);
    stages.finish();
    let mut checked = checked?;
    let drawn =
        checked.tables.spot_checks(SPOT_CHECKS, args.seed).map_err(pipeline::from_ingest)?;
    let (found, problems) = trials::of(&checked, &args.book)?;
    checked.linked.problems.extend(problems);
    // What a run would refuse is told before it.
    if !checked.linked.problems.iter().any(|problem| problem.code == Code::SettingMissing) {
        let uncosted = advice::uncosted(&checked)?;
        checked.linked.problems.extend(uncosted);
    }
    checked.still_holds(&args.book)?;
    if let Some(dir) = &args.out {
        report::publish_into(dir, |dir| write_tables(&checked, dir)).map_err(
            |error| match error {
                PublishError::Write(failure) => failure,
                other => from_publish(&other),
            },
        )?;
    }
    let text = match args.format {
        Format::Text => text::of(&checked, &found, &drawn, args.seed),
        Format::Json => json(&checked, &found, &drawn, args.seed)?,
    };
    print_after(&text, args.out.as_deref())?;
    Ok(if checked.has_findings() { Outcome::Findings } else { Outcome::Done })
}

/// Writes the linked table and the quarantine into a folder.
pub fn write_tables(checked: &Checked, dir: &Path) -> Result<(), Failure> {
    let failed = |error: &dyn std::fmt::Display| {
        Failure::new(
            format!("cannot write to {}: {error}", dir.display()),
            "check free space and permissions, or name another folder with --out",
        )
    };
    std::fs::create_dir_all(dir).map_err(|error| failed(&error))?;
    let inputs = checked.tables.fingerprint();
    let path = dir.join("tree_seasons.parquet");
    ingest_seasons::write_parquet(&checked.linked.tree_seasons, &inputs, &path)
        .map_err(|error| failed(&error))?;
    std::fs::File::create(dir.join("quarantine.csv"))
        .map(std::io::BufWriter::new)
        .and_then(|file| ingest_tables::write_quarantine(file, &checked.tables.quarantine, &inputs))
        .map_err(|error| failed(&error))
}

fn json(
    checked: &Checked,
    found: &[FoundTrial],
    drawn: &[SpotCheck],
    seed: u64,
) -> Result<String, Failure> {
    let value = serde_json::json!({
        "book": checked.tables.book.book.name,
        "files": checked.tables.files,
        "linked": checked.linked.summary,
        "practice": checked.linked.practice,
        "trials": found,
        "problems": checked.problems(),
        "quarantine": checked.tables.quarantine,
        "spot_checks": { "seed": seed, "rows": drawn },
    });
    serde_json::to_string_pretty(&value)
        .map(|text| text + "\n")
        .map_err(|error| Failure::new(error, ""))
}
