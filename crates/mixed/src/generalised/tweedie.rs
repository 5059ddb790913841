//! The compound Poisson-gamma density by its series (Dunn and Smyth 2005), its distribution function.

use statrs::function::gamma::{digamma, gamma_lr, ln_gamma};

/// Terms under exp(-37) of the largest are below rounding.
const SMALL: f64 = 37.0;
/// Most terms summed on each side of the largest.
const MOST_TERMS: usize = 200_000;

/// log a(y, phi, p) for y > 0, with its derivatives by log phi and by the
/// logit of p - 1.
///
/// a = (1/y) sum_j W_j, log W_j = j z - log j! - log Gamma(j b), with
/// b = (2 - p)/(p - 1) and z = b log y - b log(p - 1) - (1 + b) log phi - log(2 - p)
/// (Dunn and Smyth 2005, equations 6 to 9). The largest term is near
/// j = y^(2 - p) / ((2 - p) phi); terms are summed outwards from there.
pub(super) fn log_series(y: f64, phi: f64, p: f64) -> [f64; 3] {
    let b = (2.0 - p) / (p - 1.0);
    let z = b * (y.ln() - (p - 1.0).ln()) - (1.0 + b) * phi.ln() - (2.0 - p).ln();
    let term = |j: f64| j * z - ln_gamma(j + 1.0) - ln_gamma(j * b);
    let peak = (y.powf(2.0 - p) / ((2.0 - p) * phi)).round().clamp(1.0, 1e9);
    let top = term(peak);
    // db/dp = -1/(p - 1)^2; dz/dp gathers what multiplies j.
    let b_slope = -1.0 / ((p - 1.0) * (p - 1.0));
    let z_slope = b_slope * (y.ln() - (p - 1.0).ln() - phi.ln()) - b / (p - 1.0) + 1.0 / (2.0 - p);
    let (mut total, mut first, mut by_power) = (0.0, 0.0, 0.0);
    let mut add = |j: f64| {
        let log = term(j) - top;
        let share = log.exp();
        total += share;
        first += share * j;
        by_power += share * j * (z_slope - b_slope * digamma(j * b));
        log > -SMALL
    };
    let mut j = peak;
    for _ in 0..MOST_TERMS {
        if !add(j) {
            break;
        }
        j += 1.0;
    }
    j = peak - 1.0;
    for _ in 0..MOST_TERMS {
        if j < 1.0 || !add(j) {
            break;
        }
        j -= 1.0;
    }
    [
        top + total.ln() - y.ln(),
        -(1.0 + b) * first / total,
        by_power / total * (p - 1.0) * (2.0 - p),
    ]
}

/// Rate of the Poisson number of parts, and shape and scale of a part.
pub(super) fn parts(mu: f64, phi: f64, p: f64) -> (f64, f64, f64) {
    let rate = mu.powf(2.0 - p) / (phi * (2.0 - p));
    (rate, (2.0 - p) / (p - 1.0), phi * (p - 1.0) * mu.powf(p - 1.0))
}

/// P(Y <= y): Poisson-weighted gamma distribution functions.
pub(super) fn distribution(y: f64, mu: f64, phi: f64, p: f64) -> f64 {
    let (rate, shape, scale) = parts(mu, phi, p);
    let mut sum = (-rate).exp();
    if y <= 0.0 {
        return if y < 0.0 { 0.0 } else { sum };
    }
    let (mut log, spread) = (-rate, rate + 12.0 * rate.sqrt() + 40.0);
    let mut j = 1.0;
    while j <= spread {
        log += (rate / j).ln();
        if log > -40.0 {
            sum += log.exp() * gamma_lr(j * shape, y / scale);
        }
        j += 1.0;
    }
    sum.min(1.0)
}
