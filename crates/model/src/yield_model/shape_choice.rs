//! The family of the intensity curve, by how well it predicts what it has not seen.
//!
//! Each family predicts left-out seasons; families share the posterior draws by pseudo-Bayesian
//! model averaging with a Bayesian bootstrap over site x season clusters, so that one that predicts
//! clearly worse gets nothing and close ones are averaged (Yao, Vehtari, Simpson and Gelman, 2018,
//! Bayesian Analysis 13(3):917-1003, section 3.4).

use super::YieldError;
use super::left_out::{FoldKind, Folds, predictions};
use crate::curve::{IntensityShape, Knots};
use crate::design::Design;
use crate::region_curve::quantile;
use crate::support::{Support, UNPRUNED_BELOW};
use crate::table::TreeSeasons;
use linfa_rng::ChaCha8Rng;
use linfa_rng::rand_core::{RngCore, SeedableRng};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Distinct intensities that a knotted curve and a plateau need in order to be told from a parabola.
const LEAST_LEVELS: usize = 5;
/// Weight below which a family is not averaged in.
const LEAST_WEIGHT: f64 = 0.05;
/// Replicates of the Bayesian bootstrap.
const REPLICATES: usize = 1000;
/// Distance that knots keep, fraction of the canopy.
const LEAST_KNOT_DISTANCE: f64 = 0.05;
/// Knees tried, as fractions of the canopy.
const KNEES: [f64; 9] = [0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50];

/// How a family predicted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ShapeScore {
    /// The family.
    pub shape: IntensityShape,
    /// Root-mean-square error within site and season on the model's scale; `None` when nothing
    /// could be left out.
    pub rmse: Option<f64>,
    /// Share of the posterior draws.
    pub weight: f64,
}

/// The families with their weights.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeChoice {
    /// Where the knotted curve and the plateau bend.
    pub knots: Knots,
    /// What was left out; `None` when nothing could be, and the quadratic stands alone.
    pub folds: Option<FoldKind>,
    /// Scores, simplest family first.
    pub scores: Vec<ShapeScore>,
}

impl ShapeChoice {
    /// The family with the largest weight; the simplest of equals.
    #[must_use]
    pub fn leading(&self) -> IntensityShape {
        let best = self.scores.iter().rev().max_by(|a, b| a.weight.total_cmp(&b.weight));
        best.map_or(IntensityShape::Quadratic, |score| score.shape)
    }

    fn quadratic_alone(knots: Knots) -> Self {
        let score = ShapeScore { shape: IntensityShape::Quadratic, rmse: None, weight: 1.0 };
        Self { knots, folds: None, scores: vec![score] }
    }
}

/// The choice with the averaged predictions of left-out rows.
pub(super) struct Chosen {
    pub(super) choice: ShapeChoice,
    /// Where each region's plateau may begin.
    pub(super) knees: Knees,
    /// Folds and weighted predictions; `None` when nothing could be left out.
    pub(super) predicted: Option<(Folds, Vec<f64>)>,
}

/// Makes the columns of a family with its knots and the knees of the regions.
type Columns<'a> = dyn Fn(IntensityShape, Knots, &[f64]) -> Result<Design, YieldError> + 'a;

/// Scores the families; `design` makes a family's columns, `adjusted` is the response without
/// everything but pruning.
pub(super) fn choose(
    table: &TreeSeasons,
    response: &[f64],
    adjusted: &[f64],
    design: &Columns<'_>,
    seed: u64,
) -> Result<Chosen, YieldError> {
    let knots = knots(table, adjusted);
    let knees = Knees::of(table, adjusted, knots);
    let Some(folds) = Folds::of(table) else {
        return Ok(Chosen { choice: ShapeChoice::quadratic_alone(knots), knees, predicted: None });
    };
    let levels = Support::of(&table.intensity, &table.lead_days).map_or(0, |s| s.levels);
    let families: &[IntensityShape] =
        if levels < LEAST_LEVELS { &IntensityShape::ALL[..1] } else { &IntensityShape::ALL };
    let mut predicted = Vec::new();
    for &family in families {
        predicted.push(predictions(table, &design(family, knots, &knees.best)?, response, &folds)?);
    }
    let squares: Vec<Vec<f64>> =
        predicted.iter().map(|p| cluster_squares(table, &folds, response, p)).collect();
    let rows: usize = folds.folds.iter().map(|(_, rows)| rows.len()).sum();
    let weights = trimmed(&bootstrap_weights(&squares, rows, seed));
    let mut averaged = vec![0.0; table.len()];
    for (values, weight) in predicted.iter().zip(&weights) {
        for (sum, value) in averaged.iter_mut().zip(values) {
            *sum += weight * value;
        }
    }
    let scores = families
        .iter()
        .zip(squares.iter().zip(&weights))
        .map(|(&shape, (squares, &weight))| ShapeScore {
            shape,
            rmse: Some((squares.iter().sum::<f64>() / rows.max(1) as f64).sqrt()),
            weight,
        })
        .collect();
    Ok(Chosen {
        choice: ShapeChoice { knots, folds: Some(folds.kind), scores },
        knees,
        predicted: Some((folds, averaged)),
    })
}

