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
}

pub(super) struct Effects {
    pub(super) modes: Vec<f64>,
    pub(super) variances: Vec<f64>,
}

impl Levels {
    /// Level of a tree in its block and its prediction-error variance. The covariance of the two
    /// effects is negative, so that the variance errs on the side of caution.
    pub(super) fn of(&self, block: usize, tree: usize) -> (f64, f64) {
        let read = |effects: &Option<Effects>, code: usize| {
            effects.as_ref().map_or((0.0, 0.0), |e| (e.modes[code], e.variances[code]))
        };
        let (block, tree) = (read(&self.block, block), read(&self.tree, tree));
        (block.0 + tree.0, block.1 + tree.1)
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
            return Ok(Self { constant: 0.0, block: None, tree: None });
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
        Ok(Self {
            constant: fit.estimates().first().copied().unwrap_or(0.0),
            block: read(with_block, "block")?,
            tree: read(with_tree, "tree")?,
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
