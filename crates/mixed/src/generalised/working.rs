//! Penalised iteratively reweighted least squares for the modes at one theta.

use super::family::Distribution;
use super::rows::Rows;
use crate::Error;
use crate::criterion::{Solved, shrinkage};
use crate::moments::Moments;
use crate::settings::Settings;
use crate::small::{dot, product, transpose};
use crate::system::System;

/// Most reweighting steps.
const STEPS: usize = 100;
/// Steps after the deviance has settled to 1e-9.
const EXTRA: usize = 4;

/// Modes and what Laplace's approximation needs there.
pub(crate) struct Modes {
    /// Effects of each factor, levels x effects.
    pub effects: Vec<Vec<f64>>,
    /// Internal coefficients (given or found).
    pub coefficients: Vec<f64>,
    /// -2 log p(y | u) + |u|^2 + log|I + Lambda'Z'WZ Lambda|.
    pub deviance: f64,
    pub system: System,
    pub solved: Solved,
}

/// One linear solution: effects, their spherical square |u|^2, coefficients.
struct Step {
    effects: Vec<Vec<f64>>,
    square: f64,
    coefficients: Vec<f64>,
}

/// Finds the modes of the effects at `theta`, with the coefficients held at
/// `fixed`, or found jointly when `fixed` is `None`.
pub(crate) fn modes(
    rows: &Rows,
    family: Distribution,
    theta: &[f64],
    fixed: Option<&[f64]>,
    start: Option<(&[f64], &[Vec<f64>])>,
) -> Result<Modes, Error> {
    let n = rows.counts.len();
    let given = fixed.map(|b| linear_part(rows, b));
    // Start at the means themselves, as generalised linear models do, or at
    // the modes of a point nearby.
    let mut eta: Vec<f64> = match start {
        Some((b, effects)) => {
            let x = given.clone().unwrap_or_else(|| linear_part(rows, b));
            let z = random_part(rows, effects);
            (0..n).map(|i| rows.offset[i] + x[i] + z[i]).collect()
        }
        None => rows.counts.iter().map(|y| (y + 0.5).ln()).collect(),
    };
    let (mut last, mut settled) = (f64::INFINITY, 0);
    for _ in 0..STEPS {
        let mu: Vec<f64> = eta.iter().map(|e| e.clamp(-30.0, 30.0).exp()).collect();
        let weights: Vec<f64> = mu.iter().map(|m| family.weight(*m)).collect();
        let response: Vec<f64> = (0..n)
            .map(|i| {
                let known = rows.offset[i] + given.as_ref().map_or(0.0, |x| x[i]);
                eta[i] - known + (rows.counts[i] - mu[i]) / mu[i]
            })
            .collect();
        let data = rows.linear(&response, &weights, fixed.is_none());
        let system = System::new(&Moments::accumulate(&data)?, &Settings::ml(), true)?;
        let solved = system.solve(theta)?;
        let step = read(&system, &solved);
        let x = given.clone().unwrap_or_else(|| linear_part(rows, &step.coefficients));
        let z = random_part(rows, &step.effects);
        let target: Vec<f64> = (0..n).map(|i| rows.offset[i] + x[i] + z[i]).collect();
        let density: f64 = target
            .iter()
            .zip(&rows.counts)
            .map(|(e, y)| family.log_density(*y, e.clamp(-30.0, 30.0).exp()))
            .sum();
        let penalised = step.square - 2.0 * density;
        if !penalised.is_finite() {
            break;
        }
        // Scoring converges linearly: a few more steps make the deviance exact
        // enough to be differenced.
        if (last - penalised).abs() <= 1e-9 * (1.0 + penalised.abs()) {
            settled += 1;
        }
        if settled > EXTRA {
            return Ok(Modes {
                effects: step.effects,
                coefficients: fixed.map_or(step.coefficients, <[f64]>::to_vec),
                deviance: penalised + solved.log_det_z,
                system,
                solved,
            });
        }
        // A step that makes things worse is halved towards the old predictor.
        let share = if penalised > last + 1e-8 * (1.0 + last.abs()) { 0.5 } else { 1.0 };
        for (e, t) in eta.iter_mut().zip(&target) {
            *e += share * (t - *e);
        }
        last = penalised;
    }
    Err(Error::Numerical { what: "reweighting for the modes of a count model did not settle" })
}

/// M^-1 over [b_other | coefficients] with the weights at these modes.
pub(crate) fn inverse_at(
    rows: &Rows,
    family: Distribution,
    theta: &[f64],
    modes: &Modes,
) -> Result<crate::Matrix, Error> {
    let x = linear_part(rows, &modes.coefficients);
    let z = random_part(rows, &modes.effects);
    let eta: Vec<f64> = (0..x.len()).map(|i| rows.offset[i] + x[i] + z[i]).collect();
    let weights: Vec<f64> = eta.iter().map(|e| family.weight(e.clamp(-30.0, 30.0).exp())).collect();
    // The matrix does not depend on the response; the counts stand in for it.
    let data = rows.linear(&rows.counts, &weights, true);
    let system = System::new(&Moments::accumulate(&data)?, &Settings::ml(), true)?;
    Ok(system.solve(theta)?.inverse())
}

fn linear_part(rows: &Rows, b: &[f64]) -> Vec<f64> {
    let n = rows.counts.len();
    (0..n).map(|i| rows.columns.iter().zip(b).map(|(c, b)| c[i] * b).sum()).collect()
}

fn random_part(rows: &Rows, effects: &[Vec<f64>]) -> Vec<f64> {
    let mut out = vec![0.0; rows.counts.len()];
    for ((codes, columns), b) in rows.codes.iter().zip(&rows.effects).zip(effects) {
        let k = columns.len();
        for (i, o) in out.iter_mut().enumerate() {
            for (e, column) in columns.iter().enumerate() {
                *o += column[i] * b[codes[i] as usize * k + e];
            }
        }
    }
    out
}

fn read(system: &System, solved: &Solved) -> Step {
    let q = system.layout.q;
    let solution = solved.solution();
    let mut square = dot(&solved.spherical[..q], &solved.spherical[..q]);
    let mut effects = Vec::with_capacity(system.layout.factors.len());
    for (f, shape) in system.layout.factors.iter().enumerate() {
        let k = shape.k();
        if let Some(start) = shape.column_start {
            effects.push(solution[start..start + shape.levels * k].to_vec());
            continue;
        }
        let lambda = &solved.lambdas[f];
        let mut b = vec![0.0; shape.levels * k];
        for (level, slot) in system.group_of_level.iter().enumerate() {
            let Some(g) = slot else { continue };
            let group = &system.groups[*g];
            let (_, h, _) = shrinkage(lambda, &group.zz, k);
            let s = group.times(&solved.residual, k);
            let hl = product(&h, &transpose(lambda, k), k);
            let u: Vec<f64> = (0..k).map(|a| dot(&hl[a * k..(a + 1) * k], &s)).collect();
            square += dot(&u, &u);
            for a in 0..k {
                b[level * k + a] = dot(&lambda[a * k..(a + 1) * k], &u);
            }
        }
        effects.push(b);
    }
    Step { effects, square, coefficients: solution[q..].to_vec() }
}