/// The thirds of the pruned intensities as knots, and the knee at which a plateau in every region
/// comes closest to the adjusted response.
fn knots(table: &TreeSeasons, adjusted: &[f64]) -> Knots {
    let mut pruned: Vec<f64> =
        table.intensity.iter().copied().filter(|i| *i >= UNPRUNED_BELOW).collect();
    pruned.sort_by(f64::total_cmp);
    let (Some(&least), Some(&most)) = (pruned.first(), pruned.last()) else {
        return Knots::default();
    };
    let third = |k: f64| ((quantile(&pruned, k / 3.0) * 100.0).round() / 100.0).max(0.01);
    let first = third(1.0);
    let knots = [first, third(2.0).max(first + LEAST_KNOT_DISTANCE)];
    let tried = |knee: &f64| (least..=most).contains(knee);
    let all: Vec<f64> = KNEES.into_iter().filter(tried).collect();
    let knee = all
        .iter()
        .map(|&knee| (unexplained(table, adjusted, knee).iter().sum::<f64>(), knee))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(first, |(_, knee)| knee);
    Knots { knots, knee }
}

/// Where the plateau of each region may begin: the knees tried with their posterior weights, for a
/// flat prior over those within the region's pruned intensities and normal errors.
pub(super) struct Knees {
    /// The likeliest knee of each region, by code.
    pub(super) best: Vec<f64>,
    /// Knees and weights of each region.
    weights: Vec<Vec<(f64, f64)>>,
}

impl Knees {
    fn of(table: &TreeSeasons, adjusted: &[f64], knots: Knots) -> Self {
        let left: Vec<(f64, Vec<f64>)> =
            KNEES.iter().map(|&knee| (knee, unexplained(table, adjusted, knee))).collect();
        let rows = adjusted.len().max(1) as f64;
        let least =
            |region: usize| left.iter().map(|(_, own)| own[region]).fold(f64::INFINITY, f64::min);
        let regions = table.region.len();
        let variance = (0..regions).map(least).sum::<f64>() / rows;
        let weights: Vec<Vec<(f64, f64)>> = (0..regions)
            .map(|region| {
                let own = (0..table.len())
                    .filter(|&row| table.region.codes[row] as usize == region)
                    .map(|row| table.intensity[row])
                    .filter(|intensity| *intensity >= UNPRUNED_BELOW);
                let (low, high) = own.fold((f64::INFINITY, 0.0_f64), |(low, high), intensity| {
                    (low.min(intensity), high.max(intensity))
                });
                let tried: Vec<(f64, f64)> = left
                    .iter()
                    .filter(|(knee, _)| (low..=high).contains(knee))
                    .map(|(knee, own)| {
                        (*knee, (-0.5 * (own[region] - least(region)) / variance).exp())
                    })
                    .collect();
                let sum: f64 = tried.iter().map(|(_, weight)| weight).sum();
                if sum > 0.0 {
                    tried.into_iter().map(|(knee, weight)| (knee, weight / sum)).collect()
                } else {
                    vec![(knots.knee, 1.0)]
                }
            })
            .collect();
        let best = weights
            .iter()
            .map(|own| {
                let best = own.iter().max_by(|a, b| a.1.total_cmp(&b.1));
                best.map_or(knots.knee, |(knee, _)| *knee)
            })
            .collect();
        Self { best, weights }
    }

    /// Knees of all regions drawn from their weights, one vector for each of a number of fits, the
    /// likeliest first.
    pub(super) fn draws(&self, count: usize, seed: u64) -> Vec<Vec<f64>> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut draw = |own: &[(f64, f64)]| {
            let mut left = unit(&mut rng);
            let found = own.iter().find(|(_, weight)| {
                left -= weight;
                left <= 0.0
            });
            found.or(own.last()).map_or(0.0, |(knee, _)| *knee)
        };
        let mut all = vec![self.best.clone()];
        for _ in 1..count {
            all.push(self.weights.iter().map(|own| draw(own)).collect());
        }
        all
    }
}

