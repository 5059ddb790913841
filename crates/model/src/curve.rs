//! The pruning surface: how intensity and lead enter the linear predictor.
//!
//! A curve in intensity times a quadratic in lead, zero when nothing is cut. The curve is written
//! in shapes rather than in powers, so that regions can differ in each independently: with
//! u = intensity / 0.25, the hump u(2 - u) is the gain of a curve that peaks at a quarter of the
//! canopy, and the tilt u(u - 1) moves the peak without changing the gain at a quarter. A knotted
//! curve adds a bend (u - k)+^2, a quadratic spline with one knot, so that it may rise fast and
//! fall slowly; a plateau is a single rise, the parabola up to a knee and level beyond.

use serde::{Deserialize, Serialize};

/// Intensity at which the hump peaks and the tilt is zero.
pub const REFERENCE_INTENSITY: f64 = 0.25;
/// Lead, days, from which leads are counted inside the model.
pub const REFERENCE_LEAD_DAYS: f64 = 45.0;
/// Days that count as one unit of lead inside the model.
pub const LEAD_UNIT_DAYS: f64 = 30.0;
/// Number of shape columns.
pub const SHAPES: usize = 12;
/// Names of the shape columns, in order.
pub const SHAPE_NAMES: [&str; SHAPES] = [
    "hump",
    "tilt",
    "hump_lead",
    "hump_lead2",
    "tilt_lead",
    "tilt_lead2",
    "bend",
    "bend_lead",
    "bend_lead2",
    "rise",
    "rise_lead",
    "rise_lead2",
];

/// Where the knotted curve bends and the plateau begins, intensities as fractions.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Knots {
    /// Knot of the bend.
    pub knot: f64,
    /// Knee of the plateau.
    pub knee: f64,
}

impl Default for Knots {
    fn default() -> Self {
        Self { knot: REFERENCE_INTENSITY, knee: REFERENCE_INTENSITY }
    }
}

/// Family of curves in intensity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum IntensityShape {
    /// A parabola through zero.
    Quadratic,
    /// A quadratic spline with one knot.
    Knotted,
    /// A parabola up to a knee, level beyond.
    Plateau,
}

impl IntensityShape {
    /// The families, simplest first.
    pub const ALL: [Self; 3] = [Self::Quadratic, Self::Knotted, Self::Plateau];

    /// Shapes of the curve at the reference lead.
    #[must_use]
    pub fn main(self) -> &'static [usize] {
        match self {
            Self::Quadratic => &[0, 1],
            Self::Knotted => &[0, 1, 6],
            Self::Plateau => &[9],
        }
    }

    /// Shapes in which regions differ.
    #[must_use]
    pub fn regional(self) -> &'static [usize] {
        match self {
            Self::Quadratic => &[0, 1, 2, 3],
            Self::Knotted => &[0, 1, 2, 3, 6],
            Self::Plateau => &[9, 10, 11],
        }
    }

    fn includes(self, shape: usize) -> bool {
        match self {
            Self::Quadratic => shape < 6,
            Self::Knotted => shape < 9,
            Self::Plateau => shape >= 9,
        }
    }

    /// Word for people.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Quadratic => "quadratic",
            Self::Knotted => "spline",
            Self::Plateau => "plateau",
        }
    }
}

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
    /// Whether a shape column is part of a model.
    #[must_use]
    pub fn includes(self, family: IntensityShape, shape: usize) -> bool {
        family.includes(shape)
            && match shape {
                0 | 1 | 6 | 9 => true,
                2 | 4 | 7 | 10 => self >= Self::Linear,
                _ => self == Self::Quadratic,
            }
    }
}

/// Products of the hump, tilt, bend and rise with the powers of lead, in shape order.
fn with_lead([hump, tilt, bend, rise]: [f64; 4], lead_days: f64) -> [f64; SHAPES] {
    // A lead that is not finite belongs to an unpruned tree, where every shape is 0.
    let lead = if lead_days.is_finite() {
        (lead_days - REFERENCE_LEAD_DAYS) / LEAD_UNIT_DAYS
    } else {
        0.0
    };
    let square = lead * lead;
    [
        hump,
        tilt,
        hump * lead,
        hump * square,
        tilt * lead,
        tilt * square,
        bend,
        bend * lead,
        bend * square,
        rise,
        rise * lead,
        rise * square,
    ]
}

