//! Field sheets of a trial that is under way, for another season: nothing is drawn.

use crate::args::LayoutArgs;
use crate::console::{Failure, Outcome, Stages};
use crate::pipeline::trials::field;
use crate::pipeline::{Standing, from_ingest};
use ingest_seasons::standing_trees;
use report::ReportError;
use std::collections::{BTreeMap, BTreeSet};
use trials::layout::Layout;
use words::say;

/// Trees that a message lists.
const SHOWN: usize = 12;

/// Prints the sheets of a layout drawn before, without the trees that the book says are gone.
pub fn execute(args: &LayoutArgs) -> Result<Outcome, Failure> {
    let shown = args.request.display();
    let mut layout = read(args)?;
    if args.seed.is_some() {
        return Err(Failure::new(
            format!("{shown} is a layout that was drawn, and --seed would draw anew"),
            "leave --seed out to print its sheets again; to draw a trial give its request, REQUEST.toml",
        ));
    }
    if let Some(book) = &args.book {
        let stages = Stages::new();
        let standing = Standing::of(book, &stages);
        stages.finish();
        let standing = standing?;
        standing.tables.check_unchanged(book).map_err(from_ingest)?;
        let gone = without_gone(&mut layout, &standing, args)?;
        layout.leads.clear();
        layout.date_leads(&field::regions(&layout, &standing)?);
        layout.remarks = gone.into_iter().collect();
        layout.remarks.extend(field::remarks(&layout, &standing)?);
    }
    report::publish(&args.out, report::Writer::Layout, |dir| -> Result<(), ReportError> {
        report::write_sheets_again(&layout, dir)
    })
    .map_err(|error| super::super::from_publish(&error))?;
    super::print(args, &layout)
}

fn read(args: &LayoutArgs) -> Result<Layout, Failure> {
    let shown = args.request.display();
    let hint = "name the layout.json that anacurve layout wrote when the trial was drawn";
    let text = std::fs::read_to_string(&args.request)
        .map_err(|error| Failure::new(format!("{shown}: {error}"), hint))?;
    serde_json::from_str(&text).map_err(|error| {
        Failure::new(format!("{shown}:{}: no layout of a trial: {error}", error.line()), hint)
    })
}

/// Takes the trees out that no longer stand, and says which.
fn without_gone(
    layout: &mut Layout,
    standing: &Standing,
    args: &LayoutArgs,
) -> Result<Option<String>, Failure> {
    let trees = standing_trees(&standing.tables).map_err(from_ingest)?;
    let known: BTreeMap<&str, bool> =
        trees.iter().map(|tree| (tree.tree.as_str(), !tree.is_gone())).collect();
    let own: BTreeSet<String> = layout
        .plots
        .iter()
        .flat_map(|plot| plot.trees.iter().chain(&plot.border))
        .map(|tree| tree.tree.clone())
        .collect();
    if !own.iter().any(|tree| known.contains_key(tree.as_str())) {
        return Err(Failure::new(
            format!(
                "no tree of trial {} in {} is in the book's tree table",
                layout.trial,
                args.request.display()
            ),
            "name the book that the trial was laid out in, or leave --book out to print every tree drawn",
        ));
    }
    let stands = |tree: &str| known.get(tree).copied().unwrap_or(false);
    for plot in &mut layout.plots {
        plot.trees.retain(|tree| stands(&tree.tree));
        plot.border.retain(|tree| stands(&tree.tree));
    }
    layout.guards.retain(|tree| stands(&tree.tree));
    let gone: Vec<String> = own.into_iter().filter(|tree| !stands(tree)).collect();
    if gone.is_empty() {
        return Ok(None);
    }
    let shown: Vec<&str> = gone.iter().take(SHOWN).map(String::as_str).collect();
    let more = if gone.len() > SHOWN { ", ..." } else { "" };
    let said = say!(
        "Left out, since by the book they no longer stand: {} of the layout ({}{more}).",
        ::words::counted(gone.len() as u64, words::text!("tree"), words::text!("trees")),
        shown.join(", ")
    );
    layout.gone = gone;
    Ok(Some(said))
}
