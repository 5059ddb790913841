//! The search for theta: from 1 (and where several minima may be, from elsewhere too),
//! unconstrained, with 0 tried explicitly and signs fixed afterwards.

use crate::Error;
use crate::criterion::Solved;
use crate::gradient::eigen;
use crate::matrix::Matrix;
use crate::objective::{CLOSE, Objective};
use crate::overlap::overlapping;
use crate::quasi_newton::{Minimum, allowed};
use crate::record::{Evidence, Visit};
use crate::settings::Settings;
use crate::small::{cholesky, product, transpose};
use crate::starts::{first, lowest, of_effects, of_factors};
use crate::system::System;
use crate::threads;

/// Where the search ended.
#[derive(Debug, Clone)]
pub(crate) struct Optimum {
    pub solved: Solved,
    pub criterion: f64,
    pub visited: Vec<Visit>,
    pub stop_reason: String,
    pub evidence: Evidence,
    /// Theta entries (diagonal) held at 0.
    pub boundary: Vec<usize>,
    /// Why this is no minimum, if it is none.
    pub failure: Option<String>,
}

/// Smallest eigenvalue of the rows and columns `free` of a Hessian.
fn least_eigenvalue(h: &Matrix, free: &[usize]) -> Option<f64> {
    let mut part = Matrix::zeros(free.len(), free.len());
    for (a, i) in free.iter().enumerate() {
        for (b, j) in free.iter().enumerate() {
            part[(a, b)] = h[(*i, *j)];
        }
    }
    eigen(&part)?.0.first().copied()
}

/// Most times that a saddle is left.
const ESCAPES: usize = 5;
/// Distance in standardised theta, relative to max(1, |x|), within which two
/// ends of such searches count as one minimum.
const SAME: f64 = 0.05;

/// Minimises the criterion over theta.
///
/// # Errors
/// Only when the criterion cannot be evaluated at the start.
pub(crate) fn optimise(system: &System, settings: &Settings) -> Result<Optimum, Error> {
    let count = system.entries.len();
    let mut objective = Objective::new(system);
    let start = first(system, settings);
    let all: Vec<usize> = (0..count).collect();
    let unusable = Error::Numerical { what: "the criterion cannot be evaluated at the start" };
    let iterations = settings.max_iterations;
    // An unusable start is an error of the data, and says which.
    let (near, rested) = objective.approach(&start, &|_, _| false)?;
    let proven = if rested && !settings.first_minimum {
        objective.newton(&near, settings.tolerance)
    } else {
        None
    };
    let (mut theta, mut minimum, mut proof) = match proven {
        Some(found) => (found.theta, found.minimum, found.hessian),
        None => {
            let refined = !settings.first_minimum;
            let found = objective.descend(&near, &all, iterations, settings.tolerance, refined);
            let (theta, minimum) = found.ok_or(unusable)?;
            (theta, minimum, None)
        }
    };
    let several = !settings.first_minimum && settings.start.is_empty() && overlapping(system);
    let mut starts = if several { of_factors(system) } else { Vec::new() };
    if !settings.first_minimum && settings.start.is_empty() {
        starts.extend(of_effects(system));
        starts.extend(lowest(system));
    }
    let explored = threads::map(starts.len(), |i| {
        let mut own = Objective::new(system);
        let end = own.explore(&starts[i], &theta, minimum.value);
        (end, own.visited)
    });
    for (end, visited) in explored {
        objective.visited.extend(visited);
        let Some((end, value)) = end else { continue };
        // An unrefined end may lie above its minimum.
        if value > minimum.value + CLOSE || same(system, &end, &theta) {
            continue;
        }
        let found = objective.search(&end, &all, iterations, settings.tolerance);
        let slack = 1e-9 * (1.0 + minimum.value.abs());
        if let Some((t, m)) = found.filter(|(_, m)| m.value < minimum.value - slack) {
            (theta, minimum) = (t, m);
            proof = None;
        }
    }
    let mut boundary = Vec::new();
    let mut curvature = None;
    for _ in 0..if settings.first_minimum { 0 } else { ESCAPES } {
        while let Some((at, t, m)) = try_zero(&mut objective, &theta, &minimum, &boundary, settings)
        {
            boundary.push(at);
            boundary.sort_unstable();
            (theta, minimum) = (t, m);
            proof = None;
        }
        curvature = proof.take().or_else(|| objective.curvature(&theta));
        let escaped = curvature
            .as_ref()
            .and_then(|h| escape(&mut objective, h, &theta, &minimum, &all, settings));
        let Some((t, m)) = escaped else { break };
        (theta, minimum) = (t, m);
        boundary.clear();
        curvature = None;
    }
    let found = theta;
    let theta = canonical(system, &found);
    // Signs do not change eigenvalues; another theta does.
    if found.iter().zip(&theta).any(|(a, b)| a.abs() != b.abs()) {
        curvature = None;
    }
    let curvature = match curvature {
        None if !settings.first_minimum => objective.curvature(&theta),
        known => known,
    };
    let solved = system.solve(&theta)?;
    let criterion = system.criterion(&solved);
    let free = free_entries(system, &theta, &boundary);
    let known = boundary.is_empty() && minimum.x.len() == count && found == theta;
    let gradient_norm = if known {
        minimum.gradient_norm()
    } else {
        let gradient = system.criterion_gradient(&solved);
        free.iter().fold(0.0_f64, |m, i| {
            let size = (theta[*i] * system.column_rms[*i]).abs().max(1.0);
            m.max((gradient[*i] / system.column_rms[*i] * size).abs())
        })
    };
    let least = curvature.and_then(|h| least_eigenvalue(&h, &free));
    let failure = judge(settings, criterion, gradient_norm, least, free.len()).or_else(|| {
        if settings.first_minimum {
            None
        } else {
            flat_at_zero(&mut objective, &theta, criterion, &boundary)
        }
    });
    objective.visited.push(Visit { theta, criterion });
    system.scratch.clear();
    Ok(Optimum {
        solved,
        criterion,
        visited: objective.visited,
        stop_reason: minimum.reason.to_owned(),
        evidence: Evidence { gradient_norm, hessian_min_eigenvalue: least, exact_gradient: true },
        boundary,
        failure,
    })
}

