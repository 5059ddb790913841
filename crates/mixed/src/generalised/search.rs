//! A quasi-Newton search that starts from a curvature, over the parameters that are free.

use crate::Matrix;
use crate::gradient::eigen;
use crate::quasi_newton::Evaluation;
use crate::small::dot;

/// End point of a search.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    pub x: Vec<f64>,
    pub value: f64,
    pub gradient: Vec<f64>,
    pub reason: &'static str,
}

/// Reason of a search that was not yet at its end.
pub(crate) const OUT_OF_ITERATIONS: &str = "iteration limit reached";

/// Decrement g'Hg, in units of the deviance, at which the search ends; the
/// Newton steps that follow square it.
const SMALL_DECREMENT: f64 = 1e-8;

/// BFGS with backtracking from `x`, where `inverse` is near the inverse
/// Hessian and 0 in rows and columns of parameters that stay.
pub(crate) fn search(
    f: &mut dyn FnMut(&[f64]) -> Evaluation,
    x: &[f64],
    mut inverse: Matrix,
    most: usize,
) -> Option<Found> {
    let (value, gradient) = f(x)?;
    let mut at = Found { x: x.to_vec(), value, gradient, reason: OUT_OF_ITERATIONS };
    for _ in 0..most {
        let direction: Vec<f64> = inverse.times(&at.gradient).iter().map(|d| -d).collect();
        let slope = dot(&direction, &at.gradient);
        if slope.is_nan() || slope >= -SMALL_DECREMENT {
            at.reason = "decrement below tolerance";
            break;
        }
        // No parameter (all are logs or near 1) may leave its neighbourhood at once.
        let longest = direction.iter().fold(0.0_f64, |m, d| m.max(d.abs()));
        let mut step = (2.0 / longest).min(1.0);
        let next = loop {
            let x: Vec<f64> = at.x.iter().zip(&direction).map(|(x, d)| x + step * d).collect();
            let enough = |v: f64| v <= at.value + 1e-4 * step * slope + 1e-12 * at.value.abs();
            match f(&x) {
                Some((value, gradient)) if enough(value) => break Some((x, value, gradient)),
                Some((value, _)) if value.is_finite() => {
                    // Minimum of the parabola through both values and the slope.
                    let curve = value - at.value - step * slope;
                    let best = -0.5 * slope * step / curve;
                    step *= best.clamp(0.1, 0.5);
                }
                _ => step *= 0.2,
            }
            if step < 1e-10 {
                break None;
            }
        };
        let Some((x, value, gradient)) = next else {
            at.reason = "no further decrease";
            break;
        };
        update(&mut inverse, &at, &x, &gradient);
        at = Found { x, value, gradient, reason: at.reason };
    }
    Some(at)
}

/// The BFGS update, left out where the curvature along the step is not positive.
fn update(inverse: &mut Matrix, at: &Found, x: &[f64], gradient: &[f64]) {
    let n = x.len();
    let s: Vec<f64> = x.iter().zip(&at.x).map(|(a, b)| a - b).collect();
    let y: Vec<f64> = gradient.iter().zip(&at.gradient).map(|(a, b)| a - b).collect();
    let hy = inverse.times(&y);
    let (sy, yhy) = (dot(&s, &y), dot(&y, &hy));
    if sy <= 1e-8 * yhy.max(0.0).sqrt() * dot(&s, &s).sqrt() || yhy <= 0.0 {
        return;
    }
    let rho = 1.0 / sy;
    for i in 0..n {
        for j in 0..n {
            inverse[(i, j)] +=
                rho * ((1.0 + yhy * rho) * s[i] * s[j] - hy[i] * s[j] - s[i] * hy[j]);
        }
    }
}

/// Inverse of a symmetric matrix over the `free` rows, scaled to a unit
/// diagonal and its eigenvalues raised to at least `floor`; 0 elsewhere.
/// Also the smallest eigenvalue of the scaled matrix before that.
pub(crate) fn inverse_over(h: &Matrix, free: &[bool], floor: f64) -> Option<(Matrix, f64)> {
    let n = h.n_rows();
    let kept: Vec<usize> = (0..n).filter(|i| free[*i]).collect();
    let mut out = Matrix::zeros(n, n);
    if kept.is_empty() {
        return Some((out, f64::INFINITY));
    }
    let scale: Vec<f64> = kept.iter().map(|i| 1.0 / h[(*i, *i)].abs().max(1e-8).sqrt()).collect();
    let mut scaled = Matrix::zeros(kept.len(), kept.len());
    for (a, i) in kept.iter().enumerate() {
        for (b, j) in kept.iter().enumerate() {
            scaled[(a, b)] = 0.5 * (h[(*i, *j)] + h[(*j, *i)]) * scale[a] * scale[b];
        }
    }
    let (values, vectors) = eigen(&scaled)?;
    let smallest = values.iter().fold(f64::INFINITY, |m, v| m.min(*v));
    for (a, i) in kept.iter().enumerate() {
        for (b, j) in kept.iter().enumerate() {
            let sum: f64 = (0..kept.len())
                .map(|m| vectors[(a, m)] * vectors[(b, m)] / values[m].abs().max(floor))
                .sum();
            out[(*i, *j)] = sum * scale[a] * scale[b];
        }
    }
    Some((out, smallest))
}
