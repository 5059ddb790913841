//! The studentised range: all pairwise comparisons at once.

use super::{DistributionError, checked_probability, normal, root, scale::ScaleNodes};

/// Range of `count` independent normal means over an independent estimate of their standard error
/// with `df` degrees of freedom.
///
/// The integral of Copenhaver and Holland (1988, J. Stat. Comput. Simul. 30:1-15), written for the
/// upper tail with positive terms only and summed by trapezoidal rules on smooth, rapidly falling
/// integrands: about 13 digits in both tails.
#[derive(Debug, Clone, PartialEq)]
pub struct StudentisedRange {
    scale: ScaleNodes,
    /// Normal nodes: point, weight times `count`, probability below the point.
    nodes: Vec<(f64, f64, f64)>,
    others: f64,
}

impl StudentisedRange {
    /// The range of `count` means, at least 2, with `df` above 0 or infinite.
    ///
    /// # Errors
    /// When a parameter is out of range.
    pub fn new(count: usize, df: f64) -> Result<Self, DistributionError> {
        if count < 2 {
            return Err(DistributionError::Parameter {
                name: "number of means",
                value: count as f64,
                needed: "2 or more",
            });
        }
        let nodes = normal::nodes(-10.0, 18.0, 0.2)
            .into_iter()
            .map(|(z, weight)| (z, weight * count as f64, normal::below(z)))
            .collect();
        Ok(StudentisedRange { scale: ScaleNodes::new(df)?, nodes, others: (count - 1) as f64 })
    }

    /// Probability of a range at most `q` standard errors.
    #[must_use]
    pub fn cdf(&self, q: f64) -> f64 {
        if q.is_nan() || q <= 0.0 {
            return if q.is_nan() { q } else { 0.0 };
        }
        self.scale.average(|s| {
            let width = q * s;
            self.nodes
                .iter()
                .map(|&(z, weight, below)| {
                    weight * (below - normal::below(z - width)).max(0.0).powf(self.others)
                })
                .sum::<f64>()
        })
    }

    /// Probability of a range above `q` standard errors: the adjusted p-value of a difference of
    /// q / sqrt(2) times its own standard error.
    #[must_use]
    pub fn upper_tail(&self, q: f64) -> f64 {
        if q.is_nan() || q <= 0.0 {
            return if q.is_nan() { q } else { 1.0 };
        }
        let tail = self.scale.average(|s| {
            let width = q * s;
            self.nodes
                .iter()
                .map(|&(z, weight, below)| {
                    // All others below z, but not all within the width.
                    let outside = (normal::below(z - width) / below).min(1.0);
                    let share = -(self.others * (-outside).ln_1p()).exp_m1();
                    weight * below.powf(self.others) * share
                })
                .sum::<f64>()
        });
        tail.min(1.0)
    }

    /// Range in standard errors that is exceeded with probability `p`.
    ///
    /// # Errors
    /// When `p` is not inside (0, 1) or no value reaches it in floating point.
    pub fn upper_quantile(&self, p: f64) -> Result<f64, DistributionError> {
        checked_probability(p)?;
        root::decreasing(3.0, |q| self.upper_tail(q) - p).ok_or(DistributionError::NotFound(p))
    }
}
