//! Trials that vary something else than pruning: what their treatments do is no effect of a cut.

use crate::frame::{floats, ints, texts};
use crate::trials::TrialTree;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, TrialDeclaration};
use std::collections::BTreeMap;

/// Largest difference between the cuts of a trial, fraction of the canopy, by which all are alike.
const ALIKE: f64 = 0.02;
/// Least share of the variance of cuts within a season that the treatments of a trial of pruning make, adjusted
/// for their number: cuts by eye scatter, and a lot drawn for something else does not tell how hard to cut.
const BY_TREATMENT: f64 = 0.5;

/// Marks as `other` the tree-seasons of declared trials without an amount of cutting or of days, whose
/// treatments do not tell how hard a tree was cut: fertilised trees that bear more unpruned would look like what
/// leaving trees unpruned does.
pub(crate) fn marked(
    linked: DataFrame,
    trees: &[TrialTree],
    book: &Book,
) -> PolarsResult<DataFrame> {
    let varies_something_else = |trial: &TrialDeclaration| {
        trial.keyed_factors().next().is_some()
            && !trial.amounts.values().any(|unit| unit == "fraction" || unit == "days")
    };
    let candidates = book.trials.iter().filter(|(_, trial)| varies_something_else(trial));
    let candidates: BTreeMap<&str, &TrialDeclaration> =
        candidates.map(|(id, trial)| (id.as_str(), trial)).collect();
    if candidates.is_empty() {
        return Ok(linked);
    }
    let mut treatments: BTreeMap<(&str, &str), Vec<Option<&str>>> = BTreeMap::new();
    for tree in trees {
        if let Some(trial) = candidates.get(tree.trial.as_str()) {
            let level = |factor| tree.columns.get(factor).and_then(Option::as_deref);
            let levels = trial.keyed_factors().map(|(_, factor)| level(factor)).collect();
            treatments.insert((&tree.trial, &tree.tree), levels);
        }
    }
    // Per trial the cuts by season and treatment.
    let mut cuts: BTreeMap<&str, Cuts<'_>> = BTreeMap::new();
    let ids = texts(&linked, ts::TRIAL)?.iter().zip(texts(&linked, ts::TREE)?.iter());
    let cut = ints(&linked, ts::SEASON)?.iter().zip(floats(&linked, ts::INTENSITY)?.iter());
    for ((trial, tree), (season, cut)) in ids.zip(cut) {
        let (Some((trial, tree)), Some((season, cut))) = (trial.zip(tree), season.zip(cut)) else {
            continue;
        };
        if let Some(treatment) = treatments.get(&(trial, tree)) {
            let season = cuts.entry(trial).or_default().entry(season).or_default();
            season.entry(treatment).or_default().push(cut);
        }
    }
    let other: Vec<String> = cuts
        .into_iter()
        .filter(|(_, cuts)| !tell_of_pruning(cuts))
        .map(|(trial, _)| trial.to_owned())
        .collect();
    let is_other = other.into_iter().map(|trial| col(ts::TRIAL).eq(lit(trial))).reduce(Expr::or);
    let Some(is_other) = is_other else { return Ok(linked) };
    let evidence =
        when(is_other.fill_null(lit(false))).then(lit("other")).otherwise(col(ts::EVIDENCE));
    linked.lazy().with_column(evidence.alias(ts::EVIDENCE)).collect()
}

/// Cuts by season and treatment.
type Cuts<'a> = BTreeMap<i32, BTreeMap<&'a Vec<Option<&'a str>>, Vec<f64>>>;

/// Whether the treatments of a trial tell how hard its trees were cut; a tree alone shows nothing else.
fn tell_of_pruning(cuts: &Cuts<'_>) -> bool {
    let all = || cuts.values().flat_map(|season| season.values().flatten().copied());
    let trees = cuts.values().map(|season| season.values().map(Vec::len).sum::<usize>());
    if trees.max().unwrap_or_default() < 2 {
        return true;
    }
    if all().fold(f64::MIN, f64::max) - all().fold(f64::MAX, f64::min) <= ALIKE {
        return false;
    }
    let squares = |values: &[f64]| {
        let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
        values.iter().map(|value| (value - mean).powi(2)).sum::<f64>()
    };
    let number = all().count() as f64;
    let groups = cuts.values().map(BTreeMap::len).sum::<usize>() as f64;
    let within: f64 = cuts.values().flat_map(BTreeMap::values).map(|own| squares(own)).sum();
    let total: f64 = cuts
        .values()
        .map(|season| squares(&season.values().flatten().copied().collect::<Vec<f64>>()))
        .sum();
    let (within_df, total_df) = (number - groups, number - cuts.len() as f64);
    // Without a treatment given twice in a season nothing tells, and nothing is left out.
    within_df <= 0.0 || 1.0 - (within / within_df) / (total / total_df) >= BY_TREATMENT
}
