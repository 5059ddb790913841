//! The largest of several studentised comparisons with one control.

use super::{DistributionError, checked_probability, normal, root, scale::ScaleNodes, scale::sum};
use serde::{Deserialize, Serialize};

/// Which differences count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sides {
    /// Differences either way.
    Both,
    /// Only treatments above the control.
    Above,
    /// Only treatments below the control.
    Below,
}

/// Largest of several t statistics whose correlations are products of one loading each.
///
/// Dunnett (1955, JASA 50:1096-1121): comparisons with a control have correlation l_i l_j with
/// l_i = sqrt(n_i / (n_i + n_0)). Given the control's error and the standard deviation the
/// comparisons are independent, which leaves two integrals.
#[derive(Debug, Clone, PartialEq)]
pub struct Dunnett {
    scale: ScaleNodes,
    nodes: Vec<(f64, f64)>,
    /// Loading and its complement sqrt(1 - l^2), each with how many comparisons share them.
    loadings: Vec<(f64, f64, f64)>,
    both: bool,
}

impl Dunnett {
    /// Comparisons with the given `loadings`, each in [0, 1), and `df` above 0 or infinite.
    /// `Above` and `Below` have the same distribution by symmetry.
    ///
    /// # Errors
    /// When there is no comparison or a parameter is out of range.
    pub fn new(loadings: &[f64], df: f64, sides: Sides) -> Result<Self, DistributionError> {
        if loadings.is_empty() {
            return Err(DistributionError::Parameter {
                name: "number of comparisons",
                value: 0.0,
                needed: "1 or more",
            });
        }
        let mut sorted = loadings.to_vec();
        sorted.sort_by(f64::total_cmp);
        let mut kinds: Vec<(f64, f64, f64)> = Vec::new();
        for &loading in &sorted {
            if !(0.0..1.0).contains(&loading) {
                return Err(DistributionError::Parameter {
                    name: "loading of a comparison",
                    value: loading,
                    needed: "at least 0 and below 1",
                });
            }
            match kinds.last_mut() {
                Some((last, _, count)) if *last == loading => *count += 1.0,
                _ => kinds.push((loading, (1.0 - loading * loading).sqrt(), 1.0)),
            }
        }
        let sharpest = kinds.iter().map(|(l, c, _)| c / l.max(1e-3)).fold(1.0, f64::min);
        Ok(Dunnett {
            scale: ScaleNodes::new(df)?,
            nodes: normal::nodes(-14.0, 14.0, 0.3 * sharpest),
            loadings: kinds,
            both: sides == Sides::Both,
        })
    }

    /// Comparisons of treatments of `replicates` plots each with a control of `control` plots in a
    /// completely randomised or randomised block trial.
    ///
    /// # Errors
    /// When there is no comparison or a parameter is out of range.
    pub fn for_replicates(
        replicates: &[f64],
        control: f64,
        df: f64,
        sides: Sides,
    ) -> Result<Self, DistributionError> {
        let loadings: Vec<f64> = replicates.iter().map(|n| (n / (n + control)).sqrt()).collect();
        Dunnett::new(&loadings, df, sides)
    }

    /// Probability that the largest statistic (absolute value for both sides) exceeds `t`.
    #[must_use]
    pub fn upper_tail(&self, t: f64) -> f64 {
        if t.is_nan() {
            return t;
        }
        if self.both && t <= 0.0 {
            return 1.0;
        }
        let tail = self.scale.average(|s| {
            let limit = t * s;
            sum(self.nodes.iter().copied(), |z| {
                let log_within: f64 = self
                    .loadings
                    .iter()
                    .map(|&(loading, rest, count)| {
                        let mut outside = normal::above((limit - loading * z) / rest);
                        if self.both {
                            outside += normal::above((limit + loading * z) / rest);
                        }
                        count * (-outside.min(1.0)).ln_1p()
                    })
                    .sum();
                -log_within.exp_m1()
            })
        });
        tail.min(1.0)
    }

    /// Value that the largest statistic exceeds with probability `p`.
    ///
    /// # Errors
    /// When `p` is not inside (0, 1), or for one side when the value is not positive (`p` above
    /// the chance of any positive difference).
    pub fn upper_quantile(&self, p: f64) -> Result<f64, DistributionError> {
        checked_probability(p)?;
        root::decreasing(2.0, |t| self.upper_tail(t) - p).ok_or(DistributionError::NotFound(p))
    }
}
