//! A quasi-Newton search polished by Newton steps, for smooth functions with gradients.

use crate::gradient::eigen;
use crate::matrix::Matrix;
use crate::small::dot;

/// Value and gradient at a point; `None` where the function is undefined.
pub(crate) type Evaluation = Option<(f64, Vec<f64>)>;

/// End point of a search.
#[derive(Debug, Clone)]
pub(crate) struct Minimum {
    pub x: Vec<f64>,
    pub value: f64,
    pub gradient: Vec<f64>,
    pub reason: &'static str,
}

impl Minimum {
    /// Largest gradient component per unit of max(1, |x|).
    pub fn gradient_norm(&self) -> f64 {
        let scaled = self.gradient.iter().zip(&self.x);
        scaled.fold(0.0, |m, (g, x)| m.max((g * x.abs().max(1.0)).abs()))
    }
}

/// [`search`], polished by Newton steps on an exact gradient.
pub(crate) fn minimise(
    f: &mut dyn FnMut(&[f64]) -> Evaluation,
    start: &[f64],
    max_iterations: usize,
    tolerance: f64,
) -> Option<Minimum> {
    let at = search(f, start, max_iterations, tolerance)?;
    Some(polish(f, at))
}

/// BFGS with a bisection line search for the weak Wolfe conditions.
pub(crate) fn search(
    f: &mut dyn FnMut(&[f64]) -> Evaluation,
    start: &[f64],
    max_iterations: usize,
    tolerance: f64,
) -> Option<Minimum> {
    let n = start.len();
    let (value, gradient) = f(start)?;
    let mut at = Minimum { x: start.to_vec(), value, gradient, reason: "iteration limit reached" };
    if n == 0 {
        at.reason = "no free parameter";
        return Some(at);
    }
    let mut inverse = identity(n);
    let mut fresh = true;
    for _ in 0..max_iterations {
        // Rounding of a large value limits what a gradient can reach.
        if at.gradient_norm() <= 0.1 * allowed(tolerance, at.value) {
            at.reason = "gradient below tolerance";
            break;
        }
        let mut direction: Vec<f64> = inverse.times(&at.gradient).iter().map(|x| -x).collect();
        if fresh {
            // Without curvature yet, move by at most 0.4: a length that does
            // not lead from 1 exactly to the stationary point 0.
            let length = dot(&direction, &direction).sqrt();
            if length > 0.4 {
                direction.iter_mut().for_each(|d| *d *= 0.4 / length);
            }
        }
        let slope = dot(&direction, &at.gradient);
        let next = if slope < 0.0 { line_search(f, &at, &direction, slope) } else { None };
        match next {
            Some(next) => {
                update(&mut inverse, &at, &next, fresh);
                fresh = false;
                let gained = at.value - next.value;
                at = next;
                // Below rounding: Newton steps on the gradient do the rest.
                if gained <= 1e-14 * (1.0 + at.value.abs()) {
                    at.reason = "decrease below rounding";
                    break;
                }
            }
            None if !fresh => {
                inverse = identity(n);
                fresh = true;
            }
            None => {
                at.reason = "no further decrease";
                break;
            }
        }
    }
    Some(at)
}

/// Gradient norm that counts as 0 beside a value of this size.
pub(crate) fn allowed(tolerance: f64, value: f64) -> f64 {
    tolerance * (1.0 + value.abs() / 1000.0)
}

fn identity(n: usize) -> Matrix {
    let mut out = Matrix::zeros(n, n);
    for i in 0..n {
        out[(i, i)] = 1.0;
    }
    out
}

fn along(at: &[f64], direction: &[f64], step: f64) -> Vec<f64> {
    at.iter().zip(direction).map(|(x, d)| x + step * d).collect()
}

