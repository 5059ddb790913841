//! Predictions of tree-seasons that a fit has not seen.

use super::scale_choice::data;
use super::{YieldError, rough};
use crate::design::Design;
use crate::table::TreeSeasons;
use mixed::Fit;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// Tree-seasons a left-out season needs to be scored.
const LEAST_ROWS: usize = 20;
/// Seasons left out at the most, the latest ones.
const MOST_SEASONS: usize = 6;
/// Folds of blocks where there are too few seasons, and the blocks this takes.
const BLOCK_FOLDS: u32 = 5;
const LEAST_BLOCKS: usize = 10;

/// What is left out together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FoldKind {
    /// One season at a time.
    Season,
    /// A fifth of the blocks at a time, where there are fewer than three seasons.
    Blocks,
}

/// How rows are left out: sets of rows that are predicted from all others.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Folds {
    pub(crate) kind: FoldKind,
    /// Label (season or number of the fold) and rows of each fold.
    pub(crate) folds: Vec<(i32, Vec<usize>)>,
}

impl Folds {
    /// By season where three can be told apart, since two must remain to tell trees from seasons;
    /// else by blocks; `None` when there are too few of both.
    pub(crate) fn of(table: &TreeSeasons) -> Option<Self> {
        let seasons: BTreeSet<i32> = table.season.iter().copied().collect();
        let rows_of = |belongs: &dyn Fn(usize) -> bool| -> Vec<usize> {
            (0..table.len()).filter(|&row| belongs(row)).collect()
        };
        let (kind, mut folds): (_, Vec<(i32, Vec<usize>)>) = if seasons.len() >= 3 {
            let latest = seasons.iter().rev().take(MOST_SEASONS);
            (
                FoldKind::Season,
                latest.map(|&s| (s, rows_of(&|row| table.season[row] == s))).collect(),
            )
        } else if table.block.len() >= LEAST_BLOCKS {
            let fold = |k: u32| rows_of(&|row| table.block.codes[row] % BLOCK_FOLDS == k);
            (FoldKind::Blocks, (0..BLOCK_FOLDS).map(|k| (k as i32, fold(k))).collect())
        } else {
            return None;
        };
        folds.retain(|(_, rows)| rows.len() >= LEAST_ROWS);
        folds.sort_by_key(|(label, _)| *label);
        (!folds.is_empty()).then_some(Self { kind, folds })
    }
}

/// Predictions of the rows of every fold by fits that have not seen them: fixed part, known trees
/// and blocks, regional curves; NaN for rows in no fold.
pub(crate) fn predictions(
    table: &TreeSeasons,
    design: &Design,
    response: &[f64],
    folds: &Folds,
) -> Result<Vec<f64>, YieldError> {
    let mut predicted = vec![f64::NAN; table.len()];
    for (_, rows) in &folds.folds {
        // The engine sets aside rows without a response.
        let mut seen = response.to_vec();
        for &row in rows {
            seen[row] = f64::NAN;
        }
        let fit = mixed::fit(&data(design, &seen), &rough())?;
        let values = fitted(table, design, &fit)?;
        for &row in rows {
            predicted[row] = values[row];
        }
    }
    Ok(predicted)
}

/// Fixed part and conditional modes of every row.
fn fitted(table: &TreeSeasons, design: &Design, fit: &Fit) -> Result<Vec<f64>, YieldError> {
    let mut predicted = vec![0.0; table.len()];
    for (column, estimate) in design.columns.iter().zip(fit.estimates()) {
        if estimate.is_finite() {
            for (sum, value) in predicted.iter_mut().zip(&column.values) {
                *sum += estimate * value;
            }
        }
    }
    for group in &design.groups {
        let modes = fit.conditional_modes(&group.name)?;
        for (row, (sum, &code)) in predicted.iter_mut().zip(&group.codes).enumerate() {
            let effects = modes.modes.row(code as usize);
            if group.slopes.is_empty() {
                *sum += group.loading(row) * effects.first().copied().unwrap_or(0.0);
            } else {
                for (&shape, effect) in group.slopes.iter().zip(effects) {
                    *sum += effect * design.shapes[shape][row];
                }
            }
        }
    }
    Ok(predicted)
}

/// What the fit leaves of the response beside the tree's own level.
pub(crate) fn deviations(
    table: &TreeSeasons,
    design: &Design,
    response: &[f64],
    fit: &Fit,
) -> Result<Vec<f64>, YieldError> {
    let mut left: Vec<f64> = fitted(table, design, fit)?;
    if let Some(trees) = design.groups.iter().find(|group| group.name == "tree") {
        let modes = fit.conditional_modes("tree")?.modes;
        for (row, (sum, &code)) in left.iter_mut().zip(&trees.codes).enumerate() {
            *sum -= trees.loading(row) * modes.row(code as usize).first().copied().unwrap_or(0.0);
        }
    }
    Ok(response.iter().zip(left).map(|(y, fitted)| y - fitted).collect())
}
