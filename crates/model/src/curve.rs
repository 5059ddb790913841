//! The pruning surface: how intensity and lead enter the linear predictor.
//!
//! A curve in intensity times a quadratic in lead, zero when nothing is cut. The curve is written
//! in shapes rather than in powers, so that regions can differ in each independently: with
//! u = intensity / 0.25, the hump u(2 - u) is the gain of a curve that peaks at a quarter of the
//! canopy, and the tilt u(u - 1) moves the peak without changing the gain at a quarter. A knotted
//! curve adds two bends (u - k)+^2, a quadratic spline with two knots, so that it may rise fast and
//! fall slowly or level out; a plateau is a single rise, the parabola up to a knee and level beyond.
//!
//! Lead weakens or strengthens the whole effect: its columns are the region's effect at the
//! reference lead, as a first fit finds it (the profile), times lead and lead squared. That is one
//! Gauss-Newton step of the product of a curve and a timing factor, and spends two columns on
//! timing where free products would spend one for every shape and power.

use serde::{Deserialize, Serialize};

/// Intensity at which the hump peaks and the tilt is zero.
pub const REFERENCE_INTENSITY: f64 = 0.25;
/// Lead, days, from which leads are counted inside the model.
pub const REFERENCE_LEAD_DAYS: f64 = 45.0;
/// Days that count as one unit of lead inside the model.
pub const LEAD_UNIT_DAYS: f64 = 30.0;
/// Columns of the bends. Where there are several regions they are random effects alone, drawn
/// towards 0, so that a spline bends away from the parabola only as far as the records ask for
/// (penalised splines as mixed models: Ruppert, Wand and Carroll, 2003, chapter 4).
pub const BENDS: [usize; 2] = [2, 3];
/// Curves in intensity that families are made of: hump, tilt, bend, late bend and rise.
const CURVES: usize = 5;
/// Number of shapes a surface is written in: each curve as it is, times lead and times lead squared.
pub const SHAPES: usize = 3 * CURVES;
/// Number of columns by which a surface enters a model: the curves and the two of timing.
pub const COLUMNS: usize = CURVES + 2;
/// Columns of timing: profile x lead and profile x lead squared.
pub const TIMING: [usize; 2] = [CURVES, CURVES + 1];
/// Names of the columns, in order.
pub const COLUMN_NAMES: [&str; COLUMNS] =
    ["hump", "tilt", "bend", "late bend", "rise", "timing", "timing squared"];

/// Where the knotted curve bends and the plateau begins, intensities as fractions.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Knots {
    /// Knots of the bends, ascending.
    pub knots: [f64; 2],
    /// Knee of the plateau, where a region has none of its own.
    pub knee: f64,
}

impl Knots {
    /// The same with another knee.
    #[must_use]
    pub fn with_knee(self, knee: f64) -> Self {
        Self { knee, ..self }
    }
}

impl Default for Knots {
    fn default() -> Self {
        Self { knots: [0.15, 0.35], knee: REFERENCE_INTENSITY }
    }
}

