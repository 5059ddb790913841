//! Quantiles of draws.

use serde::{Deserialize, Serialize};

/// A median with equal-tailed limits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Band {
    /// Median of the draws.
    pub median: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Probability content of the limits.
    pub level: f64,
}

impl Band {
    /// Median and limits of draws in any order; `None` without draws.
    #[must_use]
    pub fn of(draws: impl IntoIterator<Item = f64>, level: f64) -> Option<Self> {
        let sorted = sorted(draws);
        let tail = (1.0 - level) / 2.0;
        Some(Self {
            median: quantile(&sorted, 0.5)?,
            low: quantile(&sorted, tail)?,
            high: quantile(&sorted, 1.0 - tail)?,
            level,
        })
    }
}

/// Ascending values; infinite ones are kept, NaN goes last.
pub(crate) fn sorted(draws: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = draws.into_iter().collect();
    values.sort_by(f64::total_cmp);
    values
}

/// Quantile by linear interpolation at (n - 1) p (definition 7 of Hyndman and Fan, 1996,
/// Am. Stat. 50:361-365), of ascending values; `None` when there are none.
pub(crate) fn quantile(sorted: &[f64], p: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let at = p.clamp(0.0, 1.0) * last as f64;
    let (below, share) = (at.floor() as usize, at.fract());
    let low = *sorted.get(below)?;
    let high = sorted.get(below + 1).copied().unwrap_or(low);
    // Two equal infinities have no difference.
    Some(if share == 0.0 || low == high { low } else { low + share * (high - low) })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// R: `quantile(c(1, 2, 4, 8, 16), c(0.1, 0.5, 0.9), type = 7)` gives 1.4, 4.0, 12.8.
    #[test]
    fn definition_seven() {
        let band = Band::of([16.0, 1.0, 8.0, 2.0, 4.0], 0.8).unwrap();
        assert!((band.low - 1.4).abs() < 1e-12 && (band.high - 12.8).abs() < 1e-12);
        assert_eq!(band.median, 4.0);
        assert_eq!(Band::of([], 0.8), None);
        let infinite = [1.0, f64::INFINITY, f64::INFINITY];
        assert_eq!(quantile(&infinite, 0.9), Some(f64::INFINITY));
    }
}
