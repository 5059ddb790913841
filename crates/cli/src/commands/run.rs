//! `anacurve run`: the whole job, from records to report.

use crate::args::{Format, RunArgs};
use crate::commands::check::{trial_problems, write_tables};
use crate::commands::{cache_apart, from_publish, no_book};
use crate::console::{Failure, Outcome, Stages, print_after};
use crate::pipeline::advice::{self, Decided};
use crate::pipeline::review::{self, Judged, Record, kept_advice};
use crate::pipeline::rounding::rounded;
use crate::pipeline::trials::{AnalysedTrial, analysed, beside, declared, report as trial_report};
use crate::pipeline::{self, Reading, laterals, method, namesake, quality, unfitted};
use crate::timings::{Timings, Work};
use records::{Book, Code, Severity, counted, noun};
use report::{BesideTrial, PublishError, Report, TrialReport};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::Path;
use thiserror::Error;
use words::{say, text};

/// Why the report folder could not be filled.
#[derive(Debug, Error)]
enum WriteError {
    #[error("{0}")]
    Tables(#[from] Failure),
    #[error(transparent)]
    Report(#[from] report::ReportError),
    #[error("draws.arrow: {0}")]
    Draws(#[from] model::DrawsFileError),
    #[error("fit.json, review.json or trials.json: {0}")]
    Fit(#[from] std::io::Error),
}

/// Runs every stage and puts the report into place.
pub fn execute(args: &RunArgs) -> Result<Outcome, Failure> {
    let stages = Stages::new();
    let result = run(args, &stages);
    stages.finish();
    result
}

fn run(args: &RunArgs, stages: &Stages) -> Result<Outcome, Failure> {
    no_book(&args.out, "--out", "the reports")?;
    cache_apart(args.cache.as_deref())?;
    if let Some(file) = &args.timings {
        // A place that cannot be written to is told before the work, not after it.
        File::create(file).map_err(|error| no_timings(file, &error))?;
    }
    let record = Record::read(&args.book)?;
    let reading =
        Reading { through: args.through, cache: args.cache.as_deref(), trees: args.draw_trees };
    let mut checked = pipeline::check_wanted(&args.book, reading, stages)?;
    let reports = args.out.join(folder_name(&checked.tables.book.book.name));
    // The book itself, where it bears its own name and --out names the folder it is in.
    no_book(&reports, "--out", "the reports")?;
    namesake::refuse(&reports, &checked.tables.book)?;
    let decided = advice::advise(&checked, advice::Wanted::whole(args.seed), stages)?;
    let (advice, pictures, plan) = decided.results();
    let (method, fit, laterals) = match &decided {
        Decided::Fitted(run) => {
            let counts = laterals::count(&checked, run, stages)?;
            let fit = method::fit_json(&checked, run, &counts)?;
            (method::method(&checked, run, &counts), fit, counts.regions)
        }
        Decided::Unfitted(run) => {
            (unfitted::method(run), unfitted::fit_json(&checked, run)?, Vec::new())
        }
    };
    stages.enter("trials");
    stages.now("analysing designed trials");
    let trials: Vec<AnalysedTrial> = declared(&checked)?.into_iter().map(analysed).collect();
    let trials_json = super::trial::to_json(&trials)?;
    // Who reads the page of the advice alone must know what `check` tells of the trials beside it.
    let of_trials =
        trial_problems(&checked, trials.iter().map(|trial| &trial.declared), &args.book);
    stages.enter("review");
    stages.now("reviewing the season");
    let wanted = review::Wanted { season: None, seed: args.seed };
    let judged = review::review(&checked, &decided, &record, wanted)?;
    let review_json = super::review::to_json(&judged)?;
    let advice = rounded(advice.clone());
    let kept = if args.keep {
        let book = &checked.tables.book;
        let own = kept_advice(&advice, plan, &checked.linked.practice, book);
        Some(review::ToKeep::of(&args.book, &record, &own)?)
    } else {
        None
    };
    let kept_where =
        kept.as_ref().map(|kept| was_kept(kept, &checked.tables.book)).unwrap_or_default();
    let beside = beside(&advice, &trials);
    checked.linked.problems.extend(of_trials);
    let report = Report {
        review: review::report(&advice.book, &judged),
        trials: trials.iter().map(|trial| with_advice(trial_report(trial), &beside)).collect(),
        beside,
        quality: quality::quality(&checked),
        method,
        advice,
        pictures: pictures.to_vec(),
        laterals,
        plan: plan.clone(),
    };
    stages.enter("report");
    stages.now("writing the report");
    let target = reports.join(report.advice.season.to_string());
    let origin = pipeline::origin(&checked, Some(args.seed));
    report::publish(&target, report::Writer::Run, |dir: &Path| -> Result<(), WriteError> {
        report::write_outputs(&report, dir)?;
        std::fs::write(dir.join("review.json"), &review_json)?;
        if !trials.is_empty() {
            std::fs::write(dir.join("trials.json"), &trials_json)?;
        }
        write_tables(&checked, dir)?;
        if let Decided::Fitted(run) = &decided {
            run.model.write_draws(&origin.inputs_fingerprint, &dir.join("draws.arrow"))?;
        }
        std::fs::write(dir.join("fit.json"), &fit)?;
        report::seal(dir, &origin)?;
        checked.still_holds(&args.book)?;
        // Last of what can fail, so that no advice is kept that no report holds.
        kept.map_or(Ok(()), |kept| Ok(keep(args, &kept, &judged)?))
    })
    .map_err(|error| match error {
        // Named by file and with its own remedy.
        PublishError::Write(WriteError::Tables(failure)) => failure,
        other => from_publish(&other),
    })?;
    stages.finish();
    let page = target.join("index.html");
    if let Some(file) = &args.timings {
        let tables = &checked.tables;
        let work = Work {
            files: tables.files.len(),
            files_from_cache: tables.from_cache,
            rows: tables.files.iter().map(|file| file.rows_read).sum(),
            tree_seasons: checked.linked.tree_seasons.num_rows(),
        };
        write_timings(file, &stages.timings(work)).map_err(|failure| failure.after(Some(&page)))?;
    }
    let text = match args.format {
        Format::Text => format!(
            "{}\n{}\n{}{kept_where}",
            report::summary_text(&report),
            say!("Report: {}", page.display()),
            findings_line(&checked)
        ),
        Format::Json => serde_json::to_string_pretty(&report.advice)
            .map(|text| text + "\n")
            .map_err(|error| Failure::new(error, ""))?,
    };
    print_after(&text, Some(&page))?;
    let trials_fail = trials.iter().any(super::trial::has_findings);
    let findings = args.strict && (checked.has_findings() || trials_fail);
    Ok(if findings { Outcome::Findings } else { Outcome::Done })
}

/// A trial's report with what it says beside the advice for its region.
fn with_advice(mut trial: TrialReport, beside: &[BesideTrial]) -> TrialReport {
    let own = beside.iter().filter(|beside| beside.trial == trial.id);
    trial.notes.extend(own.map(BesideTrial::alone));
    trial
}

/// What was kept and where, and what has to be left as it is for it to be scored: a season in which
/// every tree followed leaves nothing to compare with, and only now can that be helped.
fn was_kept(kept: &review::ToKeep, book: &Book) -> String {
    let followed = kept.advice.regions.iter().filter(|region| region.practice.is_some()).count();
    let score = if followed > 0 {
        text!(
            "Leave at least five trees of each region unpruned and prune at least five as at present, some lightly and some hard where trees are treated so unlike each other: next season's review scores the advice against them, each kind by its share of present practice. Plan and crew sheets count every tree: mark these in the field, and expect the review to show them as not treated as planned."
        )
    } else {
        text!(
            "It tells no region to change, so that next season's review has the plan to hold against what was done and no gain to score."
        )
    };
    let named = |regions: &[(&str, i32)]| {
        let mut seasons: BTreeMap<i32, Vec<&str>> = BTreeMap::new();
        for &(region, season) in regions {
            seasons.entry(season).or_default().push(book.region_name(region));
        }
        let harvests = seasons
            .into_iter()
            .map(|(season, regions)| say!("{} of harvest {season}", regions.join(", ")));
        harvests.collect::<Vec<_>>().join(text!(" and "))
    };
    let new: Vec<(&str, i32)> =
        kept.advice.regions.iter().map(|own| (own.region.as_str(), own.season)).collect();
    let old: Vec<(&str, i32)> =
        kept.stands.iter().map(|(region, season)| (region.as_str(), *season)).collect();
    let path = kept.path.display();
    if new.is_empty() {
        return say!("The advice and plan for {} are kept as before: {path}", named(&old)) + "\n";
    }
    let before = if old.is_empty() {
        String::new()
    } else {
        "\n".to_owned() + &say!("Those for {} stand as they were kept before.", named(&old))
    };
    let kept = say!("The advice and plan for {} are kept: {path}", named(&new));
    format!("{kept}{before}\n{score}\n")
}

fn no_timings(file: &Path, error: &dyn std::error::Error) -> Failure {
    let what = format!("{}: cannot be written: {error}", file.display());
    Failure::new(what, "give --timings a file in a folder that exists and may be written to")
}

fn write_timings(file: &Path, timings: &Timings) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(timings).map_err(|error| no_timings(file, &error))?;
    std::fs::write(file, text + "\n").map_err(|error| no_timings(file, &error))
}

/// Keeps the advice and the scores in the book.
fn keep(args: &RunArgs, kept: &review::ToKeep, judged: &Judged) -> Result<(), Failure> {
    kept.write()?;
    match judged {
        Judged::Reviewed(reviewed) => review::keep_scores(&args.book, &reviewed.all_scores),
        Judged::Impossible(_) => Ok(()),
    }
}

fn findings_line(checked: &pipeline::Checked) -> String {
    let set_aside = match checked.tables.quarantine.len() as u64 {
        0 => String::new(),
        rows => {
            say!(
                "{} {} set aside; quarantine.csv beside the report says why and what to do.",
                counted(rows, text!("row"), text!("rows")),
                noun(rows, text!("was"), text!("were"))
            ) + "\n"
        }
    };
    // A unit or a year that is a slip changes the advice: who reads only the terminal must know.
    let kinds: BTreeSet<Code> = checked
        .problems()
        .into_iter()
        .filter(|problem| problem.severity == Severity::Warning)
        .map(|problem| problem.code)
        .collect();
    let named: Vec<&str> = kinds.iter().map(|code| code.as_str()).collect();
    let to_look_at = match named.len() as u64 {
        0 => String::new(),
        number => {
            say!(
                "To look at before the advice is used, {} of findings: {}; the page tells each under Data quality.",
                counted(number, text!("kind"), text!("kinds")),
                named.join(", ")
            ) + "\n"
        }
    };
    set_aside + &to_look_at
}

/// Longest folder name made of a book's name, bytes; file systems take 255.
const LONGEST_NAME: usize = 160;

/// A book's name as a folder name: letters and digits, words joined by hyphens.
fn folder_name(book: &str) -> String {
    let mut name = String::new();
    for character in book.chars().flat_map(char::to_lowercase) {
        if name.len() + character.len_utf8() > LONGEST_NAME {
            break;
        }
        if character.is_alphanumeric() {
            name.push(character);
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
    }
    let name = name.trim_end_matches('-');
    if name.is_empty() || report::is_reserved(name) {
        format!("book-{name}").trim_end_matches('-').to_owned()
    } else {
        name.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::folder_name;

    #[test]
    fn a_book_name_never_leaves_its_folder() {
        assert_eq!(folder_name("Green Hill Estates, Ltd."), "green-hill-estates-ltd");
        assert_eq!(folder_name("../../etc"), "etc");
        assert_eq!(folder_name("..."), "book");
        assert_eq!(folder_name("NUL"), "book-nul");
        assert_eq!(folder_name("a\u{0}b\u{202e}c"), "a-b-c");
        assert_eq!(folder_name(&"樹".repeat(500)).len(), 159);
        assert_eq!(folder_name("Đồng Nai"), "đồng-nai");
    }
}