/// Family of curves in intensity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum IntensityShape {
    /// A parabola through zero.
    Quadratic,
    /// A quadratic spline with two knots.
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
            Self::Knotted => &[0, 1, 2, 3],
            Self::Plateau => &[4],
        }
    }

    /// The curves that density and habit go with.
    #[must_use]
    pub fn core(self) -> &'static [usize] {
        match self {
            Self::Quadratic | Self::Knotted => &[0, 1],
            Self::Plateau => &[4],
        }
    }

    /// Columns in which regions differ.
    #[must_use]
    pub fn regional(self) -> &'static [usize] {
        match self {
            Self::Quadratic => &[0, 1, TIMING[0], TIMING[1]],
            Self::Knotted => &[0, 1, 2, 3, TIMING[0], TIMING[1]],
            Self::Plateau => &[4, TIMING[0], TIMING[1]],
        }
    }

    /// Profile of timing before a fit has shown the effect.
    #[must_use]
    pub fn first_profile(self) -> Profile {
        match self {
            Self::Quadratic | Self::Knotted => Profile([1.0, 0.0, 0.0, 0.0, 0.0]),
            Self::Plateau => Profile([0.0, 0.0, 0.0, 0.0, 1.0]),
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
    /// Whether a column is part of a model.
    #[must_use]
    pub fn includes(self, family: IntensityShape, column: usize) -> bool {
        if column == TIMING[0] {
            self >= Self::Linear
        } else if column == TIMING[1] {
            self == Self::Quadratic
        } else {
            family.main().contains(&column)
        }
    }
}

/// Effect at the reference lead as coefficients of the curves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Profile([f64; CURVES]);

impl Profile {
    /// The effect of coefficients in shape order.
    #[must_use]
    pub fn of(coefficients: &[f64; SHAPES]) -> Self {
        Self(std::array::from_fn(|curve| coefficients[curve]))
    }

    /// Coefficients of the curves, in order.
    pub(crate) fn parts(&self) -> [f64; CURVES] {
        self.0
    }

    /// Value of a column for values (or slopes) in shape order.
    #[must_use]
    pub fn column(&self, column: usize, values: &[f64; SHAPES]) -> f64 {
        match TIMING.iter().position(|own| *own == column) {
            Some(power) => {
                let with_lead = &values[(power + 1) * CURVES..];
                self.0.iter().zip(with_lead).map(|(part, value)| part * value).sum()
            }
            None => values[column],
        }
    }
}

/// The surface of coefficients of the columns, in shape order: the curve of the columns' own, and
/// timing times the profile that its columns were made of. This is what was fitted. The product of
/// the curve and timing is its second order, and is no better: where next to no effect was found,
/// timing is as good as unknown, and a drawn curve times that is an effect that no record shows.
#[must_use]
pub fn surface(columns: &[f64; COLUMNS], profile: &Profile) -> [f64; SHAPES] {
    std::array::from_fn(|shape| match (shape % CURVES, shape / CURVES) {
        (curve, 0) => columns[curve],
        (curve, power) => columns[TIMING[power - 1]] * profile.0[curve],
    })
}

/// Products of the curves with the powers of lead, in shape order.
fn with_lead(curves: [f64; CURVES], lead_days: f64) -> [f64; SHAPES] {
    // A lead that is not finite belongs to an unpruned tree, where every shape is 0.
    let lead = if lead_days.is_finite() {
        (lead_days - REFERENCE_LEAD_DAYS) / LEAD_UNIT_DAYS
    } else {
        0.0
    };
    let powers = [1.0, lead, lead * lead];
    std::array::from_fn(|shape| curves[shape % CURVES] * powers[shape / CURVES])
}

/// Shape values at an intensity (fraction) and a lead (days); a lead that is not finite counts as
/// the reference lead, which only matters when nothing was cut and every shape is 0.
#[must_use]
pub fn shapes(intensity: f64, lead_days: f64, knots: Knots) -> [f64; SHAPES] {
    let u = intensity / REFERENCE_INTENSITY;
    let [bend, late] = knots.knots.map(|knot| (u - knot / REFERENCE_INTENSITY).max(0.0));
    let x = (intensity / knots.knee).min(1.0);
    with_lead([u * (2.0 - u), u * (u - 1.0), bend * bend, late * late, x * (2.0 - x)], lead_days)
}

/// Derivative of the shape values with respect to intensity.
#[must_use]
pub fn shape_slopes(intensity: f64, lead_days: f64, knots: Knots) -> [f64; SHAPES] {
    let u = intensity / REFERENCE_INTENSITY;
    let [bend, late] = knots.knots.map(|knot| (u - knot / REFERENCE_INTENSITY).max(0.0));
    let x = (intensity / knots.knee).min(1.0);
    with_lead(
        [
            (2.0 - 2.0 * u) / REFERENCE_INTENSITY,
            (2.0 * u - 1.0) / REFERENCE_INTENSITY,
            2.0 * bend / REFERENCE_INTENSITY,
            2.0 * late / REFERENCE_INTENSITY,
            (2.0 - 2.0 * x) / knots.knee,
        ],
        lead_days,
    )
}

/// Whether coefficients in shape order hold a plateau's rise.
#[must_use]
pub fn has_rise(coefficients: &[f64; SHAPES]) -> bool {
    coefficients[CURVES - 1] != 0.0
}

/// Sum of coefficients times shape values.
#[must_use]
pub fn combine(coefficients: &[f64; SHAPES], shapes: &[f64; SHAPES]) -> f64 {
    coefficients.iter().zip(shapes).map(|(coefficient, shape)| coefficient * shape).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const KNOTS: Knots = Knots { knots: [0.12, 0.2], knee: 0.35 };

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
        let rise = |intensity| shapes(intensity, 45.0, KNOTS)[4];
        assert!((rise(0.35) - 1.0).abs() < 1e-12 && (rise(0.6) - 1.0).abs() < 1e-12);
        assert!((rise(0.175) - 0.75).abs() < 1e-12);
    }

    #[test]
    fn each_family_holds_its_own_shapes() {
        for family in IntensityShape::ALL {
            for &column in family.main().iter().chain(family.regional()) {
                assert!(LeadDegree::Quadratic.includes(family, column));
            }
            for &shape in family.main() {
                assert!(LeadDegree::None.includes(family, shape));
            }
        }
        assert!(!LeadDegree::Quadratic.includes(IntensityShape::Plateau, 0));
        assert!(!LeadDegree::Linear.includes(IntensityShape::Knotted, TIMING[1]));
    }

    #[test]
    fn timing_multiplies_the_whole_effect() {
        // An effect times 1 + 0.3 L - 0.2 L^2, at L = 1 unit of lead.
        let mut effect = [0.0; SHAPES];
        effect[..4].copy_from_slice(&[0.5, -0.2, 0.1, -0.3]);
        let profile = Profile::of(&effect);
        let mut columns = [0.0; COLUMNS];
        columns[..CURVES].copy_from_slice(&effect[..CURVES]);
        (columns[TIMING[0]], columns[TIMING[1]]) = (0.3, -0.2);
        let surface = surface(&columns, &profile);
        let lead = REFERENCE_LEAD_DAYS + LEAD_UNIT_DAYS;
        for intensity in [0.1, 0.33, 0.6] {
            let at = |lead, c: &[f64; SHAPES]| combine(c, &shapes(intensity, lead, KNOTS));
            let expected = at(REFERENCE_LEAD_DAYS, &effect) * 1.1;
            assert!((at(lead, &surface) - expected).abs() < 1e-12);
            let values = shapes(intensity, lead, KNOTS);
            let by_column = profile.column(TIMING[0], &values);
            assert!((by_column - at(REFERENCE_LEAD_DAYS, &effect)).abs() < 1e-12);
        }
    }

    /// Next to no effect in the profile leaves timing unknown, and a draw of it may be anything: it
    /// must not multiply what was drawn for the curve.
    #[test]
    fn unknown_timing_of_no_effect_stays_no_effect() {
        let profile = Profile([0.01, 0.0, 0.0, 0.0, 0.0]);
        let mut columns = [0.0; COLUMNS];
        (columns[0], columns[TIMING[1]]) = (0.4, 17.0);
        let surface = surface(&columns, &profile);
        for lead in [25.0, 45.0, 75.0] {
            let values = shapes(REFERENCE_INTENSITY, lead, KNOTS);
            let l = (lead - REFERENCE_LEAD_DAYS) / LEAD_UNIT_DAYS;
            let expected = 0.4 + 17.0 * l * l * 0.01;
            assert!((combine(&surface, &values) - expected).abs() < 1e-12, "{lead}");
        }
    }
}
