//! Averages over the estimated standard deviation of a studentised statistic.

use super::{DistributionError, checked_df};

/// Beyond this the standard deviation counts as known: its relative error is below 1e-5 squared.
const KNOWN: f64 = 1e10;
/// Log of the smallest weight kept, so that tails of 1e-15 keep ten digits.
const SMALLEST: f64 = -60.0;

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
        let step = (0.6 / (2.0 * df).sqrt()).min(0.11);
        let log_weight = |u: f64| -0.5 * df * ((2.0 * u).exp_m1() - 2.0 * u);
        let side = |direction: f64| {
            (1..)
                .map(move |i| direction * step * f64::from(i))
                .map(|u| (u.exp(), log_weight(u)))
                .take_while(|(s, w)| *w > SMALLEST && *s > 0.0)
                .map(|(s, w)| (s, w.exp()))
        };
        let mut nodes: Vec<(f64, f64)> = side(-1.0).collect();
        nodes.reverse();
        nodes.push((1.0, 1.0));
        nodes.extend(side(1.0));
        let total: f64 = nodes.iter().map(|(_, w)| w).sum();
        nodes.iter_mut().for_each(|(_, w)| *w /= total);
        Ok(ScaleNodes { nodes })
    }

    /// Mean of `f` over s.
    pub(super) fn average(&self, f: impl Fn(f64) -> f64) -> f64 {
        self.nodes.iter().map(|&(s, weight)| weight * f(s)).sum()
    }
}