/// Whether two thetas stand for nearly the same covariance.
pub(crate) fn same(system: &System, a: &[f64], b: &[f64]) -> bool {
    let (a, b) = (canonical(system, a), canonical(system, b));
    a.iter()
        .zip(&b)
        .zip(&system.column_rms)
        .all(|((a, b), rms)| ((a - b) * rms).abs() <= SAME * (b * rms).abs().max(1.0))
}

/// A stationary point may be a saddle (0 always is stationary): steps along the
/// direction of negative curvature until the criterion falls, and searches on.
fn escape(
    objective: &mut Objective<'_>,
    curvature: &Matrix,
    theta: &[f64],
    minimum: &Minimum,
    all: &[usize],
    settings: &Settings,
) -> Option<(Vec<f64>, Minimum)> {
    let (values, vectors) = eigen(curvature)?;
    if values.first().is_none_or(|least| *least > -1e-4) {
        return None;
    }
    let rms = &objective.system.column_rms;
    let step: Vec<f64> = (0..theta.len())
        .map(|i| vectors[(i, 0)] * (theta[i] * rms[i]).abs().max(1.0) / rms[i])
        .collect();
    for length in [0.3, 0.1, 0.03, 0.01, 0.003] {
        for sign in [1.0, -1.0] {
            let away: Vec<f64> =
                theta.iter().zip(&step).map(|(t, s)| t + sign * length * s).collect();
            let (value, _) = objective.evaluate(&away, all)?;
            if value < minimum.value - 1e-11 * (1.0 + minimum.value.abs()) {
                return objective.search(&away, all, settings.max_iterations, settings.tolerance);
            }
        }
    }
    None
}