/// Sum of squares that a plateau with a level and a rise of its own leaves in each region.
fn unexplained(table: &TreeSeasons, adjusted: &[f64], knee: f64) -> Vec<f64> {
    let mut sums = vec![[0.0; 6]; table.region.len()];
    for (row, &y) in adjusted.iter().enumerate() {
        let x = (table.intensity[row] / knee).min(1.0);
        let x = x * (2.0 - x);
        let own = &mut sums[table.region.codes[row] as usize];
        for (sum, term) in own.iter_mut().zip([1.0, x, x * x, y, x * y, y * y]) {
            *sum += term;
        }
    }
    sums.iter()
        .map(|[n, x, xx, y, xy, yy]| {
            if *n == 0.0 {
                return 0.0;
            }
            let (sxx, sxy, syy) = (xx - x * x / n, xy - x * y / n, yy - y * y / n);
            if sxx > 1e-12 { syy - sxy * sxy / sxx } else { syy }
        })
        .collect()
}

/// Squared errors of the rows of each site x fold cluster, after removing their mean within site
/// and season: no model can know the level of a season it has not seen.
fn cluster_squares(
    table: &TreeSeasons,
    folds: &Folds,
    response: &[f64],
    predicted: &[f64],
) -> Vec<f64> {
    let mut clusters: BTreeMap<(i32, u32, i32), (f64, f64, f64)> = BTreeMap::new();
    for (label, rows) in &folds.folds {
        for &row in rows {
            let key = (*label, table.site.codes[row], table.season[row]);
            let (n, sum, squares) = clusters.entry(key).or_insert((0.0, 0.0, 0.0));
            let error = response[row] - predicted[row];
            *n += 1.0;
            *sum += error;
            *squares += error * error;
        }
    }
    clusters.values().map(|(n, sum, squares)| (squares - sum * sum / n).max(0.0)).collect()
}

/// Mean over Bayesian-bootstrap replicates of the softmax of the families' expected log predictive
/// densities, for normal errors with the best family's spread.
fn bootstrap_weights(squares: &[Vec<f64>], rows: usize, seed: u64) -> Vec<f64> {
    let totals = squares.iter().map(|own| own.iter().sum::<f64>());
    let variance = totals.fold(f64::INFINITY, f64::min) / rows.max(1) as f64;
    let clusters = squares.first().map_or(0, Vec::len);
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut weights = vec![0.0; squares.len()];
    for _ in 0..REPLICATES {
        // Dirichlet(1, ..., 1) weights are exponentials over their sum.
        let draws: Vec<f64> = (0..clusters).map(|_| exponential(&mut rng)).collect();
        let total: f64 = draws.iter().sum();
        let densities: Vec<f64> = squares
            .iter()
            .map(|own| {
                let sum: f64 = own.iter().zip(&draws).map(|(s, w)| s * w).sum();
                -0.5 * sum * clusters as f64 / total / variance
            })
            .collect();
        let best = densities.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let parts: Vec<f64> = densities.iter().map(|d| (d - best).exp()).collect();
        let sum: f64 = parts.iter().sum();
        for (weight, part) in weights.iter_mut().zip(parts) {
            *weight += part / sum / REPLICATES as f64;
        }
    }
    weights
}

fn exponential(rng: &mut ChaCha8Rng) -> f64 {
    -unit(rng).ln()
}

/// A number between 0 and 1, ends excluded.
pub(super) fn unit(rng: &mut ChaCha8Rng) -> f64 {
    ((rng.next_u64() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
}

/// Weights without those that are next to nothing.
fn trimmed(weights: &[f64]) -> Vec<f64> {
    let kept: Vec<f64> = weights.iter().map(|&w| if w < LEAST_WEIGHT { 0.0 } else { w }).collect();
    let sum: f64 = kept.iter().sum();
    if sum > 0.0 { kept.iter().map(|w| w / sum).collect() } else { weights.to_vec() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clear_losers_get_nothing_and_equals_share() {
        let even = vec![1.0; 40];
        let worse: Vec<f64> = even.iter().map(|s| s * 1.3).collect();
        // 40 clusters of 25 rows: a third more squared error is 150 units of log density.
        let weights = trimmed(&bootstrap_weights(&[even.clone(), worse, even], 1000, 1));
        assert_eq!(weights[1], 0.0);
        assert!((weights[0] - 0.5).abs() < 1e-12 && (weights[2] - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_difference_smaller_than_its_own_scatter_is_averaged() {
        // Cluster by cluster one family is better, then the other.
        let first: Vec<f64> = (0..30).map(|k| if k % 2 == 0 { 10.0 } else { 12.0 }).collect();
        let second: Vec<f64> = (0..30).map(|k| if k % 2 == 0 { 12.0 } else { 10.0 }).collect();
        let weights = bootstrap_weights(&[first, second], 330, 7);
        assert!((weights[0] - 0.5).abs() < 0.06, "{weights:?}");
    }
}
