//! `anacurve trial`: the designed trials of a book, alone.

use crate::args::{Format, TrialArgs};
use crate::console::{Failure, Outcome, Stages, print_after};
use crate::pipeline;
use crate::pipeline::trials::{AnalysedTrial, analysed, declared, nothing_tested, report};
use ::report::{ReportError, TrialReport};
use ::words::{say, text};
use serde_json::json;

/// Analyses the trials asked for and writes their page.
pub fn execute(args: &TrialArgs) -> Result<Outcome, Failure> {
    let stages = Stages::new();
    let result = run(args, &stages);
    stages.finish();
    result
}

fn run(args: &TrialArgs, stages: &Stages) -> Result<Outcome, Failure> {
    if let Some(out) = &args.out {
        super::free_for(out, ::report::Writer::Trial)?;
    }
    let checked = pipeline::check(&args.book, stages)?;
    let mut wanted = declared(&checked)?;
    if wanted.is_empty() {
        return Err(Failure::new(
            "the book declares no trial",
            "add [trials.ID] to book.toml; anacurve check lists the trials of the trial table with \
             lines to begin with",
        ));
    }
    if let Some(unknown) = args.trials.iter().find(|id| !wanted.iter().any(|t| t.id == **id)) {
        let known: Vec<&str> = wanted.iter().map(|trial| trial.id.as_str()).collect();
        return Err(Failure::new(
            format!("the book declares no trial '{unknown}'"),
            format!("declared are {}; ids must match letter by letter", known.join(", ")),
        ));
    }
    if !args.trials.is_empty() {
        wanted.retain(|trial| args.trials.contains(&trial.id));
    }
    stages.now("analysing trials");
    let trials: Vec<AnalysedTrial> = wanted.into_iter().map(analysed).collect();
    let reports: Vec<TrialReport> = trials.iter().map(report).collect();
    let found = trials.iter().any(has_findings);
    checked.still_holds(&args.book)?;
    if let Some(out) = &args.out {
        let json = to_json(&trials)?;
        let origin = pipeline::origin(&checked, None);
        ::report::publish(out, ::report::Writer::Trial, |dir| -> Result<(), ReportError> {
            let book = &checked.tables.book.book.name;
            ::report::write_trials(book, &reports, &origin.inputs_fingerprint, dir)?;
            let path = dir.join("trials.json");
            std::fs::write(&path, &json).map_err(|source| ReportError::Write { path, source })?;
            ::report::seal(dir, &origin)
        })
        .map_err(|error| super::from_publish(&error))?;
    }
    stages.finish();
    let text = match args.format {
        Format::Text => text(args, &trials, &reports),
        Format::Json => to_json(&trials)?,
    };
    print_after(&text, args.out.as_deref())?;
    Ok(if found { Outcome::Findings } else { Outcome::Done })
}

/// Whether a trait of a trial, or the trial as a whole, has no analysis or tests nothing, or rows
/// of it look mistyped, do not agree with the prunings, lack every value of a level or were set aside: a
/// result without some of its plots is not the trial's.
pub fn has_findings(trial: &AnalysedTrial) -> bool {
    trial.declared.not_analysed.iter().any(|why| !why.waits)
        || trial.parts.iter().any(|part| part.outcome.as_ref().map_or(true, nothing_tested))
        || !trial.slips().is_empty()
        || trial.declared.set_aside > 0
        || !trial.declared.doubts.is_empty()
}

/// Every number of the analyses.
pub fn to_json(trials: &[AnalysedTrial]) -> Result<String, Failure> {
    let value: Vec<serde_json::Value> = trials
        .iter()
        .map(|trial| {
            let declared = &trial.declared;
            let parts: Vec<serde_json::Value> = trial
                .parts
                .iter()
                .map(|part| {
                    let mut value = json!({ "trait": part.observed, "site": part.site });
                    match &part.outcome {
                        Ok(analysis) => value["analysis"] = json!(analysis),
                        Err(refusal) => {
                            value["refused"] = json!({
                                "what": refusal.to_string(), "remedy": refusal.remedy(),
                            });
                        }
                    }
                    match &part.own_scale {
                        Ok(found) => value["on_own_scale"] = json!(found),
                        Err(why) => value["on_own_scale"] = json!({ "missing": why }),
                    }
                    value
                })
                .collect();
            json!({
                "trial": declared.id, "declaration": declared.declaration,
                "trees": declared.trees, "rows_set_aside": declared.set_aside, "seasons": declared.seasons,
                "earlier_crop_of": declared.earlier, "notes": declared.notes,
                "not_analysed": declared.not_analysed, "parts": parts,
                "together": trial.pooled,
            })
        })
        .collect();
    serde_json::to_string_pretty(&value)
        .map(|text| text + "\n")
        .map_err(|error| Failure::new(error, "this is a defect of the program; please report it"))
}

fn text(args: &TrialArgs, trials: &[AnalysedTrial], reports: &[TrialReport]) -> String {
    let mut out = String::new();
    for (analysed, trial) in trials.iter().zip(reports) {
        out.push_str(&format!("{} ({})\n", trial.title, trial.id));
        for said in std::iter::once(&trial.sentence).chain(&trial.notes) {
            out.push_str(&format!("  {said}\n"));
            let lacking = &analysed.declared.not_analysed;
            if let Some(why) = lacking.iter().find(|why| why.what == *said) {
                out.push_str(&format!("    hint: {}\n", why.remedy));
            }
        }
        for part in &trial.parts {
            let heading = &part.heading;
            match &part.refused {
                // Its sentence, above, is the refusal.
                Some((what, remedy)) if trial.sentence.contains(what.as_str()) => {
                    let what = text!("not analysed");
                    out.push_str(&format!("  {heading}: {what}\n    hint: {remedy}\n"));
                }
                Some((what, remedy)) => {
                    let told = text!("not analysed");
                    out.push_str(&format!("  {heading}: {told}: {what}\n    hint: {remedy}\n"));
                }
                None if part.finding != trial.sentence => {
                    out.push_str(&format!("  {heading}: {}\n", part.finding));
                }
                None => {}
            }
        }
    }
    match &args.out {
        Some(dir) => out.push_str(&say!("Page: {}", dir.join("trials.html").display())),
        None => out.push_str(text!("Name a folder with --out for the tables, plots and page.")),
    }
    out.push('\n');
    out
}
