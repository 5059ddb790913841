//! A quadratic fitted to treatment means, its optimum and the set that the data do not exclude.

/// Least squares of means on 1, x, x^2 with orthogonal polynomials of the actual spacing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Polynomials {
    centre: f64,
    /// Shift of the second polynomial: z^2 - skew z - spread with z = x - centre.
    skew: f64,
    spread: f64,
    levels: Vec<f64>,
    linear: f64,
    quadratic: f64,
}

/// A fitted curve b0 + b1 z + b2 z^2 about the centre, with covariances per unit variance of a
/// mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fitted {
    pub slope: f64,
    pub bend: f64,
    v11: f64,
    v12: f64,
    v22: f64,
    centre: f64,
}

impl Polynomials {
    /// `None` with fewer than three different levels.
    pub(super) fn of(levels: &[f64]) -> Option<Self> {
        let count = levels.len() as f64;
        let centre = levels.iter().sum::<f64>() / count;
        let power = |k: i32| levels.iter().map(|x| (x - centre).powi(k)).sum::<f64>();
        let linear = power(2);
        let (skew, spread) = (power(3) / linear, linear / count);
        let second = |z: f64| z * z - skew * z - spread;
        let quadratic: f64 = levels.iter().map(|x| second(x - centre).powi(2)).sum();
        let usable = linear.is_finite() && quadratic > 1e-10 * linear * linear / count;
        usable.then(|| Self { centre, skew, spread, levels: levels.to_vec(), linear, quadratic })
    }

    pub(super) fn fit(&self, means: &[f64]) -> Fitted {
        let mut first = 0.0;
        let mut second = 0.0;
        for (x, mean) in self.levels.iter().zip(means) {
            let z = x - self.centre;
            first += z * mean;
            second += (z * z - self.skew * z - self.spread) * mean;
        }
        let (linear, bend) = (first / self.linear, second / self.quadratic);
        let v22 = 1.0 / self.quadratic;
        Fitted {
            slope: linear - self.skew * bend,
            bend,
            v11: 1.0 / self.linear + self.skew * self.skew * v22,
            v12: -self.skew * v22,
            v22,
            centre: self.centre,
        }
    }
}

impl Fitted {
    /// Level of the highest fitted value inside a range.
    pub(super) fn best(&self, (low, high): (f64, f64)) -> f64 {
        let value = |x: f64| {
            let z = x - self.centre;
            (self.slope + self.bend * z) * z
        };
        let turn = self.centre - self.slope / (2.0 * self.bend);
        if self.bend < 0.0 {
            turn.clamp(low, high)
        } else if value(high) > value(low) {
            high
        } else {
            low
        }
    }

    /// Lengths of the parts of the range where a zero slope is not excluded: the inversion set of
    /// Fieller (1954), (b1 + 2 b2 z)^2 <= t^2 V (v11 + 4 z v12 + 4 z^2 v22), with V the estimated
    /// variance of a mean. As intervals inside the range, none to two.
    pub(super) fn set(&self, t_squared_variance: f64, (low, high): (f64, f64)) -> Vec<(f64, f64)> {
        let k = t_squared_variance;
        let a = 4.0 * (self.bend * self.bend - k * self.v22);
        let b = 4.0 * (self.slope * self.bend - k * self.v12);
        let c = self.slope * self.slope - k * self.v11;
        let (low, high) = (low - self.centre, high - self.centre);
        let root = (b * b - 4.0 * a * c).sqrt();
        let pieces = if root.is_nan() {
            // No crossing: all of the line where the parabola opens downward, else nothing.
            if a < 0.0 || (a == 0.0 && c <= 0.0) { vec![(low, high)] } else { Vec::new() }
        } else {
            // The product form keeps the smaller root accurate, and a near zero harmless.
            let q = -0.5 * (b + root.copysign(b));
            let (first, second) = (q / a, if q == 0.0 { 0.0 } else { c / q });
            let (near, far) = (first.min(second), first.max(second));
            if a > 0.0 {
                vec![(near, far)]
            } else if a < 0.0 {
                vec![(low, near), (far, high)]
            } else if b > 0.0 {
                vec![(low, second)]
            } else {
                vec![(second, high)]
            }
        };
        pieces
            .into_iter()
            .map(|(from, to)| (from.max(low) + self.centre, to.min(high) + self.centre))
            .filter(|(from, to)| from <= to)
            .collect()
    }
}
