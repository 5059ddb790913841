//! Averages over the estimated standard deviation of a studentised statistic.

use super::{DistributionError, checked_df};

/// Beyond this the standard deviation counts as known: its relative error is below 1e-5 squared.
const KNOWN: f64 = 1e10;
/// Log of the smallest weight kept, so that tails of 1e-15 keep ten digits.
const SMALLEST: f64 = -60.0;

/// Share of a sum below which further terms are rounding.
const NEGLIGIBLE: f64 = 1e-17;

/// Nodes and weights of s = sqrt(chi-squared / df): the trapezoidal rule in u = ln s, which
/// converges exponentially because the density exp(df (u - exp(2u) / 2)) falls off on both sides
/// (Trefethen and Weideman 2014, SIAM Review 56:385-458). Weights sum to 1.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ScaleNodes {
    nodes: Vec<(f64, f64)>,
}

impl ScaleNodes {
    pub(super) fn new(df: f64) -> Result<Self, DistributionError> {
        let df = checked_df("degrees of freedom", df)?;
        if df >= KNOWN {
            return Ok(ScaleNodes { nodes: vec![(1.0, 1.0)] });
        }
        // Well below the spread of u and of what is averaged: the range of 1000 means has a
        // relative standard deviation of 0.08.
        let step = (0.4 / (2.0 * df).sqrt()).min(0.05);
        let log_weight = |u: f64| -0.5 * df * ((2.0 * u).exp_m1() - 2.0 * u);
        let mut nodes: Vec<(f64, f64)> = vec![(1.0, 1.0)];
        for direction in [-1.0, 1.0] {
            let side = (1..)
                .map(|i| direction * step * f64::from(i))
                .map(|u| (u.exp(), log_weight(u)))
                .take_while(|(s, w)| *w > SMALLEST && *s > 0.0)
                .map(|(s, w)| (s, w.exp()));
            nodes.extend(side);
        }
        // The heaviest first, so that an average can stop early.
        nodes.sort_by(|a, b| b.1.total_cmp(&a.1));
        let total: f64 = nodes.iter().map(|(_, w)| w).sum();
        nodes.iter_mut().for_each(|(_, w)| *w /= total);
        Ok(ScaleNodes { nodes })
    }

    /// Mean over s of `f`, which lies between 0 and 1.
    pub(super) fn average(&self, f: impl Fn(f64) -> f64) -> f64 {
        sum(self.nodes.iter().copied(), f)
    }
}

/// Sum of weight times `f` at (point, weight), the heaviest first, `f` at most 1.
pub(super) fn sum(nodes: impl Iterator<Item = (f64, f64)>, f: impl Fn(f64) -> f64) -> f64 {
    let mut total = 0.0;
    for (point, weight) in nodes {
        if weight < NEGLIGIBLE * total {
            break;
        }
        total += weight * f(point);
    }
    total
}
