//! A random forest beside the fitted surface, both scored by leaving a season out.
//!
//! If the forest predicts clearly better, the surface misses something. Predictions and yields are
//! compared within site and season, because no model can know the level of a season it has not seen.

mod features;
mod forest;
mod tree;

use crate::design::{Design, RegionCurves};
use crate::scale::Scale;
use crate::table::TreeSeasons;
use crate::yield_model::{YieldError, data, identify, usable};
use mixed::{Fit, Settings};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Tree-seasons a left-out season needs to be scored.
const LEAST_ROWS: usize = 20;
/// Seasons left out at the most, the latest ones.
const MOST_SEASONS: usize = 6;
/// Relative advantage of the forest that counts as clearly better.
const CLEARLY: f64 = 0.03;

/// Root-mean-square errors on the model's scale within site and season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChallengerScore {
    /// One entry per left-out season.
    pub seasons: Vec<SeasonScore>,
    /// Error of the fitted surface over all left-out seasons.
    pub surface_rmse: f64,
    /// Error of the forest.
    pub forest_rmse: f64,
    /// Error of predicting no differences at all.
    pub blank_rmse: f64,
}

/// Errors in one left-out season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeasonScore {
    /// The season.
    pub season: i32,
    /// Tree-seasons predicted.
    pub rows: u64,
    /// Error of the fitted surface.
    pub surface_rmse: f64,
    /// Error of the forest.
    pub forest_rmse: f64,
}

impl ChallengerScore {
    /// Whether the forest predicts clearly better than the surface.
    #[must_use]
    pub fn forest_is_better(&self) -> bool {
        self.forest_rmse < (1.0 - CLEARLY) * self.surface_rmse
    }

    /// Scores surface and forest; `None` with fewer than three seasons, since two must remain to
    /// tell trees from seasons.
    ///
    /// # Errors
    /// When a season's model cannot be fitted.
    pub fn of(table: &TreeSeasons, scale: Scale, seed: u64) -> Result<Option<Self>, YieldError> {
        let (table, _) = usable(table)?;
        let seasons: BTreeSet<i32> = table.season.iter().copied().collect();
        if seasons.len() < 3 {
            return Ok(None);
        }
        let mut design = Design::new(&table, RegionCurves::PartialPooling);
        identify(&table, &mut design)?;
        let response: Vec<f64> = table.yield_kg.iter().map(|&kg| scale.forward(kg)).collect();
        let mut scores = Vec::new();
        let mut sums = [0.0; 3];
        for &season in seasons.iter().rev().take(MOST_SEASONS) {
            let left_out: Vec<usize> =
                (0..table.len()).filter(|&row| table.season[row] == season).collect();
            if left_out.len() < LEAST_ROWS {
                continue;
            }
            let surface = surface_predictions(&table, &design, &response, season)?;
            let forest = features::predict(&table, &response, season, seed)?;
            let errors = |predicted: &dyn Fn(usize) -> f64| {
                squared_error(&table, &left_out, &|row| response[row] - predicted(row))
            };
            let squared =
                [errors(&|row| surface[row]), errors(&|row| forest[row]), errors(&|_| 0.0)];
            for (sum, value) in sums.iter_mut().zip(squared) {
                *sum += value;
            }
            let rows = left_out.len() as f64;
            scores.push(SeasonScore {
                season,
                rows: left_out.len() as u64,
                surface_rmse: (squared[0] / rows).sqrt(),
                forest_rmse: (squared[1] / rows).sqrt(),
            });
        }
        let rows: u64 = scores.iter().map(|score| score.rows).sum();
        if rows == 0 {
            return Ok(None);
        }
        scores.reverse();
        let [surface_rmse, forest_rmse, blank_rmse] = sums.map(|sum| (sum / rows as f64).sqrt());
        Ok(Some(Self { seasons: scores, surface_rmse, forest_rmse, blank_rmse }))
    }
}

/// Sum of squares of values after removing their mean in each site and season.
fn squared_error(table: &TreeSeasons, rows: &[usize], value: &dyn Fn(usize) -> f64) -> f64 {
    let mut groups: BTreeMap<u32, (f64, f64, f64)> = BTreeMap::new();
    for &row in rows {
        let (n, sum, squares) = groups.entry(table.site.codes[row]).or_insert((0.0, 0.0, 0.0));
        let value = value(row);
        *n += 1.0;
        *sum += value;
        *squares += value * value;
    }
    groups.values().map(|(n, sum, squares)| (squares - sum * sum / n).max(0.0)).sum()
}

/// Predictions of every row by the surface fitted without one season: fixed part, known trees and
/// blocks, regional curves.
fn surface_predictions(
    table: &TreeSeasons,
    design: &Design,
    response: &[f64],
    season: i32,
) -> Result<Vec<f64>, YieldError> {
    // The engine sets aside rows without a response.
    let seen: Vec<f64> = response
        .iter()
        .zip(&table.season)
        .map(|(&y, &s)| if s == season { f64::NAN } else { y })
        .collect();
    let fit = mixed::fit(&data(design, &seen), &Settings::default())?;
    let mut predicted = vec![0.0; table.len()];
    for (column, estimate) in design.columns.iter().zip(fit.estimates()) {
        if estimate.is_finite() {
            for (sum, value) in predicted.iter_mut().zip(&column.values) {
                *sum += estimate * value;
            }
        }
    }
    add_modes(design, &fit, &mut predicted)?;
    Ok(predicted)
}

fn add_modes(design: &Design, fit: &Fit, predicted: &mut [f64]) -> Result<(), YieldError> {
    for group in &design.groups {
        let modes = fit.conditional_modes(&group.name)?;
        for (row, (sum, &code)) in predicted.iter_mut().zip(&group.codes).enumerate() {
            let effects = modes.modes.row(code as usize);
            if group.slopes.is_empty() {
                *sum += effects.first().copied().unwrap_or(0.0);
            } else {
                for (&shape, effect) in group.slopes.iter().zip(effects) {
                    *sum += effect * design.shapes[shape][row];
                }
            }
        }
    }
    Ok(())
}
