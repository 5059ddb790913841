//! Axis ranges and tick labels.

use crate::number::fixed;

/// Smallest range of round ends around the values, never empty; 0 to 1 without finite values.
pub fn nice_range(values: impl IntoIterator<Item = f64>) -> (f64, f64) {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for v in values.into_iter().filter(|v| v.is_finite()) {
        low = low.min(v);
        high = high.max(v);
    }
    if low > high {
        return (0.0, 1.0);
    }
    if high - low < 1e-9 * low.abs().max(1e-3) {
        let pad = 0.5 * low.abs().max(1.0);
        (low, high) = (low - pad, high + pad);
    }
    let step = round_step((high - low) / 5.0);
    ((low / step).floor() * step, (high / step).ceil() * step)
}

/// 1, 2 or 5 times a power of ten, at or above the given length.
fn round_step(length: f64) -> f64 {
    let power = 10_f64.powf(length.log10().floor());
    let lead = length / power;
    let round = if lead <= 1.0 {
        1.0
    } else if lead <= 2.0 {
        2.0
    } else if lead <= 5.0 {
        5.0
    } else {
        10.0
    };
    round * power
}

/// Tick label with just the decimals that the range needs.
pub fn tick(value: f64, range: (f64, f64)) -> String {
    let width = (range.1 - range.0).abs();
    let decimals = if width < 0.5 {
        2
    } else if width < 6.0 {
        1
    } else {
        0
    };
    fixed(value, decimals)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_are_round_and_never_empty() {
        assert_eq!(nice_range([]), (0.0, 1.0));
        assert_eq!(nice_range([f64::NAN]), (0.0, 1.0));
        assert_eq!(nice_range([3.1, 7.9]), (3.0, 8.0));
        let (low, high) = nice_range([2.0, 2.0]);
        assert!(low < 2.0 && high > 2.0);
    }
}
