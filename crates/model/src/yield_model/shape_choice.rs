//! The family of the intensity curve, by how well it predicts what it has not seen.
//!
//! Each family predicts left-out seasons (left-out trees where trees keep their intensity), and in
//! every region the families share the posterior draws
//! by their expected log predictive densities there, with a Bayesian bootstrap over site x season
//! clusters (pseudo-BMA+: Yao, Vehtari, Simpson and Gelman, 2018, Bayesian Analysis 13(3):917-1003,
//! section 3.4). Regions need not share a family, but they tell of one another: how common each
//! family is in the book is learned from all regions, so that one with few records takes what the
//! others show and one with many goes its own way. Weights by group under a common prior are those
//! of Yao, Pirs, Vehtari and Gelman (2022, Bayesian Analysis 17(4):1043-1071); here the prior is a
//! flat Dirichlet distribution and a region's family a mixture component.

use super::YieldError;
use super::knees::{self, Knees, Levelled};
use super::left_out::{FoldKind, Folds, TreeSpread, predictions};
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
const LEAST_WEIGHT: f64 = 0.02;
/// Sweeps that are averaged over and those before them.
const REPLICATES: usize = 2000;
const BURN_IN: usize = 100;
/// Distance that knots keep, fraction of the canopy.
const LEAST_KNOT_DISTANCE: f64 = 0.05;

/// How a family predicted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ShapeScore {
    /// The family.
    pub shape: IntensityShape,
    /// Root-mean-square error within site and season on the model's scale; `None` when nothing
    /// could be left out.
    pub rmse: Option<f64>,
    /// Share of the posterior draws, mean over regions.
    pub weight: f64,
}

/// The families with their weights.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeChoice {
    /// Where the knotted curve and the plateau bend.
    pub knots: Knots,
    /// What was left out; `None` when nothing could be, and the quadratic stands alone unless
    /// trees were.
    pub folds: Option<FoldKind>,
    /// Regions, by code, in which a fifth of the trees was left out in place of that.
    pub trees_left_out: Vec<u32>,
    /// Scores, simplest family first.
    pub scores: Vec<ShapeScore>,
    /// Share of each family in each region's draws: one row per region by code, families as in
    /// `scores`.
    pub by_region: Vec<Vec<f64>>,
    /// Tree-seasons on which the families were compared, where a book is so large that a sample of
    /// its trees tells enough; `None` when all were used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub compared_on: Option<u64>,
}

impl ShapeChoice {
    /// The family with the largest weight; the simplest of equals.
    #[must_use]
    pub fn leading(&self) -> IntensityShape {
        let best = self.scores.iter().rev().max_by(|a, b| a.weight.total_cmp(&b.weight));
        best.map_or(IntensityShape::Quadratic, |score| score.shape)
    }

    /// Draws of each family in a region: its share of all, the region's leading family taking what
    /// rounding leaves.
    pub(super) fn counts(&self, region: usize, draws: usize) -> Vec<usize> {
        let weights = &self.by_region[region];
        let mut counts: Vec<usize> =
            weights.iter().map(|weight| (weight * draws as f64).floor() as usize).collect();
        let given: usize = counts.iter().sum();
        let leading = weights.iter().enumerate().rev().max_by(|a, b| a.1.total_cmp(b.1));
        if let Some(count) = leading.and_then(|(family, _)| counts.get_mut(family)) {
            *count += draws - given;
        }
        counts
    }

