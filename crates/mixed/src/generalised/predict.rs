//! Means on the response scale with limits, for four kinds of question.

use super::family::{Family, logistic};
use super::result::{GeneralisedFit, normal_quantile};
use crate::Error;
use crate::predict::{Point, PointLevel};
use crate::small::dot;
use serde::Serialize;

/// What a mean on the response scale is the mean of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum ResponseKind {
    /// A group in the middle, all effects 0: the inverse link of x'b, the
    /// median over groups.
    TypicalGroup,
    /// All groups together: exp(x'b + v/2), v the variance of the effects.
    /// Larger than the typical group, because the log mean is normal. For
    /// shares the logistic function averaged over the effects, whose spread
    /// is taken as known.
    PopulationMean,
    /// The levels named: exp(x'b + z'u).
    KnownGroup,
    /// A level not seen yet, where none is named: limits for its mean.
    NewGroup,
}

/// A mean on the response scale.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ResponsePrediction {
    /// What it is the mean of.
    pub kind: ResponseKind,
    /// The mean, in response units.
    pub estimate: f64,
    /// Its log; for shares the logit of the typical group or the levels named.
    pub link: f64,
    /// Standard error of it, uncertainty of all parameters included; for
    /// a new group also its spread.
    pub link_std_error: f64,
    /// Lower limit, in response units.
    pub low: f64,
    /// Upper limit, in response units.
    pub high: f64,
    /// Level of the limits.
    pub level: f64,
}

/// A linear function of the parameters and modes: its value, its derivatives
/// by the parameters, and effects with their values.
struct Aim {
    link: f64,
    by: Vec<f64>,
    /// Variance that no estimate removes.
    extra: f64,
    /// Variance of the effects over which a share is averaged.
    averaged: f64,
}

/// Mean of the logistic function over a normal linear predictor, by the
/// trapezoidal rule: for a smooth integrand on the whole line its error falls
/// faster than any power of the step.
fn average_share(link: f64, sd: f64) -> f64 {
    const STEPS: i32 = 160;
    const REACH: f64 = 8.0;
    let (mut sum, mut weights) = (0.0, 0.0);
    for step in -STEPS..=STEPS {
        let z = REACH * f64::from(step) / f64::from(STEPS);
        let weight = (-0.5 * z * z).exp();
        sum += weight * logistic(link + sd * z);
        weights += weight;
    }
    sum / weights
}

impl GeneralisedFit {
    /// Predicts the mean at `point` with a known part `offset` of its log.
    ///
    /// The variance is the delta method's over all parameters, with the modes
    /// moving along, plus the conditional variance of the effects named
    /// (Kristensen et al. 2016). Factors that the point leaves out count with
    /// value 1 for an intercept and 0 for a slope where `kind` needs them.
    ///
    /// # Errors
    /// Wrong lengths or level, unknown factors or levels, a level missing for
    /// [`ResponseKind::KnownGroup`], an observation weight.
    pub fn predict(
        &self,
        point: &Point,
        offset: f64,
        kind: ResponseKind,
        level: f64,
    ) -> Result<ResponsePrediction, Error> {
        let z = normal_quantile(level)?;
        let p = self.model.design.p;
        if point.fixed.len() != p {
            return Err(Error::LengthMismatch {
                what: "fixed columns of a point".into(),
                expected: p,
                found: point.fixed.len(),
            });
        }
        if let Some(value) = point.observation_weight {
            let need = "absent: only means are predicted here";
            return Err(Error::BadSetting { name: "observation_weight", value, need });
        }
        let t = self.model.entries.len();
        let x = &self.estimated.found.x;
        let (inner, shift) = self.units.contrast(&point.fixed);
        let mut aim = Aim {
            link: offset + shift + dot(&inner, &x[t..t + p]),
            by: vec![0.0; x.len()],
            extra: 0.0,
            averaged: 0.0,
        };
        aim.by[t..t + p].copy_from_slice(&inner);
        for part in &point.levels {
            self.check_level_part(part)?;
        }
        match kind {
            ResponseKind::TypicalGroup => {}
            ResponseKind::PopulationMean => self.average(&mut aim, point),
            ResponseKind::KnownGroup | ResponseKind::NewGroup => {
                self.add_levels(&mut aim, point, kind)?;
            }
        }
        let variance = self.estimated.covariance.quadratic(&aim.by, &aim.by) + aim.extra;
        let link_std_error = variance.max(0.0).sqrt();
        let law = self.model.law(x);
        let mean = |link: f64| match aim.averaged {
            v if v > 0.0 => average_share(link, v.sqrt()),
            _ => law.mean(link),
        };
        Ok(ResponsePrediction {
            kind,
            estimate: mean(aim.link),
            link: aim.link,
            link_std_error,
            low: mean(aim.link - z * link_std_error),
            high: mean(aim.link + z * link_std_error),
            level,
        })
    }

