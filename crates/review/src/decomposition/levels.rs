//! Levels of blocks and trees from chosen rows, given everything else.

use crate::columns::Labels;
use crate::error::ReviewError;
use mixed::{Covariance, Data, Factor, RandomEffect, Settings};
use std::collections::BTreeSet;

/// Conditional modes of blocks and trees, by code, with their prediction-error variances.
pub(super) struct Levels {
    /// Constant that the rows share.
    pub(super) constant: f64,
    pub(super) block: Option<Effects>,
    pub(super) tree: Option<Effects>,
    /// What the rows of each tree say beside its block.
    sums: Vec<TreeSums>,
    /// Variance of trees over that of the error, and the latter.
    relative: f64,
    error: f64,
}

/// Sums over the rows of a tree.
#[derive(Clone, Copy, Default)]
struct TreeSums {
    /// Weight x loading^2.
    precision: f64,
    /// Weight x loading x deviation from constant and block.
    score: f64,
}

pub(super) struct Effects {
    pub(super) modes: Vec<f64>,
    pub(super) variances: Vec<f64>,
}

impl Levels {
    /// Level of a tree in its block and its prediction-error variance. Given the block's effect b the
    /// tree's is k (mean - b) with variance v, k = n t^2 / (s^2 + n t^2) and v = t^2 (1 - k), so that
    /// the level has variance (1 - k)^2 var(b) + v, whatever the covariance of the two effects; n adds
    /// up weight x loading^2 over the tree's rows.
    pub(super) fn of(&self, block: usize, tree: usize) -> (f64, f64) {
        let read = |effects: &Option<Effects>, code: usize| {
            effects.as_ref().map_or((0.0, 0.0), |e| (e.modes[code], e.variances[code]))
        };
        let (own_block, own_tree) = (read(&self.block, block), read(&self.tree, tree));
        let variance = match (&self.block, self.sums.get(tree)) {
            (Some(_), Some(sums)) => {
                let left = 1.0 / (1.0 + self.relative * sums.precision);
                left * left * own_block.1 + self.relative * self.error * left
            }
            _ => own_block.1 + own_tree.1,
        };
        (own_block.0 + own_tree.0, variance)
    }

    /// What leaving one of its rows (deviation, loading, weight) out changes of a tree's level, the
    /// block's effect and the spreads being held.
    pub(super) fn without(&self, row: (f64, f64, f64), block: usize, tree: usize) -> f64 {
        let Some(sums) = self.sums.get(tree) else { return 0.0 };
        let (deviation, loading, weight) = row;
        let shared = self.block.as_ref().map_or(0.0, |block_effects| block_effects.modes[block]);
        let own = TreeSums {
            precision: weight * loading * loading,
            score: weight * loading * (deviation - self.constant - loading * shared),
        };
        let mode =
            |score: f64, precision: f64| self.relative * score / (1.0 + self.relative * precision);
        mode(sums.score - own.score, sums.precision - own.precision)
            - mode(sums.score, sums.precision)
    }

    /// Fits deviations = constant + loading x (block + tree) + error.
    pub(super) fn fit(
        deviations: &[f64],
        loading: &[f64],
        weights: &[f64],
        (block, tree): (Labels<'_>, Labels<'_>),
    ) -> Result<Self, ReviewError> {
        let (with_block, with_tree) = separable(block.codes, tree.codes);
        let scale = spread(deviations);
        if (!with_block && !with_tree) || scale <= 0.0 {
            return Ok(Self {
                constant: 0.0,
                block: None,
                tree: None,
                sums: Vec::new(),
                relative: 0.0,
                error: 0.0,
            });
        }
        let mut data =
            Data::new(deviations).response_units(0.0, scale).weights(weights).intercept();
        if with_block {
            data = data.factor(loaded("block", block.codes, block.len(), loading));
        }
        if with_tree {
            data = data.factor(loaded("tree", tree.codes, tree.len(), loading));
        }
        let fit = mixed::fit(&data, &Settings::default())?;
        let read = |present: bool, name: &str| -> Result<Option<Effects>, ReviewError> {
            if !present {
                return Ok(None);
            }
            let modes = fit.conditional_modes(name)?;
            Ok(Some(Effects { modes: modes.modes.column(0), variances: modes.variances.column(0) }))
        };
        let theta = fit.theta().into_iter().find(|theta| theta.name.starts_with("tree."));
        let relative = theta.map_or(0.0, |theta| theta.value.powi(2));
        let constant = fit.estimates().first().copied().unwrap_or(0.0);
        let block_effects = read(with_block, "block")?;
        let mut sums = vec![TreeSums::default(); if with_tree { tree.len() } else { 0 }];
        for (row, deviation) in deviations.iter().enumerate() {
            let shared = block_effects.as_ref().map_or(0.0, |own| own.modes[block.code(row)]);
            if let Some(own) = sums.get_mut(tree.code(row)) {
                let carried = weights[row] * loading[row];
                own.precision += carried * loading[row];
                own.score += carried * (deviation - constant - loading[row] * shared);
            }
        }
        Ok(Self {
            constant,
            block: block_effects,
            tree: read(with_tree, "tree")?,
            sums,
            relative,
            error: fit.sigma().powi(2),
        })
    }
}