    fn quadratic_alone(knots: Knots, regions: usize) -> Self {
        let score = ShapeScore { shape: IntensityShape::Quadratic, rmse: None, weight: 1.0 };
        Self {
            knots,
            folds: None,
            trees_left_out: Vec::new(),
            scores: vec![score],
            by_region: vec![vec![1.0]; regions],
            compared_on: None,
        }
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

/// What a first fit leaves of the response: without everything but pruning and the trees' levels.
pub(super) struct Remainder {
    pub(super) response: Vec<f64>,
    pub(super) spread: TreeSpread,
}

/// Scores the families; `design` makes a family's columns.
pub(super) fn choose(
    table: &TreeSeasons,
    response: &[f64],
    remainder: Remainder,
    design: &Columns<'_>,
    seed: u64,
) -> Result<Chosen, YieldError> {
    let spread = remainder.spread;
    let levelled = Levelled::new(table, remainder.response, spread);
    let knots = knots(table, &levelled);
    let knees = Knees::of(table, &levelled, knots);
    let folds = Folds::of(table);
    let trees = Folds::of_trees(table);
    if folds.is_none() && trees.is_none() {
        let choice = ShapeChoice::quadratic_alone(knots, table.region.len());
        return Ok(Chosen { choice, knees, predicted: None });
    }
    let levels = Support::of(&table.intensity, &table.lead_days).map_or(0, |s| s.levels);
    let families: &[IntensityShape] =
        if levels < LEAST_LEVELS { &IntensityShape::ALL[..1] } else { &IntensityShape::ALL };
    let mut predicted = Vec::new();
    let mut deviances = vec![Deviances::new(); families.len()];
    for (&family, own) in families.iter().zip(&mut deviances) {
        let design = design(family, knots, &knees.best)?;
        if let Some(folds) = &trees {
            let values = predictions(table, &design, response, folds)?;
            own.extend(tree_deviances(table, folds, response, &values, spread));
        }
        if let Some(folds) = &folds {
            predicted.push(predictions(table, &design, response, folds)?);
        }
    }
    let mut trees_left_out: Vec<u32> = trees
        .iter()
        .flat_map(|folds| &folds.folds)
        .flat_map(|(_, rows)| rows.iter().map(|&row| table.region.codes[row]))
        .collect();
    trees_left_out.sort_unstable();
    trees_left_out.dedup();
    let mut rmse = vec![None; families.len()];
    if let Some(folds) = &folds {
        let squares: Vec<Deviances> =
            predicted.iter().map(|p| cluster_squares(table, folds, response, p)).collect();
        let rows: usize = folds.folds.iter().map(|(_, rows)| rows.len()).sum();
        let mean = |own: &Deviances| own.iter().map(|(_, s)| s).sum::<f64>() / rows.max(1) as f64;
        let variance = squares.iter().map(mean).fold(f64::INFINITY, f64::min);
        for ((own, rmse), squares) in deviances.iter_mut().zip(&mut rmse).zip(&squares) {
            *rmse = Some(mean(squares).sqrt());
            own.extend(
                squares
                    .iter()
                    .filter(|(region, _)| !trees_left_out.contains(&(*region as u32)))
                    .map(|(region, squares)| (*region, squares / variance)),
            );
        }
    }
    let by_region: Vec<Vec<f64>> = shared_weights(&deviances, table.region.len(), seed)
        .iter()
        .map(|weights| trimmed(weights))
        .collect();
    let mut averaged = vec![0.0; table.len()];
    for (family, values) in predicted.iter().enumerate() {
        for (row, (sum, value)) in averaged.iter_mut().zip(values).enumerate() {
            *sum += by_region[table.region.codes[row] as usize][family] * value;
        }
    }
    let scores = families
        .iter()
        .zip(rmse)
        .enumerate()
        .map(|(family, (&shape, rmse))| {
            let weight = by_region.iter().map(|own| own[family]).sum::<f64>();
            ShapeScore { shape, rmse, weight: weight / by_region.len().max(1) as f64 }
        })
        .collect();
    Ok(Chosen {
        choice: ShapeChoice {
            knots,
            folds: folds.as_ref().map(|folds| folds.kind),
            trees_left_out,
            scores,
            by_region,
            compared_on: None,
        },
        knees,
        predicted: folds.map(|folds| (folds, averaged)),
    })
}

/// The thirds of the pruned intensities as knots, and the knee at which a plateau in every region
/// comes closest to the response.
fn knots(table: &TreeSeasons, levelled: &Levelled) -> Knots {
    let mut pruned: Vec<f64> =
        table.intensity.iter().copied().filter(|i| *i >= UNPRUNED_BELOW).collect();
    pruned.sort_by(f64::total_cmp);
    let (Some(&least), Some(&most)) = (pruned.first(), pruned.last()) else {
        return Knots::default();
    };
    let third = |k: f64| ((quantile(&pruned, k / 3.0) * 100.0).round() / 100.0).max(0.01);
    let first = third(1.0);
    let knots = [first, third(2.0).max(first + LEAST_KNOT_DISTANCE)];
    let knee = knees::tried()
        .filter(|knee| (least..=most).contains(knee))
        .map(|knee| (levelled.unexplained(table, knee).iter().sum::<f64>(), knee))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(first, |(_, knee)| knee);
    Knots { knots, knee }
}

/// Deviances of clusters with the region each lies in, the same clusters for every family.
type Deviances = Vec<(usize, f64)>;

/// Minus twice the log density of the errors of each tree left out, less a constant: independent
/// errors about a level of the tree.
fn tree_deviances(
    table: &TreeSeasons,
    folds: &Folds,
    response: &[f64],
    predicted: &[f64],
    spread: TreeSpread,
) -> Deviances {
    let mut trees: BTreeMap<u32, (usize, f64, f64, f64)> = BTreeMap::new();
    for &row in folds.folds.iter().flat_map(|(_, rows)| rows) {
        let region = table.region.codes[row] as usize;
        let (_, n, sum, squares) =
            trees.entry(table.tree.codes[row]).or_insert((region, 0.0, 0.0, 0.0));
        let error = response[row] - predicted[row];
        *n += 1.0;
        *sum += error;
        *squares += error * error;
    }
    trees
        .values()
        .map(|(region, n, sum, squares)| {
            let shared = spread.ratio / (1.0 + n * spread.ratio) * sum * sum;
            (*region, (squares - shared) / spread.residual)
        })
        .collect()
}

/// Squared errors of the rows of each region x site x fold cluster, after removing their mean within
/// site and season: no model can know the level of a season it has not seen.
fn cluster_squares(
    table: &TreeSeasons,
    folds: &Folds,
    response: &[f64],
    predicted: &[f64],
) -> Deviances {
    /// Region, fold, site and season.
    type Cluster = (u32, i32, u32, i32);
    let mut clusters: BTreeMap<Cluster, (f64, f64, f64)> = BTreeMap::new();
    for (label, rows) in &folds.folds {
        for &row in rows {
            let (region, site) = (table.region.codes[row], table.site.codes[row]);
            let key = (region, *label, site, table.season[row]);
            let (n, sum, squares) = clusters.entry(key).or_insert((0.0, 0.0, 0.0));
            let error = response[row] - predicted[row];
            *n += 1.0;
            *sum += error;
            *squares += error * error;
        }
    }
    clusters
        .iter()
        .map(|((region, ..), (n, sum, squares))| {
            (*region as usize, (squares - sum * sum / n).max(0.0))
        })
        .collect()
}

/// Weights of the families in every region: the mean over a Gibbs sampler's sweeps of the
/// probability of each family in each region. A
/// sweep draws bootstrap weights of the clusters, the regions' families given how common each is,
/// and how common each is given the regions' families and a flat Dirichlet prior.
fn shared_weights(deviances: &[Deviances], regions: usize, seed: u64) -> Vec<Vec<f64>> {
    let families = deviances.len();
    let mut clusters = vec![0.0; regions];
    for (region, _) in deviances.first().into_iter().flatten() {
        clusters[*region] += 1.0;
    }
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut weights = vec![vec![0.0; families]; regions];
    let mut common = vec![1.0 / families as f64; families];
    for sweep in 0..BURN_IN + REPLICATES {
        // Dirichlet(1, ..., 1) weights within a region are exponentials over their sum.
        let count = deviances.first().map_or(0, Vec::len);
        let draws: Vec<f64> = (0..count).map(|_| exponential(&mut rng)).collect();
        let mut drawn = vec![0.0; regions];
        let mut sums = vec![vec![0.0; regions]; families];
        for (cluster, draw) in draws.iter().enumerate() {
            drawn[deviances[0][cluster].0] += draw;
            for (sums, own) in sums.iter_mut().zip(deviances) {
                let (region, deviance) = own[cluster];
                sums[region] += draw * deviance;
            }
        }
        let mut seen = vec![1.0; families];
        for region in 0..regions {
            let scale = if drawn[region] > 0.0 { clusters[region] / drawn[region] } else { 0.0 };
            let logs: Vec<f64> = (0..families)
                .map(|family| common[family].ln() - 0.5 * sums[family][region] * scale)
                .collect();
            let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let parts: Vec<f64> = logs.iter().map(|log| (log - best).exp()).collect();
            let sum: f64 = parts.iter().sum();
            let mut left = unit(&mut rng) * sum;
            let taken = parts.iter().position(|part| {
                left -= part;
                left <= 0.0
            });
            seen[taken.unwrap_or(families - 1)] += 1.0;
            if sweep >= BURN_IN {
                for (weight, part) in weights[region].iter_mut().zip(&parts) {
                    *weight += part / sum / REPLICATES as f64;
                }
            }
        }
        // Gamma variates of whole shape are sums of exponentials.
        let gammas: Vec<f64> = seen
            .iter()
            .map(|&count| (0..count as usize).map(|_| exponential(&mut rng)).sum())
            .collect();
        let sum: f64 = gammas.iter().sum();
        common = gammas.iter().map(|gamma| gamma / sum).collect();
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

    /// Clusters of regions, as many each as there are values for it.
    fn clusters(regions: &[&[f64]]) -> Deviances {
        let own = |(region, values): (usize, &&[f64])| -> Deviances {
            values.iter().map(|value| (region, *value)).collect()
        };
        regions.iter().enumerate().flat_map(own).collect()
    }

    #[test]
    fn clear_losers_get_nothing_and_equals_share() {
        let even = clusters(&[&[25.0; 40]]);
        let worse = clusters(&[&[32.5; 40]]);
        // 40 clusters of 25 rows: a third more squared error is 150 units of log density.
        let weights = trimmed(&shared_weights(&[even.clone(), worse, even], 1, 1)[0]);
        assert_eq!(weights[1], 0.0);
        assert!((weights[0] - 0.5).abs() < 0.02, "{weights:?}");
    }

    #[test]
    fn a_difference_smaller_than_its_own_scatter_is_averaged() {
        // Cluster by cluster one family is better, then the other.
        let values = |even: f64, odd: f64| -> Vec<f64> {
            (0..30).map(|k| if k % 2 == 0 { even } else { odd }).collect()
        };
        let (first, second) = (values(10.0, 12.0), values(12.0, 10.0));
        let families = [clusters(&[&first]), clusters(&[&second])];
        let weights = &shared_weights(&families, 1, 7)[0];
        assert!((weights[0] - 0.5).abs() < 0.06, "{weights:?}");
    }

    #[test]
    fn regions_may_differ_and_a_silent_one_follows_the_others() {
        // Regions 0 and 1 show the first family, 2 the second, 3 says nothing.
        let good = [10.0; 20];
        let bad = [11.0; 20];
        let first = clusters(&[&good, &good, &bad, &[]]);
        let second = clusters(&[&bad, &bad, &good, &[]]);
        let weights = shared_weights(&[first, second], 4, 3);
        assert!(weights[0][0] > 0.99 && weights[1][0] > 0.99 && weights[2][1] > 0.99);
        // With a flat prior and 2 of 3 regions, the next is of the first family with 3/5.
        assert!((weights[3][0] - 0.6).abs() < 0.03, "{weights:?}");
    }

    #[test]
    fn counts_add_up_and_losers_get_none() {
        let score = |shape, weight| ShapeScore { shape, rmse: None, weight };
        let weights = vec![0.333, 0.667, 0.0];
        let choice = ShapeChoice {
            knots: Knots::default(),
            folds: None,
            trees_left_out: Vec::new(),
            scores: vec![
                score(IntensityShape::Quadratic, 0.333),
                score(IntensityShape::Knotted, 0.667),
                score(IntensityShape::Plateau, 0.0),
            ],
            by_region: vec![weights],
            compared_on: None,
        };
        assert_eq!(choice.counts(0, 1000), [333, 667, 0]);
        assert_eq!(choice.leading(), IntensityShape::Knotted);
    }
}