/// Shape values at an intensity (fraction) and a lead (days); a lead that is not finite counts as
/// the reference lead, which only matters when nothing was cut and every shape is 0.
#[must_use]
pub fn shapes(intensity: f64, lead_days: f64, knots: Knots) -> [f64; SHAPES] {
    let u = intensity / REFERENCE_INTENSITY;
    let beyond = (u - knots.knot / REFERENCE_INTENSITY).max(0.0);
    let x = (intensity / knots.knee).min(1.0);
    with_lead([u * (2.0 - u), u * (u - 1.0), beyond * beyond, x * (2.0 - x)], lead_days)
}

/// Derivative of the shape values with respect to intensity.
#[must_use]
pub fn shape_slopes(intensity: f64, lead_days: f64, knots: Knots) -> [f64; SHAPES] {
    let u = intensity / REFERENCE_INTENSITY;
    let beyond = (u - knots.knot / REFERENCE_INTENSITY).max(0.0);
    let x = (intensity / knots.knee).min(1.0);
    with_lead(
        [
            (2.0 - 2.0 * u) / REFERENCE_INTENSITY,
            (2.0 * u - 1.0) / REFERENCE_INTENSITY,
            2.0 * beyond / REFERENCE_INTENSITY,
            (2.0 - 2.0 * x) / knots.knee,
        ],
        lead_days,
    )
}

/// Sum of coefficients times shape values.
#[must_use]
pub fn combine(coefficients: &[f64; SHAPES], shapes: &[f64; SHAPES]) -> f64 {
    coefficients.iter().zip(shapes).map(|(coefficient, shape)| coefficient * shape).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const KNOTS: Knots = Knots { knot: 0.2, knee: 0.35 };

    #[test]
    fn unpruned_is_zero_at_every_lead() {
        for lead in [-30.0, 45.0, 200.0, f64::NAN] {
            assert!(shapes(0.0, lead, KNOTS).iter().all(|shape| *shape == 0.0));
        }
    }

    #[test]
    fn any_quadratic_can_be_written() {
        // 3u - 2u^2 = a u(2 - u) + b u(u - 1): a = 1, b = -1 by comparing coefficients.
        let mut coefficients = [0.0; SHAPES];
        coefficients[..2].copy_from_slice(&[1.0, -1.0]);
        for u in [0.3, 1.0, 2.4] {
            let expected = 3.0 * u - 2.0 * u * u;
            let found = combine(&coefficients, &shapes(u * REFERENCE_INTENSITY, 45.0, KNOTS));
            assert!((found - expected).abs() < 1e-12);
        }
    }

    #[test]
    fn slopes_are_derivatives() {
        let step = 1e-6;
        for intensity in [0.1, 0.31, 0.5] {
            let slopes = shape_slopes(intensity, 70.0, KNOTS);
            let above = shapes(intensity + step, 70.0, KNOTS);
            let below = shapes(intensity - step, 70.0, KNOTS);
            for (slope, (a, b)) in slopes.iter().zip(above.iter().zip(below)) {
                assert!((slope - (a - b) / (2.0 * step)).abs() < 1e-6);
            }
        }
    }

    #[test]
    fn a_plateau_is_level_beyond_its_knee() {
        let rise = |intensity| shapes(intensity, 45.0, KNOTS)[9];
        assert!((rise(0.35) - 1.0).abs() < 1e-12 && (rise(0.6) - 1.0).abs() < 1e-12);
        assert!((rise(0.175) - 0.75).abs() < 1e-12);
    }

    #[test]
    fn each_family_holds_its_own_shapes() {
        for family in IntensityShape::ALL {
            for &shape in family.main().iter().chain(family.regional()) {
                assert!(LeadDegree::Quadratic.includes(family, shape));
            }
            for &shape in family.main() {
                assert!(LeadDegree::None.includes(family, shape));
            }
        }
        assert!(!LeadDegree::Quadratic.includes(IntensityShape::Plateau, 0));
        assert!(!LeadDegree::Linear.includes(IntensityShape::Knotted, 8));
    }
}
