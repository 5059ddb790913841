//! How strong a hidden common cause of mediator and yield would have to be.
//!
//! A common cause shows as a correlation rho between what the two models leave unexplained. The
//! slope of yield on the mediator that is left under rho is
//!
//!   b(rho) = (s1 / s2) (r - rho sqrt((1 - r^2) / (1 - rho^2))),
//!
//! s1 the residual spread of yield without the mediator, s2 that of the mediator, r the correlation
//! of the two residuals (Imai, Keele and Yamamoto, 2010, Stat. Sci. 25:51-71, theorem 4). It is 0
//! at rho = r.

/// One draw of what the sensitivity figure needs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Residuals {
    /// Correlation of the residuals of yield without the mediator and of the mediator.
    pub correlation: f64,
    /// Residual spread of yield without the mediator over that of the mediator.
    pub ratio: f64,
}

impl Residuals {
    /// From a slope, the mediator's spread and the spread of yield given the mediator.
    pub(crate) fn of(slope: f64, mediator_sd: f64, rest_sd: f64) -> Self {
        let whole = (rest_sd.powi(2) + (slope * mediator_sd).powi(2)).sqrt();
        Self { correlation: slope * mediator_sd / whole, ratio: whole / mediator_sd }
    }

    /// Slope left under a hidden correlation.
    pub(crate) fn slope(self, rho: f64) -> f64 {
        let r = self.correlation;
        self.ratio * (r - rho * ((1.0 - r * r) / (1.0 - rho * rho)).sqrt())
    }
}

/// Largest hidden correlation looked at.
const LARGEST: f64 = 0.95;
const STEPS: u32 = 95;

/// Least hidden correlation, by absolute value and of the sign that works against the effect, at
/// which the interval of the indirect effect reaches 0; 0 when it does so without one, `None` when
/// it never does. `indirect` are draws of the effect on the mediator (its sign is that of the
/// indirect effect per unit of slope).
pub(crate) fn undoing(residuals: &[Residuals], on_mediator: &[f64], level: f64) -> Option<f64> {
    let limits = |rho: f64| {
        let draws = residuals.iter().zip(on_mediator).map(|(r, a)| r.slope(rho) * a);
        crate::region_curve::Summary::of(draws, level)
    };
    let start = limits(0.0);
    if start.low <= 0.0 && start.high >= 0.0 {
        return Some(0.0);
    }
    let sum: f64 = residuals.iter().map(|r| r.correlation).sum();
    let reaches = |size: f64| {
        let at = limits(size * sum.signum());
        at.low <= 0.0 && at.high >= 0.0
    };
    let above =
        (1..=STEPS).map(|k| LARGEST * f64::from(k) / f64::from(STEPS)).find(|&r| reaches(r))?;
    let (mut low, mut high) = (above - LARGEST / f64::from(STEPS), above);
    for _ in 0..20 {
        let middle = 0.5 * (low + high);
        if reaches(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: the linear model itself. With M = e2, Y = b M + e1 and corr(e1, e2) = rho, least
    /// squares of Y on M finds b + rho sd(e1) / sd(e2); the formula must take that back to b.
    #[test]
    fn a_known_common_cause_is_taken_back() {
        let (b, s_e, s_m) = (0.4, 0.7_f64, 0.3);
        for rho in [-0.3, 0.0, 0.25, 0.6] {
            let found = b + rho * s_e / s_m;
            let whole = ((b * s_m).powi(2) + s_e * s_e + 2.0 * b * s_m * rho * s_e).sqrt();
            let rest = (whole * whole - (found * s_m).powi(2)).sqrt();
            let residuals = Residuals::of(found, s_m, rest);
            assert!((residuals.ratio - whole / s_m).abs() < 1e-12);
            assert!((residuals.slope(rho) - b).abs() < 1e-10, "{rho}");
        }
    }

    #[test]
    fn the_figure_is_where_a_limit_meets_zero() {
        let draws: Vec<Residuals> = (0..1001)
            .map(|k| Residuals { correlation: 0.2 + 0.2 * f64::from(k) / 1000.0, ratio: 2.0 })
            .collect();
        let on_mediator = vec![0.5; draws.len()];
        // The slope of a draw is 0 at its own correlation: the 2.5 % point of these is 0.205.
        let rho = undoing(&draws, &on_mediator, 0.95).unwrap();
        assert!((rho - 0.205).abs() < 1e-4, "{rho}");
        let weak: Vec<f64> = (0..1001).map(|k| f64::from(k) - 500.0).collect();
        assert_eq!(undoing(&draws, &weak, 0.95), Some(0.0));
    }
}
