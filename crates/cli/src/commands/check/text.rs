//! What `check` prints for people.

use super::trials::FoundTrial;
use crate::pipeline::Checked;
use ingest_seasons::{MoistureConversion, RegionSummary};
use ingest_tables::{SpotCheck, SpotValue};
use records::{Code, Severity, counted, noun};
use std::collections::BTreeMap;
use std::fmt::{self, Write as _};

/// Files, linking, regions, rows to compare, findings one by one and by kind.
pub fn of(checked: &Checked, found: &[FoundTrial], drawn: &[SpotCheck], seed: u64) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = write_all(&mut out, checked, found, drawn, seed);
    out
}

fn write_all(
    out: &mut String,
    checked: &Checked,
    found: &[FoundTrial],
    drawn: &[SpotCheck],
    seed: u64,
) -> fmt::Result {
    writeln!(out, "{}", checked.tables.book.book.name)?;
    write_files(out, checked)?;
    write_links(out, checked)?;
    writeln!(out, "\nRegions")?;
    for region in &checked.linked.summary.regions {
        write_region(out, checked, region)?;
    }
    write_trials(out, found)?;
    write_spot_checks(out, drawn, seed)?;
    write_findings(out, checked)
}

fn write_files(out: &mut String, checked: &Checked) -> fmt::Result {
    writeln!(out, "\nFiles: rows read = kept + set aside, by reading or by linking")?;
    let width = checked.tables.files.iter().map(|f| f.file.len()).max().unwrap_or(0);
    for file in &checked.tables.files {
        writeln!(
            out,
            "  {:width$}  {:9} {:>9} = {:>9} + {:>6}",
            file.file,
            file.table.as_str(),
            file.rows_read,
            file.rows_kept,
            file.rows_quarantined
        )?;
        for repair in &file.repairs {
            let column = if repair.column.is_empty() { "the file" } else { &repair.column };
            writeln!(
                out,
                "  {:width$}  repaired: {} x {} in {column} (first on line {})",
                "", repair.count, repair.code, repair.first_line
            )?;
        }
    }
    Ok(())
}

fn write_links(out: &mut String, checked: &Checked) -> fmt::Result {
    writeln!(out, "\nLinking: rows that could be read = linked + not linked")?;
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
            writeln!(out, "  {:9} {:>30} {}", "", part.rows, part.reason)?;
        }
    }
    if let Some(MoistureConversion { picks, from_pct: [low, high], to_pct }) =
        checked.linked.summary.moisture
    {
        let from = if low == high { format!("{low}") } else { format!("{low} to {high}") };
        writeln!(
            out,
            "  weights of {} converted from {from} % moisture to {to_pct} %",
            counted(picks, "pick", "picks")
        )?;
    }
    Ok(())
}

