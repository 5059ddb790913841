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

/// A search from a plain metric, refined by steps on an exact gradient.
pub(crate) fn minimise(
    f: &mut dyn FnMut(&[f64]) -> Evaluation,
    start: &[f64],
    max_iterations: usize,
    tolerance: f64,
) -> Option<Minimum> {
    let metric = vec![1.0; start.len()];
    let plain = Descent { metric: &metric, max_iterations, tolerance, refined: true };
    plain.minimise(f, start)
}

/// A search by BFGS with a bisection line search for the weak Wolfe conditions,
/// from a guess of the curvature.
pub(crate) struct Descent<'a> {
    /// Diagonal of the inverse Hessian to start from, up to one factor.
    pub metric: &'a [f64],
    pub max_iterations: usize,
    pub tolerance: f64,
    /// Whether refining follows, so that the search may end on rounding.
    pub refined: bool,
}

impl Descent<'_> {
    /// The search, refined by steps on an exact gradient.
    pub fn minimise(
        &self,
        f: &mut dyn FnMut(&[f64]) -> Evaluation,
        start: &[f64],
    ) -> Option<Minimum> {
        let (at, inverse) = self.descend(f, start, &|_| false)?;
        Some(refine(f, at, inverse))
    }

    /// The search, with the inverse Hessian that it has built up; it ends early
    /// where `stop` says so.
    pub fn descend(
        &self,
        f: &mut dyn FnMut(&[f64]) -> Evaluation,
        start: &[f64],
        stop: &dyn Fn(&Minimum) -> bool,
    ) -> Option<(Minimum, Matrix)> {
        let n = start.len();
        let tolerance = self.tolerance;
        let (value, gradient) = f(start)?;
        let mut at =
            Minimum { x: start.to_vec(), value, gradient, reason: "iteration limit reached" };
        if n == 0 {
            at.reason = "no free parameter";
            return Some((at, Matrix::zeros(0, 0)));
        }
        let mut inverse = diagonal(self.metric);
        let mut fresh = true;
        for _ in 0..self.max_iterations {
            if stop(&at) {
                at.reason = "ended early";
                break;
            }
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
            // Values cannot judge such a step; refining looks at gradients alone.
            if self.refined && !fresh && slope.abs() <= 4e-15 * (1.0 + at.value.abs()) {
                at.reason = "decrease below rounding";
                break;
            }
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
                    inverse = diagonal(self.metric);
                    fresh = true;
                }
                None => {
                    at.reason = "no further decrease";
                    break;
                }
            }
        }
        Some((at, inverse))
    }
}

/// Gradient norm that counts as 0 beside a value of this size.
pub(crate) fn allowed(tolerance: f64, value: f64) -> f64 {
    tolerance * (1.0 + value.abs() / 1000.0)
}

fn diagonal(values: &[f64]) -> Matrix {
    let mut out = Matrix::zeros(values.len(), values.len());
    for (i, x) in values.iter().enumerate() {
        out[(i, i)] = *x;
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
        let size = sy / inverse.quadratic(&y, &y);
        for i in 0..n {
            inverse[(i, i)] *= size;
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

/// Quasi-Newton steps on the gradient alone, whose rounding is far below that
/// of the value, until several in a row do not shrink it by a third; then
/// Newton steps, unless what is left is rounding.
pub(crate) fn refine(
    f: &mut dyn FnMut(&[f64]) -> Evaluation,
    start: Minimum,
    mut inverse: Matrix,
) -> Minimum {
    let mut best = start;
    let mut at = best.clone();
    let mut idle = 0;
    while idle < 3 && best.gradient_norm() > settled(best.value) {
        let step: Vec<f64> = inverse.times(&at.gradient).iter().map(|x| -x).collect();
        let x = along(&at.x, &step, 1.0);
        let Some((value, gradient)) = f(&x) else { break };
        let next = Minimum { x, value, gradient, reason: at.reason };
        let slack = 1e-10 * (1.0 + best.value.abs());
        if next.value.is_nan() || next.value > best.value + slack {
            break;
        }
        update(&mut inverse, &at, &next, false);
        at = next;
        idle = if at.gradient_norm() > 0.67 * best.gradient_norm() { idle + 1 } else { 0 };
        if at.gradient_norm() < best.gradient_norm() {
            best = at.clone();
        }
    }
    if best.gradient_norm() <= allowed(1e-7, best.value) { best } else { polish(f, best) }
}

/// Gradient norm at which refining ends.
fn settled(value: f64) -> f64 {
    allowed(1e-8, value)
}

/// Newton steps with a Hessian from differences of the exact gradient, kept
/// only while they shrink the gradient.
fn polish(f: &mut dyn FnMut(&[f64]) -> Evaluation, mut at: Minimum) -> Minimum {
    for _ in 0..4 {
        if at.gradient_norm() <= settled(at.value) {
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
    hessian_at_once(&mut |points| points.iter().map(|x| f(x)).collect(), x)
}

/// [`hessian`] of a function that takes all its points together.
pub(crate) fn hessian_at_once(
    f: &mut dyn FnMut(&[Vec<f64>]) -> Vec<Evaluation>,
    x: &[f64],
) -> Option<Matrix> {
    let n = x.len();
    let step = |i: usize| 2e-3 * x[i].abs().max(0.1);
    let mut points = Vec::with_capacity(4 * n);
    for i in 0..n {
        for h in [step(i), -step(i), 0.5 * step(i), -0.5 * step(i)] {
            let mut y = x.to_vec();
            y[i] = x[i] + h;
            points.push(y);
        }
    }
    let found: Vec<Vec<f64>> =
        f(&points).into_iter().map(|e| e.map(|e| e.1)).collect::<Option<_>>()?;
    let slopes: Vec<Vec<f64>> = found
        .chunks_exact(4)
        .enumerate()
        .map(|(i, at)| {
            let h = step(i);
            let slope = |j: usize| {
                let wide = (at[0][j] - at[1][j]) / (2.0 * h);
                let narrow = (at[2][j] - at[3][j]) / h;
                (4.0 * narrow - wide) / 3.0
            };
            (0..n).map(slope).collect()
        })
        .collect();
    Some(slope_matrix(&slopes))
}

/// The symmetric matrix whose columns are the slopes of a gradient.
pub(crate) fn slope_matrix(columns: &[Vec<f64>]) -> Matrix {
    let n = columns.len();
    let mut out = Matrix::zeros(n, n);
    for i in 0..n {
        for j in 0..n {
            out[(i, j)] = 0.5 * (columns[i][j] + columns[j][i]);
        }
    }
    out
}
