//! `anacurve plan`: the work plan alone.

use crate::args::PlanArgs;
use crate::console::{Failure, Outcome, Stages, print_after};
use crate::pipeline::advice::{self, Wanted};
use crate::pipeline::{self, Checked};
use records::{Code, counted};
use report::PlanOf;
use words::{say, text};
use workplan::plan::Plan;
use workplan::text::Catalogue;

/// Fits, decides, and writes the plan.
pub fn execute(args: &PlanArgs) -> Result<Outcome, Failure> {
    let stages = Stages::new();
    let result = run(args, &stages);
    stages.finish();
    result
}

fn run(args: &PlanArgs, stages: &Stages) -> Result<Outcome, Failure> {
    super::free_for(&args.out, report::Writer::Plan)?;
    let checked = pipeline::check(&args.book, stages)?;
    let wanted = Wanted { challenger: false, ..Wanted::whole(args.seed) };
    let decided = advice::advise(&checked, wanted, stages)?;
    let (advice, _, plan) = decided.results();
    let of = PlanOf {
        book: &advice.book,
        season: advice.season,
        seasons: advice.seasons(),
        currency: &advice.currency,
        inputs: &advice.inputs,
        plan,
        words: Catalogue::spoken(),
    };
    checked.still_holds(&args.book)?;
    let origin = pipeline::origin(&checked, Some(args.seed));
    report::publish(&args.out, report::Writer::Plan, |dir| {
        report::write_plan(&of, dir)?;
        report::seal(dir, &origin)
    })
    .map_err(|error| super::from_publish(&error))?;
    stages.finish();
    let lost = lost_places(&checked);
    print_after(&text(args, plan, &lost), Some(&args.out))?;
    let alarm = plan.crews.iter().any(|crew| crew.schedule.alarm.is_some());
    Ok(if alarm || !lost.is_empty() { Outcome::Findings } else { Outcome::Done })
}

/// That blocks and trees were set aside, which the plan then knows nothing of; empty where none were.
fn lost_places(checked: &Checked) -> String {
    let lost = pipeline::places_set_aside(&checked.tables);
    // Blocks come first: without its block a tree is lost too.
    let first = lost.iter().find(|row| row.code != Code::BlockUnknown).or(lost.first());
    first.map_or_else(String::new, |first| {
        let rows = counted(lost.len() as u64, text!("row"), text!("rows"));
        let lost = say!(
            "Not in this plan: {rows} of blocks and trees set aside, first {}:{}: {}",
            first.file,
            first.line,
            first.reason
        );
        format!("{lost}\n  {}: {}\n", text!("hint"), first.remedy)
    })
}

fn text(args: &PlanArgs, plan: &Plan, lost: &str) -> String {
    let worked = plan.blocks.iter().filter(|block| block.sheet.trees_worked > 0).count() as u64;
    let dated = plan.blocks.iter().filter(|block| block.sheet.scheduled.is_some()).count();
    let mut out = say!(
        "{} to work in, {dated} of them with dates{}.",
        counted(worked, text!("block"), text!("blocks")),
        lists(plan),
    ) + "\n";
    out.push_str(lost);
    for error in &plan.missing {
        out.push_str(&format!("  {error}\n"));
    }
    let sheets = args.out.join("crew_sheets.html");
    out.push_str(&(say!("Crew sheets: {}", sheets.display()) + "\n"));
    out
}

/// What the lists beside the plan hold, of those that hold something.
fn lists(plan: &Plan) -> String {
    let crews = plan.crews.iter().filter(|crew| crew.schedule.alarm.is_some()).count() as u64;
    let missing = plan.missing.len() as u64;
    let small = say!(
        "{} too small for the work in alarms.csv",
        counted(crews, text!("crew"), text!("crews"))
    );
    let open = say!(
        "{} in missing.csv",
        counted(missing, text!("matter to settle"), text!("matters to settle"))
    );
    let held: Vec<String> = [(crews, small), (missing, open)]
        .into_iter()
        .filter(|(n, _)| *n > 0)
        .map(|(_, s)| s)
        .collect();
    if held.is_empty() { String::new() } else { format!("; {}", held.join(", ")) }
}