fn write_region(out: &mut String, checked: &Checked, region: &RegionSummary) -> fmt::Result {
    let name = checked.tables.book.region_name(&region.region);
    let seasons: Vec<String> = region.seasons.iter().map(ToString::to_string).collect();
    writeln!(
        out,
        "  {name}: {} of {} in {} at {}; {} {}; advice is for {}",
        counted(region.tree_seasons, "tree-season", "tree-seasons"),
        counted(region.trees, "tree", "trees"),
        counted(region.blocks, "block", "blocks"),
        counted(region.sites, "site", "sites"),
        noun(seasons.len() as u64, "season", "seasons"),
        seasons.join(", "),
        region.next_season
    )?;
    let removed = region.intensity.map_or_else(String::new, |[low, high]| {
        // The least is 0 where a tree was left unpruned, which is none of those pruned.
        let of_canopy = if low > 0.0 {
            range(low * 100.0, high * 100.0)
        } else {
            format!("up to {:.0}", high * 100.0)
        };
        format!(", removing {of_canopy} % of the canopy")
    });
    let leads = region.lead_days.map_or_else(String::new, |[low, high]| {
        format!(", {} days before the flush", range(low, high))
    });
    writeln!(
        out,
        "    {} pruned{removed}{leads}; {} in trials, {} under the training age",
        region.pruned, region.trial, region.young
    )?;
    if let Some(practice) = checked.linked.practice.iter().find(|p| p.region == region.region) {
        let from = match practice.season {
            Some(season) if practice.in_turn > 1 => {
                format!("seasons {} to {season}, in turn", season - practice.in_turn as i32 + 1)
            }
            Some(season) => format!("season {season}"),
            None => "stated in book.toml".to_owned(),
        };
        writeln!(
            out,
            "    present practice ({from}): {:.0} % of the trees pruned, {:.0} % of the canopy on average",
            practice.share_pruned * 100.0,
            practice.intensity * 100.0
        )?;
        if let Some((season, before)) = practice.season.zip(practice.before) {
            writeln!(
                out,
                "      in season {}: {:.0} % of the trees pruned, {:.0} % of the canopy on average; if that is what is done, state it",
                season - 1,
                before.share_pruned * 100.0,
                before.intensity * 100.0
            )?;
        }
        if practice.left_to_compare > 0 {
            writeln!(
                out,
                "      without {} left unlike the advice to compare with",
                counted(practice.left_to_compare, "tree", "trees")
            )?;
        }
        if practice.younger > 0 {
            writeln!(
                out,
                "      without {} younger than those that were cut so",
                counted(practice.younger, "tree", "trees")
            )?;
        }
    }
    Ok(())
}

fn write_trials(out: &mut String, found: &[FoundTrial]) -> fmt::Result {
    if !found.is_empty() {
        writeln!(out, "\nTrials")?;
    }
    for trial in found {
        writeln!(out, "  {}: {}", trial.trial, trial.summary)?;
        for note in &trial.notes {
            writeln!(out, "    {note}")?;
        }
        for line in trial.declare.iter().flat_map(|lines| lines.lines()) {
            writeln!(out, "      {line}")?;
        }
    }
    Ok(())
}

/// Whole numbers, one of them when both ends are the same.
fn range(low: f64, high: f64) -> String {
    let (low, high) = (format!("{low:.0}"), format!("{high:.0}"));
    if low == high { low } else { format!("{low} to {high}") }
}

fn write_spot_checks(out: &mut String, drawn: &[SpotCheck], seed: u64) -> fmt::Result {
    if drawn.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nCompare with the field books: rows drawn at random (seed {seed}), as read")?;
    for row in drawn {
        // The names of the columns carry the units.
        let value = |value: &SpotValue| format!("{} {}", value.column, value.value);
        let values: Vec<String> = row.values.iter().map(value).collect();
        writeln!(out, "  {}:{}  {}", row.file, row.line, values.join(", "))?;
    }
    Ok(())
}

fn write_findings(out: &mut String, checked: &Checked) -> fmt::Result {
    let problems = checked.problems();
    let findings = problems.iter().filter(|problem| problem.severity > Severity::Repaired);
    writeln!(out, "\nFindings")?;
    // Rows set aside are listed up to a number, so their kinds are counted in the quarantine.
    let mut kinds: BTreeMap<(Severity, Code), u64> = BTreeMap::new();
    for problem in findings {
        writeln!(out, "{problem}")?;
        if problem.severity != Severity::Quarantined {
            *kinds.entry((problem.severity, problem.code)).or_default() += 1;
        }
    }
    for row in &checked.tables.quarantine {
        *kinds.entry((Severity::Quarantined, row.code)).or_default() += 1;
    }
    if kinds.is_empty() {
        return writeln!(out, "  none");
    }
    writeln!(out, "\nFindings by kind")?;
    for ((severity, code), number) in kinds {
        let what = match severity {
            Severity::Quarantined => noun(number, "row set aside", "rows set aside"),
            _ => "to look at",
        };
        writeln!(out, "  {number:>9} {what}: {code}")?;
    }
    Ok(())
}
