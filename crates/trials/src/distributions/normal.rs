//! Tails of the standard normal and its trapezoidal nodes.

use libm::erfc;
use std::f64::consts::{FRAC_1_SQRT_2, TAU};

/// Probability below `z`.
pub(super) fn below(z: f64) -> f64 {
    0.5 * erfc(-z * FRAC_1_SQRT_2)
}

/// Probability above `z`.
pub(super) fn above(z: f64) -> f64 {
    0.5 * erfc(z * FRAC_1_SQRT_2)
}

/// Nodes, the heaviest first, from `from` to `to` with weight density times step: exponentially accurate for smooth
/// integrands that vary no faster than over a few steps.
pub(super) fn nodes(from: f64, to: f64, step: f64) -> Vec<(f64, f64)> {
    let count = ((to - from) / step).ceil() as usize;
    let mut nodes: Vec<(f64, f64)> = (0..=count)
        .map(|i| from + step * i as f64)
        .map(|z| (z, step * (-0.5 * z * z).exp() / TAU.sqrt()))
        .collect();
    nodes.sort_by(|a, b| b.1.total_cmp(&a.1));
    nodes
}
