//! First steps of the search for theta: a fixed-point iteration read off the gradient.

use crate::criterion::Solved;
use crate::gradient::Gradient;
use crate::small::{cholesky, product, transpose};
use crate::system::System;

/// Share of the old spread kept in a step, so that none vanishes in one.
const KEPT: f64 = 0.01;

/// Largest power of a ratio that is taken.
const FURTHEST: f64 = 2.0;

/// Levels of a factor with one effect that have rows.
fn levels_met(system: &System, f: usize) -> usize {
    let factor = &system.layout.factors[f];
    match factor.column_start {
        Some(start) => {
            (start..start + factor.levels).filter(|c| system.gram.at(*c, *c) > 0.0).count()
        }
        None => system.groups.len(),
    }
}

/// One step of the fixed point of MacKay (1992, Bayesian interpolation, Neural
/// Computation 4:415-447) in relative units: for a spread with q levels,
/// theta^2 <- theta^2 |u|^2 / gamma, where |u|^2 is the square of the spherical
/// modes and gamma = q - tr(posterior covariance) the number of effects that
/// the rows determine.
///
/// Both are parts of Lambda'(d / d Lambda), symmetric because a rotation of
/// the effects of a level changes nothing: 2 gamma that of the log-determinant
/// and -2 |u|^2 that of the penalised sum of squares over sigma^2. It goes most
/// of the way from any start, where the local curvature would mislead. The
/// ratio of a factor with one effect is raised to a power up to 2.
pub(crate) fn step(system: &System, solved: &Solved, gradient: &Gradient) -> Vec<f64> {
    let mut out = solved.theta.clone();
    let variance = solved.rss / system.divisor();
    for (f, factor) in system.layout.factors.iter().enumerate() {
        let k = factor.k();
        let lambda = &solved.lambdas[f];
        let turned = |values: &[f64], scale: f64| {
            let mut slope = vec![0.0; k * k];
            for (entry, g) in system.entries.iter().zip(values).filter(|(e, _)| e.factor == f) {
                slope[entry.row * k + entry.column] = g * scale;
            }
            // The lower part needs only the entries of theta; the upper mirrors it.
            let mut s = product(&transpose(lambda, k), &slope, k);
            for i in 0..k {
                for j in 0..i {
                    let independent = factor.covariance == crate::Covariance::Independent;
                    s[i * k + j] = if independent { 0.0 } else { s[i * k + j] };
                    s[j * k + i] = s[i * k + j];
                }
            }
            s
        };
        let determined = turned(&gradient.log_det, 0.5);
        let square = turned(&gradient.rss, -0.5 / variance);
        let Some(mut ratio) = whitened(&square, &determined, k) else { continue };
        if k == 1 {
            // gamma changes with theta too: by Fisher's information on log(theta)
            // the step falls short by about q / gamma.
            let short = levels_met(system, f) as f64 / determined[0];
            ratio[0] = ratio[0].powf(short.clamp(1.0, FURTHEST));
        }
        let next = product(lambda, &cholesky(&ratio, k, 1e-10), k);
        for (i, entry) in system.entries.iter().enumerate().filter(|(_, e)| e.factor == f) {
            out[i] = next[entry.row * k + entry.column];
        }
    }
    out
}

/// L^-1 A L^-T with LL' = B, mixed with a little of the identity; `None` when
/// B is not positive definite.
fn whitened(a: &[f64], b: &[f64], k: usize) -> Option<Vec<f64>> {
    let l = cholesky(b, k, 1e-8);
    if !(0..k).all(|i| l[i * k + i] > 0.0) {
        return None;
    }
    let forward = |m: &[f64]| {
        let mut out = m.to_vec();
        for c in 0..k {
            for i in 0..k {
                let sum: f64 = (0..i).map(|j| l[i * k + j] * out[j * k + c]).sum();
                out[i * k + c] = (out[i * k + c] - sum) / l[i * k + i];
            }
        }
        out
    };
    let mut out = forward(&transpose(&forward(a), k));
    for (at, x) in out.iter_mut().enumerate() {
        let one = if at % (k + 1) == 0 { KEPT } else { 0.0 };
        *x = (1.0 - KEPT) * *x + one;
    }
    out.iter().all(|x| x.is_finite()).then_some(out)
}
