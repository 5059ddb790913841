//! The pruning surface: how intensity and lead enter the linear predictor.
//!
//! A full quadratic in intensity times a full quadratic in lead, zero when nothing is cut. It is
//! written in two shapes rather than in powers, so that regions can differ in each independently:
//! with u = intensity / 0.25, the hump u(2 - u) is the gain of a curve that peaks at a quarter of
//! the canopy, and the tilt u(u - 1) moves the peak without changing the gain at a quarter.

/// Intensity at which the hump peaks and the tilt is zero.
pub const REFERENCE_INTENSITY: f64 = 0.25;
/// Lead, days, from which leads are counted inside the model.
pub const REFERENCE_LEAD_DAYS: f64 = 45.0;
/// Days that count as one unit of lead inside the model.
pub const LEAD_UNIT_DAYS: f64 = 30.0;
/// Number of shape columns.
pub const SHAPES: usize = 6;
/// Names of the shape columns, in order.
pub const SHAPE_NAMES: [&str; SHAPES] =
    ["hump", "tilt", "hump_lead", "hump_lead2", "tilt_lead", "tilt_lead2"];

/// How much of the lead's quadratic the records can carry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LeadDegree {
    /// Leads do not vary.
    None,
    /// Two distinct dates: a straight line.
    Linear,
    /// Three or more: a quadratic.
    Quadratic,
}

impl LeadDegree {
    /// Whether a shape column is part of the model.
    #[must_use]
    pub fn includes(self, shape: usize) -> bool {
        match shape {
            0 | 1 => true,
            2 | 4 => self >= Self::Linear,
            _ => self == Self::Quadratic,
        }
    }
}

/// Shape values at an intensity (fraction) and a lead (days); a lead that is not finite counts as
/// the reference lead, which only matters when nothing was cut and every shape is 0.
#[must_use]
pub fn shapes(intensity: f64, lead_days: f64) -> [f64; SHAPES] {
    let u = intensity / REFERENCE_INTENSITY;
    let lead = if lead_days.is_finite() {
        (lead_days - REFERENCE_LEAD_DAYS) / LEAD_UNIT_DAYS
    } else {
        0.0
    };
    let (hump, tilt) = (u * (2.0 - u), u * (u - 1.0));
    [hump, tilt, hump * lead, hump * lead * lead, tilt * lead, tilt * lead * lead]
}

/// Derivative of the shape values with respect to intensity.
#[must_use]
pub fn shape_slopes(intensity: f64, lead_days: f64) -> [f64; SHAPES] {
    let u = intensity / REFERENCE_INTENSITY;
    let lead = if lead_days.is_finite() {
        (lead_days - REFERENCE_LEAD_DAYS) / LEAD_UNIT_DAYS
    } else {
        0.0
    };
    let hump = (2.0 - 2.0 * u) / REFERENCE_INTENSITY;
    let tilt = (2.0 * u - 1.0) / REFERENCE_INTENSITY;
    [hump, tilt, hump * lead, hump * lead * lead, tilt * lead, tilt * lead * lead]
}

/// Second derivative of the curve with respect to intensity / 0.25 at a lead, for coefficients in shape order.
#[must_use]
pub fn curvature(coefficients: &[f64; SHAPES], lead_days: f64) -> f64 {
    let at_zero = shape_slopes(0.0, lead_days);
    let at_one = shape_slopes(1.0, lead_days);
    coefficients
        .iter()
        .zip(at_one.iter().zip(at_zero))
        .map(|(coefficient, (one, zero))| coefficient * (one - zero))
        .sum()
}

/// Value of the curve for coefficients in shape order.
#[must_use]
pub fn value(coefficients: &[f64; SHAPES], intensity: f64, lead_days: f64) -> f64 {
    coefficients.iter().zip(shapes(intensity, lead_days)).map(|(c, shape)| c * shape).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unpruned_is_zero_at_every_lead() {
        for lead in [-30.0, 45.0, 200.0, f64::NAN] {
            assert!(shapes(0.0, lead).iter().all(|shape| *shape == 0.0));
        }
    }

    #[test]
    fn any_quadratic_can_be_written() {
        // 3u - 2u^2 = a u(2 - u) + b u(u - 1): a = 1, b = -1 by comparing coefficients.
        let coefficients = [1.0, -1.0, 0.0, 0.0, 0.0, 0.0];
        for u in [0.3, 1.0, 2.4] {
            let expected = 3.0 * u - 2.0 * u * u;
            assert!((value(&coefficients, u * REFERENCE_INTENSITY, 45.0) - expected).abs() < 1e-12);
        }
        assert!(curvature(&coefficients, 45.0) < 0.0);
    }

    #[test]
    fn slopes_are_derivatives() {
        let step = 1e-6;
        let slopes = shape_slopes(0.31, 70.0);
        let (above, below) = (shapes(0.31 + step, 70.0), shapes(0.31 - step, 70.0));
        for (slope, (a, b)) in slopes.iter().zip(above.iter().zip(below)) {
            assert!((slope - (a - b) / (2.0 * step)).abs() < 1e-6);
        }
    }
}