fn line_search(
    f: &mut dyn FnMut(&[f64]) -> Evaluation,
    at: &Minimum,
    direction: &[f64],
    slope: f64,
) -> Option<Minimum> {
    let (mut low, mut high) = (0.0, f64::INFINITY);
    let mut step = 1.0;
    let mut best: Option<Minimum> = None;
    for _ in 0..40 {
        let x = along(&at.x, direction, step);
        match f(&x) {
            Some((value, gradient)) if value <= at.value + 1e-4 * step * slope => {
                let flat_enough = dot(&gradient, direction) >= 0.9 * slope;
                best = Some(Minimum { x, value, gradient, reason: at.reason });
                if flat_enough {
                    return best;
                }
                low = step;
            }
            _ => high = step,
        }
        step = if high.is_finite() { 0.5 * (low + high) } else { 2.0 * low };
    }
    best
}

fn update(inverse: &mut Matrix, from: &Minimum, to: &Minimum, fresh: bool) {
    let s: Vec<f64> = to.x.iter().zip(&from.x).map(|(a, b)| a - b).collect();
    let y: Vec<f64> = to.gradient.iter().zip(&from.gradient).map(|(a, b)| a - b).collect();
    let sy = dot(&s, &y);
    let n = s.len();
    if sy <= 1e-12 * (dot(&s, &s) * dot(&y, &y)).sqrt() {
        return;
    }
    if fresh {
        let size = sy / dot(&y, &y);
        for i in 0..n {
            inverse[(i, i)] = size;
        }
    }
    let hy = inverse.times(&y);
    let factor = (1.0 + dot(&y, &hy) / sy) / sy;
    for i in 0..n {
        for j in 0..n {
            inverse[(i, j)] += factor * s[i] * s[j] - (hy[i] * s[j] + s[i] * hy[j]) / sy;
        }
    }
}

/// Newton steps with a Hessian from differences of the exact gradient, kept
/// only while they shrink the gradient.
fn polish(f: &mut dyn FnMut(&[f64]) -> Evaluation, mut at: Minimum) -> Minimum {
    for _ in 0..4 {
        if at.gradient_norm() <= 1e-9 * (1.0 + at.value.abs() / 1000.0) {
            break;
        }
        let Some(h) = hessian(f, &at.x) else { break };
        let Some((values, vectors)) = eigen(&h) else { break };
        let largest = values.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        let mut step = vec![0.0; at.x.len()];
        for (j, value) in values.iter().enumerate() {
            if *value > 1e-10 * largest {
                let v = vectors.column(j);
                let size = -dot(&v, &at.gradient) / value;
                step = along(&step, &v, size);
            }
        }
        let x = along(&at.x, &step, 1.0);
        let Some((value, gradient)) = f(&x) else { break };
        let next = Minimum { x, value, gradient, reason: at.reason };
        let slack = 1e-10 * (1.0 + at.value.abs());
        if next.gradient_norm() < at.gradient_norm() && next.value <= at.value + slack {
            at = next;
        } else {
            break;
        }
    }
    at
}

/// Hessian by central differences of the gradient, with one Richardson step
/// that removes the error of order h^2.
pub(crate) fn hessian(f: &mut dyn FnMut(&[f64]) -> Evaluation, x: &[f64]) -> Option<Matrix> {
    let n = x.len();
    let mut out = Matrix::zeros(n, n);
    for i in 0..n {
        let column = gradient_derivative(f, x, i)?;
        for (j, value) in column.iter().enumerate() {
            out[(j, i)] = *value;
        }
    }
    for i in 0..n {
        for j in 0..i {
            let mean = 0.5 * (out[(i, j)] + out[(j, i)]);
            out[(i, j)] = mean;
            out[(j, i)] = mean;
        }
    }
    Some(out)
}

fn gradient_derivative(
    f: &mut dyn FnMut(&[f64]) -> Evaluation,
    x: &[f64],
    i: usize,
) -> Option<Vec<f64>> {
    let mut central = |h: f64| -> Option<Vec<f64>> {
        let mut y = x.to_vec();
        y[i] = x[i] + h;
        let (_, up) = f(&y)?;
        y[i] = x[i] - h;
        let (_, down) = f(&y)?;
        Some(up.iter().zip(&down).map(|(a, b)| (a - b) / (2.0 * h)).collect())
    };
    let h = 2e-3 * x[i].abs().max(0.1);
    let (wide, narrow) = (central(h)?, central(0.5 * h)?);
    Some(wide.iter().zip(&narrow).map(|(w, n)| (4.0 * n - w) / 3.0).collect())
}