/// A factor whose effect each row carries in part.
pub(super) fn loaded<'a>(
    name: &str,
    codes: &'a [u32],
    levels: usize,
    loading: &'a [f64],
) -> Factor<'a> {
    Factor {
        name: name.into(),
        codes,
        levels,
        effects: vec![RandomEffect::Slope { name: "level".into(), values: loading }],
        covariance: Covariance::Correlated,
    }
}

/// Whether blocks and trees can be told from the error: two blocks, more trees than blocks, and
/// trees seen more than once.
pub(super) fn separable(block: &[u32], tree: &[u32]) -> (bool, bool) {
    let blocks: BTreeSet<u32> = block.iter().copied().collect();
    let trees: BTreeSet<u32> = tree.iter().copied().collect();
    let with_tree = trees.len() > 1 && trees.len() < tree.len() && trees.len() > blocks.len();
    let with_block = blocks.len() > 1 && blocks.len() < block.len();
    (with_block, with_tree)
}

pub(super) fn spread(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use mixed::{IntervalKind, Point, PointLevel};

    #[test]
    fn the_variance_of_a_level_is_the_engines() {
        // Slow twin: the engine's prediction of a known tree, which carries the joint covariance.
        let (mut block, mut tree, mut loading, mut weights, mut values) =
            (vec![], vec![], vec![], vec![], vec![]);
        let mut wobble = 7_u32;
        let mut next = || {
            wobble = wobble.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(wobble >> 8) / f64::from(1 << 24) - 0.5
        };
        let names = |n: usize| (0..n).map(|k| k.to_string()).collect::<Vec<_>>();
        for own_block in 0..12_u32 {
            let level = next();
            for own in 0..8 {
                let level = level + 1.5 * next();
                for season in 0..2 + own % 4 {
                    let first = season == 0;
                    block.push(own_block);
                    tree.push(own_block * 8 + own);
                    loading.push(if first { 1.0 } else { 1.3 });
                    weights.push(if first { 0.91 } else { 1.0 });
                    values.push(level * if first { 1.0 } else { 1.3 } + next());
                }
            }
        }
        let (blocks, trees) = (names(12), names(96));
        let labels =
            (Labels { codes: &block, labels: &blocks }, Labels { codes: &tree, labels: &trees });
        let levels = Levels::fit(&values, &loading, &weights, labels).unwrap();
        let data = Data::new(&values)
            .response_units(0.0, spread(&values))
            .weights(&weights)
            .intercept()
            .factor(loaded("block", &block, 12, &loading))
            .factor(loaded("tree", &tree, 96, &loading));
        let fit = mixed::fit(&data, &Settings::default()).unwrap();
        for own in [0_u32, 5, 50, 95] {
            let part = |factor: &str, level: u32| PointLevel {
                factor: factor.into(),
                level: Some(level),
                values: vec![1.3],
            };
            let point = |constant: f64| Point {
                fixed: vec![constant],
                levels: vec![part("block", own / 8), part("tree", own)],
                observation_weight: None,
            };
            let predict =
                |p: &Point| fit.predict(p, IntervalKind::KnownGroup, 0.95).unwrap().unwrap();
            let (mode, variance) = levels.of(own as usize / 8, own as usize);
            assert!((1.3 * mode - predict(&point(0.0)).estimate).abs() < 1e-7);
            // What is used is constant + loading x level; its engine variance has the constant's.
            let ratio = 1.3 * variance.sqrt() / predict(&point(1.0)).std_error;
            assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
            // The tree's mode from its own sums.
            let sums = levels.sums[own as usize];
            let again = levels.relative * sums.score / (1.0 + levels.relative * sums.precision);
            let effects = levels.tree.as_ref().unwrap();
            assert!((again - effects.modes[own as usize]).abs() < 1e-7);
        }
    }
}
