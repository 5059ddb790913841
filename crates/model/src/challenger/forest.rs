//! A regression forest: linfa's bagging with random feature subsets over our regression trees.

use super::tree::{RegressionTree, TreeParams};
use linfa::DatasetBase;
use linfa::prelude::{Fit, ParamGuard, Predict};
use linfa_ensemble::{EnsembleLearner, EnsembleLearnerParams};
use linfa_rng::ChaCha8Rng;
use linfa_rng::rand_core::SeedableRng;
use ndarray::{Array1, Array2, Axis};

/// Trees of a forest, share of rows and features each sees.
const TREES: usize = 80;
const ROW_SHARE: f64 = 0.5;
/// Rows that a tree sees at the most: its leaves are small enough by then.
const MOST_ROWS: f64 = 10_000.0;
const FEATURE_SHARE: f64 = 0.7;
/// linfa's ensembles take whole-number targets: responses are carried in millionths.
const UNIT: f64 = 1e6;

/// A grown forest.
pub(super) struct Forest {
    ensemble: EnsembleLearner<RegressionTree>,
}

impl Forest {
    /// Grows a forest on records (rows x features) and finite targets; the same seed gives the same forest.
    pub(super) fn grow(
        records: Array2<f64>,
        targets: &[f64],
        seed: u64,
    ) -> Result<Self, linfa::Error> {
        let share = ROW_SHARE.min(MOST_ROWS / records.nrows().max(1) as f64);
        let targets: Array1<i64> = targets.iter().map(|y| (y * UNIT).round() as i64).collect();
        let ensemble = EnsembleLearnerParams::new_fixed_rng(
            TreeParams::default().check()?,
            ChaCha8Rng::seed_from_u64(seed),
        )
        .ensemble_size(TREES)
        .bootstrap_proportion(share)
        .feature_proportion(FEATURE_SHARE)
        .check()?
        .fit(&DatasetBase::new(records, targets))?;
        Ok(Self { ensemble })
    }

    /// Mean prediction of the trees for each row. linfa's own prediction takes a vote, which has no
    /// meaning for a number.
    pub(super) fn predict(&self, features: &Array2<f64>) -> Vec<f64> {
        let mut sums = vec![0.0; features.nrows()];
        for (tree, chosen) in self.ensemble.models.iter().zip(&self.ensemble.model_features) {
            let own = features.select(Axis(1), chosen);
            let predicted: Array1<i64> = tree.predict(&own);
            for (sum, value) in sums.iter_mut().zip(predicted) {
                *sum += value as f64 / UNIT;
            }
        }
        let trees = self.ensemble.models.len().max(1) as f64;
        sums.into_iter().map(|sum| sum / trees).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A step and an interaction that no straight line follows.
    #[test]
    fn a_forest_follows_a_known_step() {
        let n = 900;
        let records = Array2::from_shape_fn((n, 2), |(row, column)| {
            let k = row * (7 + 6 * column) % 101;
            k as f64 / 101.0
        });
        let truth = |x: f64, z: f64| if x > 0.5 { 2.0 + z } else { 1.0 };
        let targets: Vec<f64> = records.rows().into_iter().map(|r| truth(r[0], r[1])).collect();
        let forest = Forest::grow(records.clone(), &targets, 3).unwrap();
        let predicted = forest.predict(&records);
        let mse =
            predicted.iter().zip(&targets).map(|(p, t)| (p - t).powi(2)).sum::<f64>() / n as f64;
        let mean = targets.iter().sum::<f64>() / n as f64;
        let variance = targets.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / n as f64;
        assert!(mse < 0.15 * variance, "{mse} against {variance}");
        let again = Forest::grow(records.clone(), &targets, 3).unwrap().predict(&records);
        assert_eq!(predicted, again);
    }
}
