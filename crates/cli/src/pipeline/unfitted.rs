//! A run whose records are too thin for a yield model: every region is told to lay out a trial.

use super::Checked;
use super::advice::Shared;
use super::work::plan;
use crate::console::Failure;
use advise::{Advice, Evidence, RegionAdvice};
use ingest_tables::Draw;
use model::{TreeSeasons, YieldError};
use records::{counted, noun};
use report::{Method, MethodItem};
use std::collections::BTreeSet;
use words::{say, text};
use workplan::plan::Plan;

/// What can be said without a fit.
pub struct Unfitted {
    /// Advice per region, all `trial`.
    pub advice: Advice,
    /// Work plan.
    pub plan: Plan,
    /// What the engine said.
    pub why: String,
    /// Tree-seasons past the training age.
    rows: u64,
}

/// Whether a fit failed for want of records, so that a trial is the answer; a book in which every
/// tree bears the same weight is not thin but wrong.
pub fn is_thin(error: &YieldError, table: &TreeSeasons) -> bool {
    use mixed::Error;
    match error {
        YieldError::Engine(Error::NoResidualVariation) => {
            let mut yields = table.yield_kg.iter();
            let first = yields.next();
            table.len() < 2 || yields.any(|kg| Some(kg) != first)
        }
        YieldError::Engine(
            Error::TooFewRows { .. }
            | Error::TooFewLevels { .. }
            | Error::DependentColumns { .. }
            | Error::Numerical { .. },
        ) => true,
        _ => false,
    }
}

/// Advice without a model.
pub fn advise(checked: &Checked, shared: &Shared<'_>, error: &YieldError) -> Unfitted {
    let book = &checked.tables.book;
    let table = shared.table;
    let mut regions: Vec<RegionAdvice> = book
        .regions
        .keys()
        .map(|region| {
            let season = i32::from(shared.next_season(region));
            let bare = advise::without_records(book, region, &shared.practice(region), season);
            described(bare, table)
        })
        .collect();
    shared.name_waiting(&mut regions);
    let plan = plan(book, &shared.holdings, &regions, &shared.costs);
    let rows = regions.iter().map(|region| region.rows).sum();
    Unfitted { advice: shared.advice(regions), plan, why: error.to_string(), rows }
}

/// Adds what the records of a region hold, and why it is not enough.
fn described(bare: RegionAdvice, table: &TreeSeasons) -> RegionAdvice {
    let of_region = |row: &usize| table.region.label(*row) == bare.region && !table.young[*row];
    let rows: Vec<usize> = (0..table.len()).filter(of_region).collect();
    if rows.is_empty() {
        return bare;
    }
    let trees: BTreeSet<u32> =
        rows.iter().filter_map(|&row| table.tree.codes.get(row).copied()).collect();
    let seasons: BTreeSet<i32> = rows.iter().map(|&row| table.season[row]).collect();
    let in_trial = rows.iter().filter(|&&row| table.in_trial[row]).count();
    let (number, trees, seasons) = (rows.len() as u64, trees.len() as u64, seasons.len() as u64);
    RegionAdvice {
        reason: say!(
            "Only {} of {} in {}, too few to fit a yield response.",
            counted(number, text!("tree-season"), text!("tree-seasons")),
            counted(trees, text!("tree"), text!("trees")),
            counted(
                seasons,
                noun(number, text!("season is recorded"), text!("season are recorded")),
                noun(number, text!("seasons is recorded"), text!("seasons are recorded"))
            )
        ),
        evidence: match in_trial {
            0 => Evidence::Routine,
            all if all == rows.len() => Evidence::Trial,
            _ => Evidence::Mixed,
        },
        rows: number,
        trees,
        seasons: u32::try_from(seasons).unwrap_or(u32::MAX),
        ..bare
    }
}

/// Words for the report.
pub fn method(unfitted: &Unfitted) -> Method {
    Method {
        sentences: vec![MethodItem {
            id: "no-model",
            heading: say!("No yield model"),
            text: say!(
                "No model could be fitted to these records ({}), so there are no curves, odds or gains, and every region is advised to go on as at present and lay out a trial. Each further tree recorded one by one, each earlier season found, and each intensity that differs between trees brings a fit nearer.",
                unfitted.why
            ),
        }],
        status: say!("not fitted"),
        limits: vec![say!("What pruning does to these trees: the records are too few to say.")],
        df_method: "none".to_owned(),
        scale: "none".to_owned(),
        rows_used: 0,
        rows_dropped: vec![(say!("too few for a fit"), unfitted.rows)],
        ..Method::default()
    }
}

/// The text of `fit.json` of a run without a fit.
///
/// # Errors
/// When the program broke a promise.
pub fn fit_json(checked: &Checked, unfitted: &Unfitted) -> Result<String, Failure> {
    let value = serde_json::json!({
        "version": env!("CARGO_PKG_VERSION"),
        "inputs_fingerprint": checked.tables.fingerprint(),
        "trees_drawn": checked.tables.draw.as_ref().map(Draw::share),
        "inputs": checked.tables.files.iter().map(|file| serde_json::json!({
            "file": file.file, "fingerprint": file.fingerprint,
            "rows_read": file.rows_read, "rows_kept": file.rows_kept,
            "rows_not_drawn": file.rows_not_drawn,
        })).collect::<Vec<_>>(),
        "book": checked.tables.book,
        "practice": checked.linked.practice,
        "status": text!("not fitted"),
        "reason": unfitted.why,
    });
    serde_json::to_string_pretty(&value)
        .map(|text| text + "\n")
        .map_err(|error| Failure::new(error, "this is a defect of the program; please report it"))
}
