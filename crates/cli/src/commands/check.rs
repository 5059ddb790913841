//! `anacurve check`: reads and links a book and says what it found.

use crate::args::{CheckArgs, Format};
use crate::console::{Failure, Outcome, Stages, print_data};
use crate::pipeline::{self, Checked};
use records::Severity;
use std::fmt::Write as _;
use std::path::Path;

/// Prints what was kept, repaired, set aside and linked.
pub fn execute(args: &CheckArgs) -> Result<Outcome, Failure> {
    let stages = Stages::new();
    let checked = pipeline::check(&args.book, &stages);
    stages.finish();
    let checked = checked?;
    if let Some(dir) = &args.out {
        write_tables(&checked, dir)?;
    }
    let text = match args.format {
        Format::Text => text(&checked),
        Format::Json => json(&checked)?,
    };
    print_data(&text)?;
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
    ingest_seasons::write_parquet(&checked.linked.tree_seasons, &dir.join("tree_seasons.parquet"))
        .map_err(|error| failed(&error))?;
    std::fs::File::create(dir.join("quarantine.csv"))
        .map(std::io::BufWriter::new)
        .and_then(|file| ingest_tables::write_quarantine(file, &checked.tables.quarantine))
        .map_err(|error| failed(&error))
}

fn json(checked: &Checked) -> Result<String, Failure> {
    let value = serde_json::json!({
        "book": checked.tables.book.book.name,
        "files": checked.tables.files,
        "linked": checked.linked.summary,
        "practice": checked.linked.practice,
        "problems": checked.problems(),
        "quarantine": checked.tables.quarantine,
    });
    serde_json::to_string_pretty(&value)
        .map(|text| text + "\n")
        .map_err(|error| Failure::new(error, ""))
}

fn text(checked: &Checked) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = write_text(&mut out, checked);
    out
}

fn write_text(out: &mut String, checked: &Checked) -> std::fmt::Result {
    writeln!(out, "{}", checked.tables.book.book.name)?;
    writeln!(out, "\nFiles: rows read = kept + set aside")?;
    let width = checked.tables.files.iter().map(|f| f.file.len()).max().unwrap_or(0);
    for file in &checked.tables.files {
        writeln!(
            out,
            "  {:width$}  {:9} {:>9} = {:>9} + {:>6}",
            file.file, file.table, file.rows_read, file.rows_kept, file.rows_quarantined
        )?;
        for repair in &file.repairs {
            writeln!(
                out,
                "  {:width$}  repaired: {} x {} in {} (first on line {})",
                "",
                repair.count,
                repair.code,
                column_name(&repair.column),
                repair.first_line
            )?;
        }
    }
    writeln!(out, "\nLinking: rows kept = linked + not linked")?;
    for table in &checked.linked.summary.tables {
        let rest = table.kept - table.linked;
        writeln!(
            out,
            "  {:9} {:>9} = {:>9} + {:>6}",
            table.table.as_str(),
            table.kept,
            table.linked,
            rest
        )?;
        for part in &table.not_linked {
            writeln!(out, "  {:9} {:>29} {}", "", part.rows, part.reason)?;
        }
    }
    writeln!(out, "\nRegions")?;
    for region in &checked.linked.summary.regions {
        write_region(out, checked, region)?;
    }
    let problems = checked.problems();
    let (notes, findings): (Vec<_>, Vec<_>) =
        problems.iter().partition(|problem| problem.severity == Severity::Repaired);
    writeln!(out, "\nFindings: {} ({} repairs listed above)", findings.len(), notes.len())?;
    for problem in findings {
        writeln!(out, "{problem}")?;
    }
    Ok(())
}

fn column_name(column: &str) -> &str {
    if column.is_empty() { "the file" } else { column }
}

fn write_region(
    out: &mut String,
    checked: &Checked,
    region: &ingest_seasons::RegionSummary,
) -> std::fmt::Result {
    let name = checked.tables.book.region_name(&region.region);
    let seasons: Vec<String> = region.seasons.iter().map(ToString::to_string).collect();
    writeln!(
        out,
        "  {name}: {} tree-seasons of {} trees in {} blocks at {} sites; seasons {}; advice is for {}",
        region.tree_seasons,
        region.trees,
        region.blocks,
        region.sites,
        seasons.join(", "),
        region.next_season
    )?;
    let range = region.intensity.map_or_else(String::new, |[low, high]| {
        format!(", removing {:.0} to {:.0} % of the canopy", low * 100.0, high * 100.0)
    });
    let leads = region.lead_days.map_or_else(String::new, |[low, high]| {
        format!(", {low:.0} to {high:.0} days before the flush")
    });
    writeln!(
        out,
        "    {} pruned{range}{leads}; {} in trials, {} under the training age",
        region.pruned, region.trial, region.young
    )?;
    if let Some(practice) = checked.linked.practice.iter().find(|p| p.region == region.region) {
        let from = practice
            .season
            .map_or_else(|| "stated in book.toml".to_owned(), |s| format!("season {s}"));
        writeln!(
            out,
            "    present practice ({from}): {:.0} % of the trees pruned, {:.0} % of the canopy on average",
            practice.share_pruned * 100.0,
            practice.intensity * 100.0
        )?;
    }
    Ok(())
}
