//! Predictions with three named kinds of interval.

use crate::Error;
use crate::contrast::{DfMethod, tabulate};
use crate::fit::Fit;
use crate::settings::check_level;
use crate::target::Target;
use serde::Serialize;

/// What an interval is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum IntervalKind {
    /// The mean x'b over all levels of all factors.
    PopulationMean,
    /// The mean of the named levels: x'b + z'u.
    KnownGroup,
    /// The mean of a level not seen yet; factors with a level named keep it.
    NewGroup,
}

/// A point to predict at.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Point {
    /// Values of the fixed columns in user units, intercept included.
    pub fixed: Vec<f64>,
    /// Levels (ignored by [`IntervalKind::PopulationMean`]).
    pub levels: Vec<PointLevel>,
    /// Weight of a single new observation, whose residual variance sigma^2 /
    /// weight then widens the interval; `None` for the mean.
    pub observation_weight: Option<f64>,
}

/// A factor's part in a point.
#[derive(Debug, Clone, PartialEq)]
pub struct PointLevel {
    /// Factor.
    pub factor: String,
    /// Level; `None` for a level not seen yet.
    pub level: Option<u32>,
    /// Values of the factor's effects: 1 for an intercept, the column's value for a slope.
    pub values: Vec<f64>,
}

/// A prediction.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Prediction {
    /// What the interval is about.
    pub kind: IntervalKind,
    /// Prediction in response units.
    pub estimate: f64,
    /// Root of the prediction-error variance.
    pub std_error: f64,
    /// Satterthwaite degrees of freedom of that variance.
    pub df: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Level of the limits.
    pub level: f64,
}

impl Fit {
    /// Predicts at `point`; `None` when x'b is not estimable.
    ///
    /// # Errors
    /// Wrong lengths or level, unknown factors or levels, a level missing
    /// where `kind` needs one.
    pub fn predict(
        &self,
        point: &Point,
        kind: IntervalKind,
        level: f64,
    ) -> Result<Option<Prediction>, Error> {
        check_level(level)?;
        self.check_contrast(&point.fixed)?;
        let Some((mut target, offset)) = self.fixed_target(&point.fixed) else {
            return Ok(None);
        };
        if kind != IntervalKind::PopulationMean {
            for part in &point.levels {
                self.add_level(&mut target, part, kind)?;
            }
            if let Some(weight) = point.observation_weight {
                if !(weight > 0.0 && weight.is_finite()) {
                    return Err(Error::BadSetting {
                        name: "observation_weight",
                        value: weight,
                        need: "finite and above 0",
                    });
                }
                target.residual = self.system.units.response_scale.powi(2) / weight;
            }
        }
        let (estimate, relative) = self.read(&target);
        let parameters = self.parameters()?;
        let df = parameters.degrees_of_freedom(&self.system, &target, relative);
        let row = tabulate(
            estimate + offset,
            self.sigma * relative.sqrt(),
            df,
            DfMethod::Satterthwaite,
            level,
        );
        Ok(Some(Prediction {
            kind,
            estimate: row.estimate,
            std_error: row.std_error,
            df,
            low: row.conf_low,
            high: row.conf_high,
            level,
        }))
    }

    fn add_level(
        &self,
        target: &mut Target,
        part: &PointLevel,
        kind: IntervalKind,
    ) -> Result<(), Error> {
        let layout = &self.system.layout;
        let f = layout.factor_index(&part.factor)?;
        let shape = &layout.factors[f];
        if part.values.len() != shape.k() {
            return Err(Error::LengthMismatch {
                what: format!("effects of {}", part.factor),
                expected: shape.k(),
                found: part.values.len(),
            });
        }
        // The fixed part is already in response units; effects are not.
        let scale = self.system.units.response_scale;
        let values: Vec<f64> = part.values.iter().map(|v| v * scale).collect();
        match part.level {
            None if kind == IntervalKind::NewGroup => target.new.push((f, values)),
            None => {
                return Err(Error::Unknown {
                    what: format!("level of {} to predict a known group", part.factor),
                });
            }
            Some(level) if level as usize >= shape.levels => {
                return Err(Error::Unknown { what: format!("level {level} of {}", part.factor) });
            }
            Some(level) => match shape.column_start {
                None => {
                    self.system.each_group()?;
                    target.group = Some((level as usize, values));
                }
                Some(start) => {
                    let first = start + level as usize * shape.k();
                    for (e, v) in values.iter().enumerate() {
                        target.direct[first + e] += v;
                    }
                }
            },
        }
        Ok(())
    }
}
