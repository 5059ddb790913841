//! The search for theta: from 1, unconstrained, with 0 tried explicitly and signs fixed afterwards.

use crate::Error;
use crate::criterion::Solved;
use crate::gradient::eigen;
use crate::quasi_newton::{Evaluation, Minimum, allowed, hessian, minimise};
use crate::record::{Evidence, Visit};
use crate::settings::Settings;
use crate::small::{cholesky, product, transpose};
use crate::system::System;

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

/// The criterion over some entries of theta, in standardised units
/// (theta times the root mean square of the entry's column), others held.
pub(crate) struct Objective<'s> {
    pub system: &'s System,
    pub visited: Vec<Visit>,
}

impl Objective<'_> {
    pub fn new(system: &System) -> Objective<'_> {
        Objective { system, visited: Vec::new() }
    }

    fn evaluate(&mut self, theta: &[f64], free: &[usize]) -> Evaluation {
        let solved = self.system.solve(theta).ok()?;
        let value = self.system.criterion(&solved);
        let gradient = self.system.criterion_gradient(&solved);
        self.visited.push(Visit { theta: theta.to_vec(), criterion: value });
        let scaled: Vec<f64> =
            free.iter().map(|i| gradient[*i] / self.system.column_rms[*i]).collect();
        (value.is_finite() && scaled.iter().all(|g| g.is_finite())).then_some((value, scaled))
    }

    fn standard(&self, theta: &[f64], free: &[usize]) -> Vec<f64> {
        free.iter().map(|i| theta[*i] * self.system.column_rms[*i]).collect()
    }

    fn place(&self, theta: &mut [f64], free: &[usize], x: &[f64]) {
        for (i, value) in free.iter().zip(x) {
            theta[*i] = value / self.system.column_rms[*i];
        }
    }

    /// Minimises over `free` from `theta`; the rest of `theta` is held.
    pub fn search(
        &mut self,
        theta: &[f64],
        free: &[usize],
        iterations: usize,
        tolerance: f64,
    ) -> Option<(Vec<f64>, Minimum)> {
        let start = self.standard(theta, free);
        let mut point = theta.to_vec();
        let minimum = minimise(
            &mut |x| {
                let mut at = theta.to_vec();
                self.place(&mut at, free, x);
                self.evaluate(&at, free)
            },
            &start,
            iterations,
            tolerance,
        )?;
        self.place(&mut point, free, &minimum.x);
        Some((point, minimum))
    }

    /// Smallest Hessian eigenvalue over `free`, per unit of max(1, |x|), with
    /// its direction in theta.
    fn curvature(&mut self, theta: &[f64], free: &[usize]) -> Option<(f64, Vec<f64>)> {
        let x = self.standard(theta, free);
        let mut h = hessian(
            &mut |x| {
                let mut at = theta.to_vec();
                self.place(&mut at, free, x);
                self.evaluate(&at, free)
            },
            &x,
        )?;
        let size: Vec<f64> = x.iter().map(|v| v.abs().max(1.0)).collect();
        for i in 0..x.len() {
            for j in 0..x.len() {
                h[(i, j)] *= size[i] * size[j];
            }
        }
        let (values, vectors) = eigen(&h)?;
        let direction = vectors.column(0);
        let mut step = vec![0.0; theta.len()];
        for ((i, d), s) in free.iter().zip(&direction).zip(&size) {
            step[*i] = d * s / self.system.column_rms[*i];
        }
        Some((*values.first()?, step))
    }
}

/// Most times that a saddle is left.
const ESCAPES: usize = 5;