/// Sets one more diagonal entry to 0 and keeps it there if that is not worse.
fn try_zero(
    objective: &mut Objective<'_>,
    theta: &[f64],
    minimum: &Minimum,
    boundary: &[usize],
    settings: &Settings,
) -> Option<(usize, Vec<f64>, Minimum)> {
    let system = objective.system;
    let slack = 1e-11 * (1.0 + minimum.value.abs());
    for (i, entry) in system.entries.iter().enumerate() {
        if !entry.is_diagonal() || boundary.contains(&i) {
            continue;
        }
        let mut zeroed = theta.to_vec();
        zeroed[i] = 0.0;
        let value = objective.value(&zeroed)?;
        // Far above the minimum, re-optimising the rest cannot make 0 the better one
        // often enough to pay for a search.
        if value > minimum.value + 2.0 {
            continue;
        }
        let free: Vec<usize> =
            (0..theta.len()).filter(|j| *j != i && !boundary.contains(j)).collect();
        let found = objective.search(&zeroed, &free, settings.max_iterations, settings.tolerance);
        if let Some((t, m)) = found.filter(|(_, m)| m.value <= minimum.value + slack) {
            return Some((i, t, m));
        }
    }
    None
}

/// The same covariance with non-negative diagonals, and with columns of
/// zeros where a diagonal entry is 0.
pub(crate) fn canonical(system: &System, theta: &[f64]) -> Vec<f64> {
    let mut out = theta.to_vec();
    for (f, factor) in system.layout.factors.iter().enumerate() {
        let k = factor.k();
        let mut lambda = factor.lambda(theta);
        for c in 0..k {
            if lambda[c * k + c] < 0.0 {
                for r in c..k {
                    lambda[r * k + c] = -lambda[r * k + c];
                }
            }
        }
        let degenerate = (0..k)
            .any(|c| lambda[c * k + c] == 0.0 && (c + 1..k).any(|r| lambda[r * k + c] != 0.0));
        if degenerate {
            lambda = cholesky(&product(&lambda, &transpose(&lambda, k), k), k, 1e-14);
        }
        for (i, e) in system.entries.iter().enumerate() {
            if e.factor == f {
                out[i] = lambda[e.row * k + e.column] + 0.0;
            }
        }
    }
    out
}

/// Entries on which the criterion depends at this theta: not the ones held at
/// 0, nor zeros under a zero diagonal.
pub(crate) fn free_entries(system: &System, theta: &[f64], boundary: &[usize]) -> Vec<usize> {
    (0..theta.len())
        .filter(|i| {
            let e = &system.entries[*i];
            let under_zero = boundary.iter().any(|b| {
                let d = &system.entries[*b];
                d.factor == e.factor && d.column == e.column
            });
            !(boundary.contains(i) || under_zero && theta[*i] == 0.0)
        })
        .collect()
}

/// At 0 the curvature is no evidence, so a term there is compared with a
/// spread as large as the residual's: an equal criterion tells nothing of it.
fn flat_at_zero(
    objective: &mut Objective<'_>,
    theta: &[f64],
    criterion: f64,
    boundary: &[usize],
) -> Option<String> {
    let system = objective.system;
    boundary.iter().find_map(|i| {
        let mut other = theta.to_vec();
        other[*i] = 1.0 / system.column_rms[*i];
        let (value, _) = objective.evaluate(&other, &[])?;
        ((value - criterion).abs() < 1e-9 * (1.0 + criterion.abs())).then(|| {
            format!(
                "the criterion does not depend on {}, which cannot be told from the residual \
                 or from the fixed columns",
                system.entries[*i].name
            )
        })
    })
}

fn judge(
    settings: &Settings,
    criterion: f64,
    gradient_norm: f64,
    least: Option<f64>,
    free: usize,
) -> Option<String> {
    let limit = allowed(settings.tolerance, criterion);
    if gradient_norm.is_nan() || gradient_norm > limit {
        return Some(format!(
            "the gradient is {gradient_norm:.3e}, above the tolerance {limit:.3e}"
        ));
    }
    if free > 0 && !settings.first_minimum && !least.is_some_and(|v| v > 1e-5) {
        return Some(format!(
            "the criterion is flat or falling in some direction of theta \
             (smallest Hessian eigenvalue {:.3e}); a random effect cannot be told \
             from the residual or from another effect",
            least.unwrap_or(f64::NAN)
        ));
    }
    None
}
