//! `anacurve review`: the season just closed, alone.

use crate::args::{Format, ReviewArgs};
use crate::console::{Failure, Outcome, Stages, print_after};
use crate::pipeline;
use crate::pipeline::advice;
use crate::pipeline::review::{self, Judged, Record, Wanted, keep_scores};
use ::report::{ReportError, ReviewReport};
use ::words::{say, text};

/// Fits, reviews, and writes the page.
pub fn execute(args: &ReviewArgs) -> Result<Outcome, Failure> {
    let stages = Stages::new();
    let result = run(args, &stages);
    stages.finish();
    result
}

fn run(args: &ReviewArgs, stages: &Stages) -> Result<Outcome, Failure> {
    if let Some(out) = &args.out {
        super::free_for(out, ::report::Writer::Review)?;
    }
    let record = Record::read(&args.book)?;
    let checked = pipeline::check_through(&args.book, args.through, stages)?;
    let wanted = advice::Wanted { challenger: false, ..advice::Wanted::whole(args.seed) };
    let decided = advice::advise(&checked, wanted, stages)?;
    stages.now("reviewing the season");
    let wanted = Wanted { season: args.season.map(i32::from), seed: args.seed };
    let judged = review::review(&checked, &decided, &record, wanted)?;
    let page = review::report(&checked.tables.book.book.name, &judged);
    checked.still_holds(&args.book)?;
    if let Some(out) = &args.out {
        let json = to_json(&judged)?;
        let origin = pipeline::origin(&checked, Some(args.seed));
        ::report::publish(out, ::report::Writer::Review, |dir| -> Result<(), ReportError> {
            ::report::write_review(&page, &origin.inputs_fingerprint, dir)?;
            let path = dir.join("review.json");
            std::fs::write(&path, &json).map_err(|source| ReportError::Write { path, source })?;
            ::report::seal(dir, &origin)
        })
        .map_err(|error| super::from_publish(&error))?;
    }
    if let (true, Judged::Reviewed(reviewed)) = (args.keep, &judged) {
        keep_scores(&args.book, &reviewed.all_scores)?;
    }
    stages.finish();
    let text = match args.format {
        Format::Text => text(args, &page),
        Format::Json => to_json(&judged)?,
    };
    print_after(&text, args.out.as_deref())?;
    Ok(match judged {
        Judged::Reviewed(_) => Outcome::Done,
        Judged::Impossible(_) => Outcome::Findings,
    })
}

/// Every number of a review.
pub fn to_json(judged: &Judged) -> Result<String, Failure> {
    let text = match judged {
        Judged::Reviewed(review) => serde_json::to_string_pretty(review),
        Judged::Impossible(why) => {
            serde_json::to_string_pretty(&serde_json::json!({ "impossible": why }))
        }
    };
    text.map(|text| text + "\n")
        .map_err(|error| Failure::new(error, "this is a defect of the program; please report it"))
}

fn text(args: &ReviewArgs, page: &ReviewReport) -> String {
    let mut out = String::new();
    for answer in &page.answers {
        out.push_str(&format!("{answer}\n"));
    }
    for section in &page.sections {
        if let (false, Some(first)) = (section.id == "review-method", section.of.paragraphs.first())
        {
            // The first paragraph of the first two sections explains, that of the others tells.
            if !matches!(section.id, "expectation" | "blocks" | "bearing") {
                out.push_str(&format!("\n{}\n  {first}\n", section.of.heading));
                // The others name the yields to check, tell of every region whether its advice held, and what
                // of the plan is not compared.
                if matches!(section.id, "records" | "score" | "plan") {
                    let means = review::score_means();
                    let others = section.of.paragraphs.iter().skip(1).filter(|own| *own != means);
                    let new: Vec<&String> =
                        others.filter(|own| !out.contains(own.as_str())).collect();
                    new.iter().for_each(|own| out.push_str(&format!("  {own}\n")));
                }
            }
        }
    }
    match &args.out {
        Some(dir) => {
            let page = say!("Page: {}", dir.join("review.html").display());
            out.push_str(&format!("\n{page}\n"));
        }
        None => {
            let next = text!("Name a folder with --out for the tables, maps and page.");
            out.push_str(&format!("\n{next}\n"));
        }
    }
    out
}