    fn check_level_part(&self, part: &PointLevel) -> Result<(), Error> {
        let layout = &self.model.layout;
        let shape = &layout.factors[layout.factor_index(&part.factor)?];
        if part.values.len() != shape.k() {
            return Err(Error::LengthMismatch {
                what: format!("effects of {}", part.factor),
                expected: shape.k(),
                found: part.values.len(),
            });
        }
        match part.level {
            Some(level) if level as usize >= shape.levels => {
                Err(Error::Unknown { what: format!("level {level} of {}", part.factor) })
            }
            _ => Ok(()),
        }
    }

    /// Values of the effects of factor `f` at a point.
    fn values(&self, point: &Point, f: usize) -> Vec<f64> {
        let shape = &self.model.layout.factors[f];
        match point.levels.iter().find(|l| l.factor == shape.name) {
            Some(part) => part.values.clone(),
            None => shape.effects.iter().map(|e| f64::from(e == "intercept")).collect(),
        }
    }

    /// Lambda'z of factor `f`.
    fn scaled(&self, f: usize, values: &[f64]) -> Vec<f64> {
        let lambda = self.model.layout.factors[f].lambda(&self.estimated.found.x);
        let k = values.len();
        (0..k).map(|c| (c..k).map(|r| values[r] * lambda[r * k + c]).sum()).collect()
    }

    fn average(&self, aim: &mut Aim, point: &Point) {
        for f in 0..self.model.layout.factors.len() {
            let values = self.values(point, f);
            let scaled = self.scaled(f, &values);
            if self.model.family == Family::Binomial {
                aim.averaged += dot(&scaled, &scaled);
                continue;
            }
            aim.link += 0.5 * dot(&scaled, &scaled);
            for (m, entry) in self.model.entries.iter().enumerate().filter(|(_, e)| e.factor == f) {
                aim.by[m] += values[entry.row] * scaled[entry.column];
            }
        }
    }

    fn add_levels(&self, aim: &mut Aim, point: &Point, kind: ResponseKind) -> Result<(), Error> {
        let design = &self.model.design;
        let own_size = self.state.u_own.len();
        // z over the modes b, and Lambda'z over the spherical ones.
        let mut direct: Vec<(usize, f64)> = Vec::new();
        let mut own = vec![0.0; own_size];
        let mut others = vec![0.0; self.state.u_other.len()];
        let mut spherical: Vec<(usize, f64)> = Vec::new();
        for (f, shape) in self.model.layout.factors.iter().enumerate() {
            let values = self.values(point, f);
            let scaled = self.scaled(f, &values);
            let named = point.levels.iter().find(|l| l.factor == shape.name);
            let Some(level) = named.and_then(|l| l.level) else {
                match kind {
                    ResponseKind::NewGroup => aim.extra += dot(&scaled, &scaled),
                    // A factor left out altogether counts with effect 0.
                    _ if named.is_none() => {}
                    _ => {
                        let what = format!("level of {} to predict a known group", shape.name);
                        return Err(Error::Unknown { what });
                    }
                }
                continue;
            };
            let k = shape.k();
            let first = match shape.column_start {
                Some(start) => own_size + start + level as usize * k,
                None => match design.level.binary_search(&(level as usize)) {
                    Ok(g) => g * k,
                    // A level without rows keeps its spread.
                    Err(_) => {
                        aim.extra += dot(&scaled, &scaled);
                        continue;
                    }
                },
            };
            direct.extend(values.iter().enumerate().map(|(e, v)| (first + e, *v)));
            spherical.extend(scaled.iter().enumerate().map(|(e, v)| (first + e, *v)));
        }
        for (at, v) in &direct {
            aim.link += v * self.effects[*at];
            for (by, slope) in aim.by.iter_mut().zip(&self.estimated.sensitivity) {
                *by += v * slope.get(*at).copied().unwrap_or(0.0);
            }
        }
        for (at, v) in &spherical {
            match at.checked_sub(own_size) {
                Some(column) => others[column] += v,
                None => own[*at] += v,
            }
        }
        let (mut x_own, mut x_others) = (own.clone(), others.clone());
        self.state.solve_in_place(design, &mut x_own, &mut x_others);
        aim.extra += dot(&own, &x_own) + dot(&others, &x_others);
        Ok(())
    }
}
