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

/// Share of the variance of intensity that lies within trees, below which trees keep theirs.
const KEPT_BELOW: f64 = 0.1;

/// What is left out together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FoldKind {
    /// One season at a time.
    Season,
    /// A fifth of the blocks at a time, where there are fewer than three seasons.
    Blocks,
    /// A fifth of the trees at a time with all their seasons, where trees keep their intensity.
    Trees,
}

/// Spread of trees about what else is known of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TreeSpread {
    /// Residual variance.
    pub(super) residual: f64,
    /// Variance of trees' levels over the residual variance.
    pub(super) ratio: f64,
}

impl TreeSpread {
    /// As a fit has it.
    pub(super) fn of(fit: &Fit) -> Result<Self, YieldError> {
        let components = fit.variance_components()?;
        let residual = components.residual.powi(2);
        let tree = components.factors.iter().find(|factor| factor.factor == "tree");
        let own = tree.and_then(|factor| factor.standard_deviations.first()).copied();
        Ok(Self { residual, ratio: own.unwrap_or(0.0).powi(2) / residual })
    }
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

    /// Fifths of the trees of those regions in which trees keep their intensity over the seasons:
    /// there a season left out would be predicted from the trees' own levels, in which the effect
    /// of their intensity is contained whatever the curve. `None` without such regions.
    pub(crate) fn of_trees(table: &TreeSeasons) -> Option<Self> {
        let kept = keeping_regions(table);
        let fold = |k: u32| -> (i32, Vec<usize>) {
            let belongs = |row: &usize| {
                // Scattered, so that a field's order of treatments and the folds do not go together.
                let scattered = table.tree.codes[*row].wrapping_mul(2_654_435_761) >> 16;
                kept[table.region.codes[*row] as usize] && scattered % BLOCK_FOLDS == k
            };
            (k as i32, (0..table.len()).filter(belongs).collect())
        };
        let folds: Vec<(i32, Vec<usize>)> = (0..BLOCK_FOLDS)
            .map(fold)
            .filter(|(_, rows)| rows.len() >= LEAST_ROWS / BLOCK_FOLDS as usize)
            .collect();
        (!folds.is_empty()).then_some(Self { kind: FoldKind::Trees, folds })
    }
}

/// Regions, by code, in which trees differ in intensity and each keeps its own.
fn keeping_regions(table: &TreeSeasons) -> Vec<bool> {
    let mean_by = |codes: &[u32], count: usize| -> Vec<f64> {
        let mut sums = vec![(0.0, 0.0); count];
        for (&code, intensity) in codes.iter().zip(&table.intensity) {
            let own = &mut sums[code as usize];
            *own = (own.0 + intensity, own.1 + 1.0);
        }
        sums.iter().map(|(sum, n)| sum / f64::max(*n, 1.0)).collect()
    };
    let of_tree = mean_by(&table.tree.codes, table.tree.len());
    let of_region = mean_by(&table.region.codes, table.region.len());
    let mut squares = vec![(0.0, 0.0); table.region.len()];
    for (row, intensity) in table.intensity.iter().enumerate() {
        let region = table.region.codes[row] as usize;
        let own = &mut squares[region];
        own.0 += (intensity - of_tree[table.tree.codes[row] as usize]).powi(2);
        own.1 += (intensity - of_region[region]).powi(2);
    }
    squares.iter().map(|(within, all)| *all > 0.0 && *within < KEPT_BELOW * all).collect()
}

/// Predictions of the rows of every fold by fits that have not seen them: fixed part, known trees
/// and blocks, earlier crops, regional curves; NaN for rows in no fold.
pub(crate) fn predictions(
    table: &TreeSeasons,
    design: &Design,
    response: &[f64],
    folds: &Folds,
) -> Result<Vec<f64>, YieldError> {
    let mut predicted = vec![f64::NAN; table.len()];
    let mut before = None;
    for (_, rows) in &folds.folds {
        let (design, crop) = design.without_crops_of(table, rows);
        // The engine sets aside rows without a response.
        let mut seen: Vec<f64> = response.iter().zip(&crop).map(|(y, crop)| y - crop).collect();
        for &row in rows {
            seen[row] = f64::NAN;
        }
        let fit = mixed::fit(&data(&design, &seen), &rough(before.as_ref()))?;
        let values = fitted(table, &design, &fit)?;
        for &row in rows {
            predicted[row] = crop[row] + values[row];
        }
        before = Some(fit);
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
        let modes = fit.modes(&group.name)?;
        for (row, (sum, &code)) in predicted.iter_mut().zip(&group.codes).enumerate() {
            let effects = modes.row(code as usize);
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
        let modes = fit.modes("tree")?;
        for (row, (sum, &code)) in left.iter_mut().zip(&trees.codes).enumerate() {
            *sum -= trees.loading(row) * modes.row(code as usize).first().copied().unwrap_or(0.0);
        }
    }
    Ok(response.iter().zip(left).map(|(y, fitted)| y - fitted).collect())
}
