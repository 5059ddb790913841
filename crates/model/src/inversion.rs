//! The confidence set of a turning point by inverting the test that the slope is zero there.
//!
//! Fieller (1954), J. R. Stat. Soc. B 16:175-185. The set may be an interval, two rays or the whole
//! line; degrees of freedom are asked for anew at every point.

use serde::{Deserialize, Serialize};

/// Points at which the whole line, mapped into (-1, 1), is scanned.
const SCAN: usize = 401;
/// Halvings that refine a boundary: to about 1e-12 of a scan step.
const HALVINGS: usize = 40;

/// A confidence set for the intensity at which the curve turns.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum TurningPointSet {
    /// From low to high.
    Interval {
        /// Lower bound.
        low: f64,
        /// Upper bound.
        high: f64,
    },
    /// Everything up to the first bound and from the second bound on.
    TwoRays {
        /// End of the lower ray.
        below: f64,
        /// Start of the upper ray.
        above: f64,
    },
    /// Every intensity: the data do not locate a turning point.
    WholeLine,
    /// No intensity is compatible with a turning point.
    Empty,
}

/// Scans the line for points where `excess(x) <= 0`, `excess` being the squared test statistic
/// minus its squared critical value. `None` when `excess` cannot be evaluated somewhere.
pub fn invert(excess: impl Fn(f64) -> Option<f64>) -> Option<TurningPointSet> {
    let points: Vec<f64> = (0..SCAN).map(|k| 2.0 * (k as f64 + 0.5) / SCAN as f64 - 1.0).collect();
    let accepted: Vec<bool> = points
        .iter()
        .map(|&s| excess(from_unit(s)).map(|value| value <= 0.0))
        .collect::<Option<_>>()?;
    let (first, last) = (*accepted.first()?, *accepted.last()?);
    if accepted.iter().all(|a| *a) {
        return Some(TurningPointSet::WholeLine);
    }
    if first && last {
        // The gap's outer bounds.
        let below = accepted.iter().position(|a| !a)?;
        let above = accepted.iter().rposition(|a| !a)?;
        return Some(TurningPointSet::TwoRays {
            below: boundary(&excess, points[below - 1], points[below])?,
            above: boundary(&excess, points[above + 1], points[above])?,
        });
    }
    let (Some(low), Some(high)) =
        (accepted.iter().position(|a| *a), accepted.iter().rposition(|a| *a))
    else {
        return Some(TurningPointSet::Empty);
    };
    let bound = |inside: usize, outside: Option<usize>| match outside.and_then(|k| points.get(k)) {
        Some(&outside) => boundary(&excess, points[inside], outside),
        None => Some(from_unit(points[inside])),
    };
    Some(TurningPointSet::Interval {
        low: bound(low, low.checked_sub(1))?,
        high: bound(high, Some(high + 1))?,
    })
}

/// Maps (-1, 1) onto the line.
fn from_unit(s: f64) -> f64 {
    s / (1.0 - s.abs())
}

/// Bisects between an accepted and a rejected point.
fn boundary(
    excess: &impl Fn(f64) -> Option<f64>,
    mut accepted: f64,
    mut rejected: f64,
) -> Option<f64> {
    for _ in 0..HALVINGS {
        let middle = 0.5 * (accepted + rejected);
        if excess(from_unit(middle))? <= 0.0 {
            accepted = middle;
        } else {
            rejected = middle;
        }
    }
    Some(from_unit(accepted))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form of Fieller for slope b1 + 2 b2 x with covariance entries and one t.
    fn excess(
        b1: f64,
        b2: f64,
        v11: f64,
        v12: f64,
        v22: f64,
        t: f64,
    ) -> impl Fn(f64) -> Option<f64> {
        move |x| {
            let slope = b1 + 2.0 * b2 * x;
            let variance = v11 + 4.0 * x * v12 + 4.0 * x * x * v22;
            Some(slope * slope / variance - t * t)
        }
    }

    #[test]
    fn agrees_with_the_quadratic_formula() {
        let (b1, b2, v11, v12, v22, t): (f64, f64, f64, f64, f64, f64) =
            (1.2, -1.8, 0.02, -0.03, 0.09, 2.1);
        // (4 b2^2 - 4 t^2 v22) x^2 + (4 b1 b2 - 4 t^2 v12) x + b1^2 - t^2 v11 <= 0.
        let a = 4.0 * b2 * b2 - 4.0 * t * t * v22;
        let b = 4.0 * b1 * b2 - 4.0 * t * t * v12;
        let c = b1 * b1 - t * t * v11;
        let root = (b * b - 4.0 * a * c).sqrt();
        let expected = [(-b - root) / (2.0 * a), (-b + root) / (2.0 * a)];
        match invert(excess(b1, b2, v11, v12, v22, t)).unwrap() {
            TurningPointSet::Interval { low, high } => {
                assert!((low - expected[0]).abs() < 1e-9);
                assert!((high - expected[1]).abs() < 1e-9);
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn weak_curvature_gives_two_rays_and_noise_the_whole_line() {
        // Clear slope, curvature not significant: turning points near the data are excluded only.
        let rays = invert(excess(2.0, -0.05, 0.02, 0.0, 0.04, 2.1)).unwrap();
        assert!(
            matches!(rays, TurningPointSet::TwoRays { below, above } if below < 0.0 && above > 0.0)
        );
        let noise = invert(excess(0.1, -0.1, 1.0, 0.0, 1.0, 2.1)).unwrap();
        assert_eq!(noise, TurningPointSet::WholeLine);
        assert_eq!(invert(|_| Some(1.0)), Some(TurningPointSet::Empty));
        assert_eq!(invert(|_| None), None);
    }
}
