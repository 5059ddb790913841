//! Gap statistic: whether groups are tighter than those of featureless points.

use super::ZoneSettings;
use super::k_means::k_means;
use crate::error::ReviewError;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

/// Starts of each k-means of a reference set.
const REFERENCE_STARTS: usize = 5;

/// Gap at a number of groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GapPoint {
    /// Number of groups.
    pub groups: usize,
    /// Mean log within sum of squares of the reference sets less that of the points.
    pub gap: f64,
    /// sd sqrt(1 + 1 / B) over B reference sets.
    pub std_error: f64,
}

/// Gap statistic for 1 to `most` groups (Tibshirani, Walther and Hastie 2001, J. R. Stat. Soc. B
/// 63:411-423), reference points uniform over the range of each coordinate.
///
/// # Errors
/// Those of [`k_means`].
pub fn gap_statistic(
    points: &[Vec<f64>],
    most: usize,
    settings: &ZoneSettings,
) -> Result<Vec<GapPoint>, ReviewError> {
    let width = points.first().map_or(0, Vec::len);
    let ranges: Vec<(f64, f64)> = (0..width)
        .map(|j| {
            let column = points.iter().map(|point| point[j]);
            column.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
        })
        .collect();
    let mut rng = ChaCha12Rng::seed_from_u64(settings.seed);
    let references: Vec<Vec<Vec<f64>>> = (0..settings.references)
        .map(|_| {
            let mut point = || {
                ranges.iter().map(|(low, high)| low + (high - low) * rng.random::<f64>()).collect()
            };
            (0..points.len()).map(|_| point()).collect()
        })
        .collect();
    let b = settings.references as f64;
    (1..=most)
        .map(|groups| {
            let own = k_means(points, groups, settings.starts, settings.seed)?.within.ln();
            let logs = references
                .iter()
                .map(|set| Ok(k_means(set, groups, REFERENCE_STARTS, settings.seed)?.within.ln()))
                .collect::<Result<Vec<f64>, ReviewError>>()?;
            let mean = logs.iter().sum::<f64>() / b;
            let variance = logs.iter().map(|log| (log - mean).powi(2)).sum::<f64>() / b;
            let std_error = variance.sqrt() * (1.0 + 1.0 / b).sqrt();
            Ok(GapPoint { groups, gap: mean - own, std_error })
        })
        .collect()
}

/// Least number of groups whose gap is at least that of the next less its standard error; the last
/// number tried when there is none.
pub(super) fn choice(gaps: &[GapPoint]) -> usize {
    gaps.windows(2)
        .find_map(|pair| match pair {
            [own, next] if own.gap >= next.gap - next.std_error => Some(own.groups),
            _ => None,
        })
        .or(gaps.last().map(|last| last.groups))
        .unwrap_or(1)
}
