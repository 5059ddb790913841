//! The criterion as a function of free entries of theta, and the ways to move on it.

use crate::Error;
use crate::gradient::eigen;
use crate::matrix::Matrix;
use crate::optimise::same;
use crate::quasi_newton::{
    Descent, Evaluation, Minimum, allowed, hessian_at_once, refine, slope_matrix,
};
use crate::record::Visit;
use crate::system::System;
use crate::threads;
use crate::warm;

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

    pub fn evaluate(&mut self, theta: &[f64], free: &[usize]) -> Evaluation {
        let (value, gradient) = evaluated(self.system, theta)?;
        self.visited.push(Visit { theta: theta.to_vec(), criterion: value });
        Some((value, free.iter().map(|i| gradient[*i]).collect()))
    }

    /// The criterion alone.
    pub fn value(&mut self, theta: &[f64]) -> Option<f64> {
        let value = self.system.criterion(&self.system.solve(theta).ok()?);
        self.visited.push(Visit { theta: theta.to_vec(), criterion: value });
        value.is_finite().then_some(value)
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
        self.descend(theta, free, iterations, tolerance, true)
    }

    /// The same, refined or ending where the tolerance is met.
    pub fn descend(
        &mut self,
        theta: &[f64],
        free: &[usize],
        iterations: usize,
        tolerance: f64,
        refined: bool,
    ) -> Option<(Vec<f64>, Minimum)> {
        let start = self.standard(theta, free);
        let mut point = theta.to_vec();
        let metric = self.metric(theta, free);
        let descent = Descent { metric: &metric, max_iterations: iterations, tolerance, refined };
        let mut f = |x: &[f64]| {
            let mut at = theta.to_vec();
            self.place(&mut at, free, x);
            self.evaluate(&at, free)
        };
        let minimum = if refined {
            descent.minimise(&mut f, &start)?
        } else {
            descent.descend(&mut f, &start, &|_| false)?.0
        };
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
    /// that this is enough; and whether they came to rest.
    ///
    /// # Errors
    /// Only when the criterion cannot be evaluated at the start.
    pub fn approach(
        &mut self,
        theta: &[f64],
        stop: &dyn Fn(&[f64], f64) -> bool,
    ) -> Result<(Vec<f64>, bool), Error> {
        let system = self.system;
        let mut at = theta.to_vec();
        let mut last = f64::INFINITY;
        let mut before = at.clone();
        for _ in 0..APPROACH {
            let solved = match system.solve(&at) {
                Ok(solved) => solved,
                Err(error) if last.is_infinite() => return Err(error),
                Err(_) => return Ok((before, false)),
            };
            let value = system.criterion(&solved);
            self.visited.push(Visit { theta: at.clone(), criterion: value });
            if value.is_nan() || value > last {
                return Ok((before, false));
            }
            if stop(&at, value) {
                return Ok((at, false));
            }
            last = value;
            let next = warm::step(system, &solved, &system.gradient(&solved));
            before = std::mem::replace(&mut at, next);
            let moved = |i: usize| (at[i] - before[i]).abs() * system.column_rms[i];
            let size = |i: usize| (before[i] * system.column_rms[i]).abs().max(0.1);
            if (0..at.len()).all(|i| moved(i) < 0.05 * size(i)) {
                return Ok((at, true));
            }
        }
        Ok((at, false))
    }

    /// From a point close to a minimum, steps on the exact gradient with a
    /// Hessian from differences, which stays to prove the minimum. `None` when
    /// the Hessian is not clearly positive definite or the steps do not arrive.
    pub fn newton(&mut self, theta: &[f64], tolerance: f64) -> Option<Proven> {
        let all: Vec<usize> = (0..theta.len()).collect();
        let x = self.standard(theta, &all);
        let steps: Vec<f64> = x.iter().map(|x| 2e-3 * x.abs().max(0.1)).collect();
        let mut points = vec![x.clone(); x.len() + 1];
        for (i, h) in steps.iter().enumerate() {
            points[i + 1][i] += h;
        }
        let found: Vec<(f64, Vec<f64>)> =
            self.evaluate_at_once(&points).into_iter().collect::<Option<_>>()?;
        let (value, gradient) = found.first()?.clone();
        let differences: Vec<Vec<f64>> = found[1..]
            .iter()
            .zip(&steps)
            .map(|((_, g), h)| g.iter().zip(&gradient).map(|(a, b)| (a - b) / h).collect())
            .collect();
        let h = slope_matrix(&differences);
        let inverse = clear_inverse(&h)?;
        let at = Minimum { x: x.clone(), value, gradient, reason: "Newton steps" };
        let mut f = |x: &[f64]| self.evaluate(&self.restored(x), &all);
        let minimum = refine(&mut f, at, inverse);
        let close = minimum.gradient_norm() <= 0.1 * allowed(tolerance, minimum.value);
        let near = minimum.x.iter().zip(&x).all(|(a, b)| (a - b).abs() <= 0.02 * b.abs().max(0.1));
        let hessian = near.then(|| per_unit(h, &minimum.x));
        close.then(|| Proven { theta: self.restored(&minimum.x), minimum, hessian })
    }

    fn restored(&self, x: &[f64]) -> Vec<f64> {
        x.iter().zip(&self.system.column_rms).map(|(v, rms)| v / rms).collect()
    }

    /// Criterion and gradient at several points in standardised units.
    fn evaluate_at_once(&mut self, points: &[Vec<f64>]) -> Vec<Evaluation> {
        let thetas: Vec<Vec<f64>> = points.iter().map(|x| self.restored(x)).collect();
        let found = threads::map(thetas.len(), |i| evaluated(self.system, &thetas[i]));
        for (theta, found) in thetas.into_iter().zip(&found) {
            if let Some((criterion, _)) = found {
                self.visited.push(Visit { theta, criterion: *criterion });
            }
        }
        found
    }

    /// Like [`Objective::search`] over all entries with a loose tolerance and
    /// no refinement: good enough to tell which minimum a start leads to. It
    /// ends where `known` is clearly reached.
    pub fn explore(
        &mut self,
        theta: &[f64],
        known: &[f64],
        minimum: f64,
    ) -> Option<(Vec<f64>, f64)> {
        let free: Vec<usize> = (0..theta.len()).collect();
        let free = &free;
        let system = self.system;
        let near = |at: &[f64], value: f64| value < minimum + CLOSE && same(system, at, known);
        let (mut point, _) = self.approach(theta, &near).ok()?;
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
    pub fn curvature(&mut self, theta: &[f64]) -> Option<Matrix> {
        let all: Vec<usize> = (0..theta.len()).collect();
        let x = self.standard(theta, &all);
        let h = hessian_at_once(&mut |points: &[Vec<f64>]| self.evaluate_at_once(points), &x)?;
        Some(per_unit(h, &x))
    }
}

/// A minimum over all of theta, with the Hessian next to it per unit of
/// max(1, |x|), unless the steps led away from where it was taken.
pub(crate) struct Proven {
    pub theta: Vec<f64>,
    pub minimum: Minimum,
    pub hessian: Option<Matrix>,
}

fn per_unit(mut h: Matrix, x: &[f64]) -> Matrix {
    for i in 0..x.len() {
        for j in 0..x.len() {
            h[(i, j)] *= x[i].abs().max(1.0) * x[j].abs().max(1.0);
        }
    }
    h
}

/// Inverse of a Hessian that, scaled to a unit diagonal, stays positive
/// definite under the few per cent by which one-sided differences may err.
fn clear_inverse(h: &Matrix) -> Option<Matrix> {
    let n = h.n_rows();
    let size: Vec<f64> = (0..n).map(|i| h[(i, i)].sqrt()).collect();
    let mut scaled = h.clone();
    for i in 0..n {
        for j in 0..n {
            scaled[(i, j)] /= size[i] * size[j];
        }
    }
    // A negative diagonal entry made this NaN, which has no eigenvalues.
    let (values, vectors) = eigen(&scaled)?;
    if values.first().is_none_or(|least| *least < CLEAR) {
        return None;
    }
    let mut out = Matrix::zeros(n, n);
    for i in 0..n {
        for j in 0..n {
            let terms = values.iter().enumerate();
            let sum: f64 = terms.map(|(c, v)| vectors[(i, c)] * vectors[(j, c)] / v).sum();
            out[(i, j)] = sum / (size[i] * size[j]);
        }
    }
    Some(out)
}

/// Criterion and its gradient in standardised units.
fn evaluated(system: &System, theta: &[f64]) -> Evaluation {
    let solved = system.solve(theta).ok()?;
    let value = system.criterion(&solved);
    let gradient = system.criterion_gradient(&solved);
    let scaled: Vec<f64> = gradient.iter().zip(&system.column_rms).map(|(g, r)| g / r).collect();
    (value.is_finite() && scaled.iter().all(|g| g.is_finite())).then_some((value, scaled))
}

/// Most fixed-point steps.
const APPROACH: usize = 12;

/// Steps and tolerance of a search that only finds out where a start leads.
const EXPLORING_STEPS: usize = 60;
const EXPLORING_TOLERANCE: f64 = 1e-2;
/// Rise over the minimum that an unrefined end may have.
pub(crate) const CLOSE: f64 = 10.0;
/// Smallest eigenvalue of a Hessian scaled to a unit diagonal from which it is
/// clearly positive definite.
const CLEAR: f64 = 0.1;
