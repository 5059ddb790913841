//! A random forest beside the fitted surface, both scored by leaving a season out.
//!
//! If the forest predicts clearly better, the surface misses something. Predictions and yields are
//! compared within site and season, because no model can know the level of a season it has not seen.

mod features;
mod forest;
mod tree;

use crate::table::TreeSeasons;
use crate::yield_model::{FoldKind, Unseen, YieldError, YieldModel, usable};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

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

    /// Scores a fitted model's surface and a forest; `None` with fewer than three seasons, since
    /// two must remain to tell trees from seasons.
    ///
    /// # Errors
    /// When the forest cannot be grown.
    pub fn of(
        table: &TreeSeasons,
        model: &YieldModel,
        seed: u64,
    ) -> Result<Option<Self>, YieldError> {
        let Some(Unseen { rows, folds, predicted: surface }) = &model.unseen else {
            return Ok(None);
        };
        if folds.kind != FoldKind::Season {
            return Ok(None);
        }
        let (mut table, _) = usable(table)?;
        if rows.len() < table.len() {
            table = table.select(rows);
        }
        let response: Vec<f64> = table.yield_kg.iter().map(|&kg| model.scale.forward(kg)).collect();
        let mut scores = Vec::new();
        let mut sums = [0.0; 3];
        for (season, left_out) in &folds.folds {
            let forest = features::predict(&table, &response, *season, seed)?;
            let errors = |predicted: &dyn Fn(usize) -> f64| {
                squared_error(&table, left_out, &|row| response[row] - predicted(row))
            };
            let squared =
                [errors(&|row| surface[row]), errors(&|row| forest[row]), errors(&|_| 0.0)];
            for (sum, value) in sums.iter_mut().zip(squared) {
                *sum += value;
            }
            let rows = left_out.len() as f64;
            scores.push(SeasonScore {
                season: *season,
                rows: left_out.len() as u64,
                surface_rmse: (squared[0] / rows).sqrt(),
                forest_rmse: (squared[1] / rows).sqrt(),
            });
        }
        let rows: u64 = scores.iter().map(|score| score.rows).sum();
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
