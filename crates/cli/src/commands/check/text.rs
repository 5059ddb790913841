//! What `check` prints for people.

use super::trials::FoundTrial;
use crate::pipeline::Checked;
use ingest_seasons::{MoistureConversion, RegionSummary};
use ingest_tables::{SpotCheck, SpotValue};
use records::{Code, Place, Problem, Severity, counted, noun};
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt::{self, Write as _};
use words::{say, text};

/// Characters of a remedy that is as short as naming the place where it stood before.
const SHORT: usize = 80;

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
    writeln!(out, "\n{}", text!("Regions"))?;
    for region in &checked.linked.summary.regions {
        write_region(out, checked, region)?;
    }
    write_trials(out, found)?;
    write_spot_checks(out, drawn, seed)?;
    write_findings(out, checked)
}

fn write_files(out: &mut String, checked: &Checked) -> fmt::Result {
    let heading = text!("Files: rows read = kept + set aside, by reading or by linking");
    writeln!(out, "\n{heading}")?;
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
        for repair in file.repairs.iter().filter(|repair| !repair.code.is_stated()) {
            let column = if repair.column.is_empty() { text!("the file") } else { &repair.column };
            let repaired = say!(
                "repaired: {} x {} in {column} (first on line {})",
                repair.count,
                repair.code,
                repair.first_line
            );
            writeln!(out, "  {:width$}  {repaired}", "")?;
        }
    }
    write_stated(out, checked)
}

/// What was read as the book states, one line for a file with all its sheets and rounds: its author knows of it.
fn write_stated(out: &mut String, checked: &Checked) -> fmt::Result {
    let mut lines: Vec<(&str, &str, Code, u64)> = Vec::new();
    for file in &checked.tables.files {
        let name = file.file.split('#').next().unwrap_or_default();
        for repair in file.repairs.iter().filter(|repair| repair.code.is_stated()) {
            let column = if repair.column.is_empty() { text!("the file") } else { &repair.column };
            let is_same = |own: &&mut (&str, &str, Code, u64)| {
                (own.0, own.1, own.2) == (name, column, repair.code)
            };
            match lines.iter_mut().find(is_same) {
                Some(line) => line.3 += repair.count,
                None => lines.push((name, column, repair.code, repair.count)),
            }
        }
    }
    for (name, column, code, count) in lines {
        let stated = say!("stated in book.toml: {name}: {count} x {code} in {column}");
        writeln!(out, "  {stated}")?;
    }
    Ok(())
}

fn write_links(out: &mut String, checked: &Checked) -> fmt::Result {
    let heading = text!("Linking: rows that could be read = linked + not linked");
    writeln!(out, "\n{heading}")?;
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
        let from =
            if low == high { words::with_mark(&low.to_string()) } else { say!("{low} to {high}") };
        let converted = say!(
            "weights of {} converted from {from} % moisture to {to_pct} %",
            counted(picks, text!("pick"), text!("picks"))
        );
        writeln!(out, "  {converted}")?;
    }
    Ok(())
}

fn write_region(out: &mut String, checked: &Checked, region: &RegionSummary) -> fmt::Result {
    let name = checked.tables.book.region_name(&region.region);
    let seasons: Vec<String> = region.seasons.iter().map(ToString::to_string).collect();
    let what = say!(
        "{name}: {} of {} in {} at {}; {} {}; advice is for {}",
        counted(region.tree_seasons, text!("tree-season"), text!("tree-seasons")),
        counted(region.trees, text!("tree"), text!("trees")),
        counted(region.blocks, text!("block"), text!("blocks")),
        counted(region.sites, text!("site"), text!("sites")),
        noun(seasons.len() as u64, text!("season"), text!("seasons")),
        seasons.join(", "),
        region.next_season
    );
    writeln!(out, "  {what}")?;
    let removed = region.intensity.map_or_else(String::new, |[low, high]| {
        // The least is 0 where a tree was left unpruned, which is none of those pruned.
        let of_canopy = if low > 0.0 {
            range(low * 100.0, high * 100.0)
        } else {
            say!("up to {:.0}", high * 100.0)
        };
        say!(", removing {of_canopy} % of the canopy")
    });
    let leads = region.lead_days.map_or_else(String::new, |[low, high]| {
        say!(", {} days before the flush", range(low, high))
    });
    let pruned = say!(
        "{} pruned{removed}{leads}; {} in trials, {} under the training age",
        region.pruned,
        region.trial,
        region.young
    );
    writeln!(out, "    {pruned}")?;
    if let Some(practice) = checked.linked.practice.iter().find(|p| p.region == region.region) {
        let from = match practice.season {
            Some(season) if practice.in_turn > 1 => {
                say!("seasons {} to {season}, in turn", season - practice.in_turn as i32 + 1)
            }
            Some(season) => say!("season {season}"),
            None => text!("stated in book.toml").to_owned(),
        };
        let present = say!(
            "present practice ({from}): {:.0} % of the trees pruned, {:.0} % of the canopy on average",
            practice.share_pruned * 100.0,
            practice.intensity * 100.0
        );
        writeln!(out, "    {present}")?;
        if let Some((season, before)) = practice.season.zip(practice.before) {
            let before = say!(
                "in season {}: {:.0} % of the trees pruned, {:.0} % of the canopy on average; if that is what is done, state it",
                season - 1,
                before.share_pruned * 100.0,
                before.intensity * 100.0
            );
            writeln!(out, "      {before}")?;
        }
        if practice.left_to_compare > 0 {
            let left = say!(
                "without {} left unlike the advice to compare with",
                counted(practice.left_to_compare, text!("tree"), text!("trees"))
            );
            writeln!(out, "      {left}")?;
        }
        if practice.younger > 0 {
            let younger = say!(
                "without {} younger than those that were cut so",
                counted(practice.younger, text!("tree"), text!("trees"))
            );
            writeln!(out, "      {younger}")?;
        }
    }
    Ok(())
}

