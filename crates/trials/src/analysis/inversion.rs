//! Where on the tested range a slope is compatible with a given one: inversion of its test.

use super::quantiles::t_critical;
use serde::{Deserialize, Serialize};

/// Points at which the tested range is looked through; a straight slope changes side at most twice.
const POINTS: usize = 512;

/// Amounts of the tested range that the data cannot tell from the optimum (Fieller 1954, with
/// degrees of freedom found anew at every amount).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OptimumSet {
    /// One interval inside the tested range. An end that lies on the range's end is open: the set
    /// may go on beyond it, where nothing was tested.
    Interval {
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
        /// Whether the lower end is that of the tested range.
        open_below: bool,
        /// Whether the upper end is that of the tested range.
        open_above: bool,
    },
    /// Everything but a middle part.
    TwoPieces {
        /// End of the lower piece, which begins with the tested range.
        lower_end: f64,
        /// Begin of the upper piece, which ends with the tested range.
        upper_begin: f64,
    },
    /// The whole tested range.
    WholeRange,
    /// None of the tested amounts: the optimum lies below them.
    Below,
    /// None of the tested amounts: the optimum lies above them.
    Above,
    /// None of the tested amounts, with a slope that bends upwards.
    Nowhere,
}

/// Estimate of a slope at an amount, its standard error and degrees of freedom.
pub(super) type SlopeAt<'a> = &'a dyn Fn(f64) -> Option<(f64, f64, f64)>;

/// The set over `low` to `high` at level 1 - `alpha`; `None` where no error judges the slope.
pub(super) fn invert(slope: SlopeAt<'_>, low: f64, high: f64, alpha: f64) -> Option<OptimumSet> {
    // Above 0 where the slope is told from the one asked for.
    let outside = |x: f64| -> Option<f64> {
        let (estimate, std_error, df) = slope(x)?;
        Some(estimate.abs() - t_critical(alpha, df)? * std_error)
    };
    let at = |i: usize| low + (high - low) * i as f64 / POINTS as f64;
    let mut ends = Vec::new();
    let first = outside(low)?;
    let mut before = first;
    for i in 1..=POINTS {
        let here = outside(at(i))?;
        if (before > 0.0) != (here > 0.0) {
            let (mut a, mut b) = (at(i - 1), at(i));
            for _ in 0..60 {
                let middle = 0.5 * (a + b);
                if (outside(middle)? > 0.0) == (before > 0.0) { a = middle } else { b = middle }
            }
            ends.push(0.5 * (a + b));
        }
        before = here;
    }
    let interval = |low: f64, high: f64, open_below: bool, open_above: bool| {
        Some(OptimumSet::Interval { low, high, open_below, open_above })
    };
    match (ends.as_slice(), first > 0.0) {
        ([], false) => Some(OptimumSet::WholeRange),
        ([], true) => {
            let (start, end) = (slope(low)?.0, slope(high)?.0);
            Some(match (start > 0.0, end > 0.0) {
                (true, true) => OptimumSet::Above,
                (false, false) => OptimumSet::Below,
                _ => OptimumSet::Nowhere,
            })
        }
        ([end], false) => interval(low, *end, true, false),
        ([begin], true) => interval(*begin, high, false, true),
        ([begin, end], true) => interval(*begin, *end, false, false),
        ([end, begin], false) => {
            Some(OptimumSet::TwoPieces { lower_end: *end, upper_begin: *begin })
        }
        (all, inside_first) => {
            // Degrees of freedom that jump can cut pieces out; the hull is the careful answer.
            let begin = if inside_first { *all.first()? } else { low };
            let end = if before > 0.0 { *all.last()? } else { high };
            interval(begin, end, !inside_first, before <= 0.0)
        }
    }
}
