//! The search for theta: from 1, unconstrained, with 0 tried explicitly and signs fixed afterwards.

use crate::Error;
use crate::criterion::Solved;
use crate::gradient::eigen;
use crate::matrix::Matrix;
use crate::quasi_newton::{Descent, Evaluation, Minimum, allowed, hessian_at_once};
use crate::record::{Evidence, Visit};
use crate::settings::Settings;
use crate::small::{cholesky, product, transpose};
use crate::system::System;
use crate::threads;
use crate::warm;

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
        let (value, gradient) = evaluated(self.system, theta)?;
        self.visited.push(Visit { theta: theta.to_vec(), criterion: value });
        Some((value, free.iter().map(|i| gradient[*i]).collect()))
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
        let metric = self.metric(theta, free);
        let descent =
            Descent { metric: &metric, max_iterations: iterations, tolerance, refined: true };
        let minimum = descent.minimise(
            &mut |x| {
                let mut at = theta.to_vec();
                self.place(&mut at, free, x);
                self.evaluate(&at, free)
            },
            &start,
        )?;
        self.place(&mut point, free, &minimum.x);
        Some((point, minimum))
    }

    /// A guess of the inverse curvature: that of 2 q log(spread) for q levels.
    fn metric(&self, theta: &[f64], free: &[usize]) -> Vec<f64> {
        let system = self.system;
        free.iter()
            .map(|i| {
                let e = &system.entries[*i];
                let factor = &system.layout.factors[e.factor];
                let k = factor.k();
                let row = &factor.lambda(theta)[e.row * k..(e.row + 1) * k];
                let size = crate::small::dot(row, row).sqrt() * system.column_rms[*i];
                size.max(0.1).powi(2) / (4.0 * factor.levels as f64)
            })
            .collect()
    }

    /// Fixed-point steps while they move theta much and `stop` does not say
    /// that this is enough.
    fn approach(&mut self, theta: &[f64], stop: &dyn Fn(&[f64], f64) -> bool) -> Vec<f64> {
        let system = self.system;
        let mut at = theta.to_vec();
        let mut last = f64::INFINITY;
        let mut before = at.clone();
        for _ in 0..APPROACH {
            let Ok(solved) = system.solve(&at) else { return before };
            let value = system.criterion(&solved);
            self.visited.push(Visit { theta: at.clone(), criterion: value });
            if value.is_nan() || value > last {
                return before;
            }
            if stop(&at, value) {
                return at;
            }
            last = value;
            let next = warm::step(system, &solved, &system.gradient(&solved));
            before = std::mem::replace(&mut at, next);
            let moved = |i: usize| (at[i] - before[i]).abs() * system.column_rms[i];
            let size = |i: usize| (before[i] * system.column_rms[i]).abs().max(0.1);
            if (0..at.len()).all(|i| moved(i) < 0.05 * size(i)) {
                break;
            }
        }
        at
    }

    /// Like [`Objective::search`] over all entries with a loose tolerance and
    /// no refinement: good enough to tell which minimum a start leads to. It
    /// ends where `known` is clearly reached.
    fn explore(&mut self, theta: &[f64], known: &[f64], minimum: f64) -> Option<(Vec<f64>, f64)> {
        let free: Vec<usize> = (0..theta.len()).collect();
        let free = &free;
        let system = self.system;
        let near = |at: &[f64], value: f64| value < minimum + CLOSE && same(system, at, known);
        let mut point = self.approach(theta, &near);
        let start = self.standard(&point, free);
        let metric = self.metric(&point, free);
        let descent = Descent {
            metric: &metric,
            max_iterations: EXPLORING_STEPS,
            tolerance: EXPLORING_TOLERANCE,
            refined: false,
        };
        let place = |x: &[f64]| -> Vec<f64> {
            x.iter().zip(&system.column_rms).map(|(v, rms)| v / rms).collect()
        };
        let reached =
            |at: &Minimum| at.value < minimum + CLOSE && same(system, &place(&at.x), known);
        let mut f = |x: &[f64]| self.evaluate(&place(x), free);
        let (end, _) = descent.descend(&mut f, &start, &reached)?;
        self.place(&mut point, free, &end.x);
        Some((point, end.value))
    }

    /// Hessian over all entries in standardised units, per unit of max(1, |x|).
    fn curvature(&mut self, theta: &[f64]) -> Option<Matrix> {
        let all: Vec<usize> = (0..theta.len()).collect();
        let x = self.standard(theta, &all);
        let system = self.system;
        let mut h = hessian_at_once(
            &mut |points: &[Vec<f64>]| {
                let at = |x: &Vec<f64>| -> Vec<f64> {
                    x.iter().zip(&system.column_rms).map(|(v, rms)| v / rms).collect()
                };
                let found = threads::map(points.len(), |i| evaluated(system, &at(&points[i])));
                for (x, found) in points.iter().zip(&found) {
                    if let Some((criterion, _)) = found {
                        self.visited.push(Visit { theta: at(x), criterion: *criterion });
                    }
                }
                found
            },
            &x,
        )?;
        for i in 0..x.len() {
            for j in 0..x.len() {
                h[(i, j)] *= x[i].abs().max(1.0) * x[j].abs().max(1.0);
            }
        }
        Some(h)
    }
}

/// Criterion and its gradient in standardised units.
fn evaluated(system: &System, theta: &[f64]) -> Evaluation {
    let solved = system.solve(theta).ok()?;
    let value = system.criterion(&solved);
    let gradient = system.criterion_gradient(&solved);
    let scaled: Vec<f64> = gradient.iter().zip(&system.column_rms).map(|(g, r)| g / r).collect();
    (value.is_finite() && scaled.iter().all(|g| g.is_finite())).then_some((value, scaled))
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
/// Most fixed-point steps.
const APPROACH: usize = 12;

/// Steps and tolerance of a search that only finds out where a start leads.
const EXPLORING_STEPS: usize = 60;
const EXPLORING_TOLERANCE: f64 = 1e-2;
/// Rise over the minimum that an unrefined end may have.
const CLOSE: f64 = 10.0;
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
    let near = objective.approach(&start, &|_, _| false);
    let (mut theta, mut minimum) =
        objective.search(&near, &all, iterations, settings.tolerance).ok_or(unusable.clone())?;
    let starts = other_starts(system);
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
        }
    }
    let mut boundary = Vec::new();
    let mut curvature = None;
    for _ in 0..ESCAPES {
        while let Some((at, t, m)) = try_zero(&mut objective, &theta, &minimum, &boundary, settings)
        {
            boundary.push(at);
            boundary.sort_unstable();
            (theta, minimum) = (t, m);
        }
        curvature = objective.curvature(&theta);
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
    let curvature = curvature.or_else(|| objective.curvature(&theta));
    let solved = system.solve(&theta)?;
    let criterion = system.criterion(&solved);
    let free = free_entries(system, &theta, &boundary);
    let gradient = system.criterion_gradient(&solved);
    let gradient_norm = free.iter().fold(0.0_f64, |m, i| {
        let size = (theta[*i] * system.column_rms[*i]).abs().max(1.0);
        m.max((gradient[*i] / system.column_rms[*i] * size).abs())
    });
    let least = curvature.and_then(|h| least_eigenvalue(&h, &free));
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

/// Whether two thetas stand for nearly the same covariance.
fn same(system: &System, a: &[f64], b: &[f64]) -> bool {
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