fn write_trials(out: &mut String, found: &[FoundTrial]) -> fmt::Result {
    if !found.is_empty() {
        writeln!(out, "\n{}", text!("Trials"))?;
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
    if low == high { low } else { say!("{low} to {high}") }
}

fn write_spot_checks(out: &mut String, drawn: &[SpotCheck], seed: u64) -> fmt::Result {
    if drawn.is_empty() {
        return Ok(());
    }
    let heading = say!("Compare with the field books: rows drawn at random (seed {seed}), as read");
    writeln!(out, "\n{heading}")?;
    for row in drawn {
        // The names of the columns carry the units.
        let value = |value: &SpotValue| format!("{} {}", value.column, value.value);
        let values: Vec<String> = row.values.iter().map(value).collect();
        writeln!(out, "  {}:{}  {}", row.file, row.line, values.join(", "))?;
    }
    Ok(())
}

/// Remedies that were printed, and the first finding of each.
#[derive(Default)]
struct Said<'a> {
    places: BTreeMap<&'a str, &'a Place>,
}

impl<'a> Said<'a> {
    /// Prints a remedy; a long one whole the first time alone.
    fn write_remedy(&mut self, out: &mut String, problem: &'a Problem) -> fmt::Result {
        let remedy = problem.remedy.as_str();
        if remedy.is_empty() {
            return Ok(());
        }
        let place = *self.places.entry(remedy).or_insert(&problem.place);
        let is_short = remedy.chars().count() <= SHORT;
        let told = match remedy {
            remedy if is_short || place == &problem.place => Cow::Borrowed(remedy),
            _ => Cow::Owned(say!("as above, at {place}")),
        };
        writeln!(out, "  {}: {told}", text!("hint"))
    }
}

fn write_findings(out: &mut String, checked: &Checked) -> fmt::Result {
    let problems = checked.problems();
    let findings = problems.iter().filter(|problem| problem.severity > Severity::Repaired);
    writeln!(out, "\n{}", text!("Findings"))?;
    // Rows set aside are listed up to a number, so their kinds are counted in the quarantine.
    let mut kinds: BTreeMap<(Severity, Code), u64> = BTreeMap::new();
    let mut said = Said::default();
    for problem in findings {
        writeln!(out, "{}", problem.line())?;
        said.write_remedy(out, problem)?;
        if problem.severity != Severity::Quarantined {
            *kinds.entry((problem.severity, problem.code)).or_default() += 1;
        }
    }
    for row in &checked.tables.quarantine {
        *kinds.entry((Severity::Quarantined, row.code)).or_default() += 1;
    }
    if kinds.is_empty() {
        return writeln!(out, "  {}", text!("nothing to look at"));
    }
    writeln!(out, "\n{}", text!("Findings by kind"))?;
    for ((severity, code), number) in kinds {
        let what = match severity {
            Severity::Quarantined => noun(number, text!("row set aside"), text!("rows set aside")),
            _ => text!("to look at"),
        };
        writeln!(out, "  {number:>9} {what}: {code}")?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_remedy_is_said_once() {
        let long = "fill in the weight ".repeat(5);
        let problem = |line: u64, remedy: &str| {
            let place = Place::line("picks.csv", line);
            Problem::new(place, Severity::Warning, Code::CellMissing, "empty", remedy)
        };
        let rows = [
            problem(1, &long),
            problem(2, &long),
            problem(3, "correct it"),
            problem(4, &long),
            problem(5, "correct it"),
            problem(6, ""),
        ];
        let (mut out, mut said) = (String::new(), Said::default());
        for row in &rows {
            out.push_str(&format!("{}\n", row.place));
            said.write_remedy(&mut out, row).unwrap();
        }
        let expected = format!(
            "picks.csv:1\n  hint: {long}\npicks.csv:2\n  hint: as above, at picks.csv:1\npicks.csv:3\n  hint: correct it\npicks.csv:4\n  hint: as above, at picks.csv:1\npicks.csv:5\n  hint: correct it\npicks.csv:6\n"
        );
        assert_eq!(out, expected);
    }
}
