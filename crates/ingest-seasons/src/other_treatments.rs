//! Trials that vary something else than pruning: what their treatments do is no effect of a cut.

use crate::frame::{TREE_NO, floats, indices, texts};
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, TrialDeclaration};
use std::collections::{BTreeMap, BTreeSet};

/// Largest difference between the cuts of a trial, fraction of the canopy, by which all are alike.
const ALIKE: f64 = 0.02;

/// Marks as `other` the tree-seasons of declared trials without an amount of cutting or of days, in which all
/// trees were cut alike: fertilised trees that bear more unpruned would look like what leaving trees
/// unpruned does.
pub(crate) fn marked(linked: DataFrame, book: &Book) -> PolarsResult<DataFrame> {
    let varies_something_else = |trial: &TrialDeclaration| {
        trial.keyed_factors().next().is_some()
            && !trial.amounts.values().any(|unit| unit == "fraction" || unit == "days")
    };
    // Per trial its trees, and the least and greatest cut.
    let mut seen: BTreeMap<&str, (BTreeSet<u32>, [f64; 2])> = BTreeMap::new();
    let trials = texts(&linked, ts::TRIAL)?.iter().zip(indices(&linked, TREE_NO)?.iter());
    for ((trial, tree), cut) in trials.zip(floats(&linked, ts::INTENSITY)?.iter()) {
        let (Some(trial), Some(tree), Some(cut)) = (trial, tree, cut) else { continue };
        if book.trials.get(trial).is_some_and(varies_something_else) {
            let (trees, [least, most]) = seen.entry(trial).or_insert((BTreeSet::new(), [cut, cut]));
            trees.insert(tree);
            (*least, *most) = (least.min(cut), most.max(cut));
        }
    }
    let other: Vec<String> = seen
        .into_iter()
        .filter(|(_, (trees, [least, most]))| trees.len() > 1 && most - least <= ALIKE)
        .map(|(trial, _)| trial.to_owned())
        .collect();
    if other.is_empty() {
        return Ok(linked);
    }
    let is_other = other.into_iter().map(|trial| col(ts::TRIAL).eq(lit(trial))).reduce(Expr::or);
    let evidence = when(is_other.unwrap_or(lit(false)).fill_null(lit(false)))
        .then(lit("other"))
        .otherwise(col(ts::EVIDENCE));
    linked.lazy().with_column(evidence.alias(ts::EVIDENCE)).collect()
}
