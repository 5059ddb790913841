//! The point at which a decreasing function of a positive argument passes zero.

/// Largest number of halvings and secant steps; bisection alone needs about 60.
const STEPS: usize = 200;

/// Root of `f`, positive left and negative right of it, on (0, infinity), starting near `guess`.
/// Regula falsi with the Illinois modification, halving whenever three steps have not halved the
/// bracket. `None` when no sign change is found between 1e-300 and 1e300.
pub(super) fn decreasing(guess: f64, f: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut low, mut high) = (guess, guess);
    let mut at_low = f(low);
    let mut at_high = at_low;
    while at_low <= 0.0 {
        high = low;
        at_high = at_low;
        low /= 2.0;
        if low < 1e-300 {
            return None;
        }
        at_low = f(low);
    }
    while at_high > 0.0 {
        low = high;
        at_low = at_high;
        high *= 2.0;
        if high > 1e300 {
            return None;
        }
        at_high = f(high);
    }
    narrow(low, at_low, high, at_high, f)
}

/// Narrows a bracket with `at_low > 0 >= at_high` to relative width 1e-15.
fn narrow(
    mut low: f64,
    mut at_low: f64,
    mut high: f64,
    mut at_high: f64,
    f: impl Fn(f64) -> f64,
) -> Option<f64> {
    let mut last_width = high - low;
    for step in 0..STEPS {
        let width = high - low;
        if width <= 4.0 * f64::EPSILON * high || at_high == 0.0 {
            break;
        }
        let halve = step % 3 == 2 && width > 0.5 * last_width;
        if step % 3 == 2 {
            last_width = width;
        }
        let secant = (low * at_high - high * at_low) / (at_high - at_low);
        let middle =
            if halve || !(secant > low && secant < high) { 0.5 * (low + high) } else { secant };
        let value = f(middle);
        if value > 0.0 {
            low = middle;
            at_low = value;
            at_high *= 0.5;
        } else {
            high = middle;
            at_high = value;
            at_low *= 0.5;
        }
    }
    Some(if at_high == 0.0 { high } else { 0.5 * (low + high) })
}