/// Minimises the criterion over theta.
///
/// # Errors
/// Only when the criterion cannot be evaluated at the start.
pub(crate) fn optimise(system: &System, settings: &Settings) -> Result<Optimum, Error> {
    let count = system.entries.len();
    let mut objective = Objective::new(system);
    let start: Vec<f64> = system
        .entries
        .iter()
        .zip(&system.column_rms)
        .map(|(e, rms)| if e.is_diagonal() { 1.0 / rms } else { 0.0 })
        .collect();
    // An unusable start is an error of the data, and says which.
    system.solve(&start)?;
    let all: Vec<usize> = (0..count).collect();
    let unusable = Error::Numerical { what: "the criterion cannot be evaluated at the start" };
    let iterations = settings.max_iterations;
    let (mut theta, mut minimum) =
        objective.search(&start, &all, iterations, settings.tolerance).ok_or(unusable.clone())?;
    for start in other_starts(system) {
        let found = objective.search(&start, &all, iterations, settings.tolerance);
        let slack = 1e-9 * (1.0 + minimum.value.abs());
        if let Some((t, m)) = found.filter(|(_, m)| m.value < minimum.value - slack) {
            (theta, minimum) = (t, m);
        }
    }
    let mut boundary = Vec::new();
    for _ in 0..ESCAPES {
        while let Some((at, t, m)) = try_zero(&mut objective, &theta, &minimum, &boundary, settings)
        {
            boundary.push(at);
            boundary.sort_unstable();
            (theta, minimum) = (t, m);
        }
        let Some((t, m)) = escape(&mut objective, &theta, &minimum, &all, settings) else { break };
        (theta, minimum) = (t, m);
        boundary.clear();
    }
    let theta = canonical(system, &theta);
    let solved = system.solve(&theta)?;
    let criterion = system.criterion(&solved);
    let free = free_entries(system, &theta, &boundary);
    let gradient = system.criterion_gradient(&solved);
    let gradient_norm = free.iter().fold(0.0_f64, |m, i| {
        let size = (theta[*i] * system.column_rms[*i]).abs().max(1.0);
        m.max((gradient[*i] / system.column_rms[*i] * size).abs())
    });
    let least = objective.curvature(&theta, &free).map(|(v, _)| v);
    let failure = judge(settings, criterion, gradient_norm, least, free.len())
        .or_else(|| flat_at_zero(&mut objective, &theta, criterion, &boundary));
    objective.visited.push(Visit { theta, criterion });
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

/// Factors that are nearly confounded give the criterion several minima, each
/// with the spread in another factor: one more start per factor, with the
/// spread in it. A single factor needs none.
pub(crate) fn other_starts(system: &System) -> Vec<Vec<f64>> {
    let count = system.layout.factors.len();
    let starts = if count > 1 { count } else { 0 };
    (0..starts)
        .map(|f| {
            let entries = system.entries.iter().zip(&system.column_rms);
            entries
                .map(|(e, rms)| match (e.is_diagonal(), e.factor == f) {
                    (false, _) => 0.0,
                    (true, true) => 1.0 / rms,
                    (true, false) => 0.03 / rms,
                })
                .collect()
        })
        .collect()
}

/// A stationary point may be a saddle (0 always is stationary): steps along the
/// direction of negative curvature until the criterion falls, and searches on.
fn escape(
    objective: &mut Objective<'_>,
    theta: &[f64],
    minimum: &Minimum,
    all: &[usize],
    settings: &Settings,
) -> Option<(Vec<f64>, Minimum)> {
    let (least, step) = objective.curvature(theta, all)?;
    if least > -1e-4 {
        return None;
    }
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
        let free: Vec<usize> =
            (0..theta.len()).filter(|j| *j != i && !boundary.contains(j)).collect();
        let (value, _) = objective.evaluate(&zeroed, &free)?;
        // Far above the minimum, re-optimising the rest cannot make 0 the better one
        // often enough to pay for a search.
        if value > minimum.value + 2.0 {
            continue;
        }
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
    if free > 0 && !least.is_some_and(|v| v > 1e-5) {
        return Some(format!(
            "the criterion is flat or falling in some direction of theta \
             (smallest Hessian eigenvalue {:.3e}); a random effect cannot be told \
             from the residual or from another effect",
            least.unwrap_or(f64::NAN)
        ));
    }
    None
}
