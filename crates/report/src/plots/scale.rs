//! Axis ranges and tick labels.

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

/// Most decimals of a tick's label.
const MOST_DECIMALS: usize = 6;

/// Fewest decimals that write every tick of an axis as it is: whole numbers have none.
pub fn tick_decimals(ticks: &[f64]) -> usize {
    let step = ticks.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(f64::INFINITY, f64::min);
    let close = if step.is_finite() { 1e-6 * step } else { 1e-9 };
    let exact = |decimals: &usize| {
        let power = 10_f64.powi(i32::try_from(*decimals).unwrap_or(0));
        ticks.iter().all(|tick| ((tick * power).round() / power - tick).abs() <= close)
    };
    (0..MOST_DECIMALS).find(exact).unwrap_or(MOST_DECIMALS)
}

/// A range of round ends that holds the values and is at least as long as `least`, the values in
/// its middle; values that are never negative get no room below zero.
pub fn range_around(values: impl IntoIterator<Item = f64>, least: f64) -> (f64, f64) {
    let values: Vec<f64> = values.into_iter().filter(|value| value.is_finite()).collect();
    let (low, high) = nice_range(values.iter().copied());
    if !least.is_finite() || least <= high - low {
        return (low, high);
    }
    let (least_value, most_value) = values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), value| (a.min(*value), b.max(*value)));
    let middle = f64::midpoint(least_value, most_value);
    let from = middle - least / 2.0;
    let from = if least_value >= 0.0 { from.max(0.0) } else { from };
    nice_range([from, from + least])
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

    #[test]
    fn whole_ticks_have_no_decimals_and_others_no_more_than_they_need() {
        assert_eq!(tick_decimals(&[4.0, 5.0, 6.0]), 0);
        assert_eq!(tick_decimals(&[0.0, 0.5, 1.0]), 1);
        assert_eq!(tick_decimals(&[0.1, 0.1 + 0.2, 0.5]), 1);
        assert_eq!(tick_decimals(&[0.25, 0.5]), 2);
        assert_eq!(tick_decimals(&[0.001, 0.002]), 3);
        assert_eq!(tick_decimals(&[-2000.0, 0.0, 2000.0]), 0);
        assert_eq!(tick_decimals(&[]), 0);
    }

    #[test]
    fn values_stand_in_the_middle_of_a_range_that_a_bar_lengthens() {
        let means = [8.4, 9.0, 9.5];
        assert_eq!(range_around(means, 0.5), nice_range(means));
        let (low, high) = range_around(means, 3.0);
        assert!(high - low >= 3.0);
        // The middle of the values lies in the middle third of the range.
        let place = (8.95 - low) / (high - low);
        assert!((1.0 / 3.0..2.0 / 3.0).contains(&place), "{place}");
        // No room below zero for what is never negative, some for what may be.
        assert_eq!(range_around([0.5, 1.0], 4.0), (0.0, 4.0));
        assert!(range_around([-0.5, 1.0], 4.0).0 < -1.0);
        assert_eq!(range_around([1.0, 2.0], f64::NAN), nice_range([1.0, 2.0]));
    }
}
