//! A fitted generalised model and what it says of its parameters.

use super::approximation::Model;
use super::family::{Family, share};
use super::fit::{Estimated, descend_along};
use super::modes::State;
use crate::record::{RowCounts, Visit};
use crate::settings::check_level;
use crate::small::dot;
use crate::status::Status;
use crate::units::UserUnits;
use crate::{Error, Matrix, Theta};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

/// A coefficient on the log scale, in user units.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GeneralisedCoefficient {
    /// Name of the column.
    pub name: String,
    /// Estimate on the log scale.
    pub estimate: f64,
    /// Wald standard error from the Hessian over all parameters.
    pub std_error: f64,
    /// `estimate / std_error`.
    pub statistic: f64,
    /// Two-sided p-value from the normal distribution.
    pub p_value: f64,
}

/// A parameter of the family.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ParameterEstimate {
    /// `size`, `dispersion` or `power`.
    pub name: &'static str,
    /// Estimate; infinity for a size at its limit, the Poisson distribution.
    pub estimate: f64,
    /// Standard error of its log, or of logit(power - 1); NaN at a limit.
    pub std_error: f64,
    /// Lower Wald limit, from the log or logit. At an infinite size: the
    /// one-sided 95 % limit, where the profiled deviance has risen by 2.71.
    pub low: f64,
    /// Upper Wald limit.
    pub high: f64,
}

/// Spread of one effect of a factor on the log scale.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpreadEstimate {
    /// Factor.
    pub factor: String,
    /// Effect.
    pub effect: String,
    /// Standard deviation.
    pub estimate: f64,
    /// Standard error of its log; NaN at 0.
    pub std_error: f64,
    /// Lower Wald limit, from the log; 0 for a spread estimated at 0.
    pub low: f64,
    /// Upper Wald limit. For a spread estimated at 0: the one-sided 95 %
    /// limit, where the profiled deviance has risen by 2.71.
    pub high: f64,
}

/// Everything that a generalised fit did.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GeneralisedRecord {
    /// Family fitted.
    pub family: Family,
    /// Rows read, used and dropped.
    pub rows: RowCounts,
    /// Factor eliminated group by group.
    pub eliminated_factor: Option<String>,
    /// Its groups with rows.
    pub groups: usize,
    /// Names of theta, in the order of every visited point.
    pub theta_names: Vec<String>,
    /// Every theta accepted or tried by the searches, with its deviance.
    pub visited: Vec<Visit>,
    /// Passes over the rows for modes.
    pub sweeps: usize,
    /// Why the search stopped.
    pub stop_reason: String,
    /// g'H^-1 g at the end, in units of the deviance, over the free parameters.
    pub newton_decrement: f64,
    /// Smallest eigenvalue of the Hessian scaled to a unit diagonal.
    pub hessian_min_eigenvalue: f64,
    /// Outcome.
    pub status: Status,
}

/// A fitted generalised model.
#[derive(Debug, Clone)]
pub struct GeneralisedFit {
    pub(super) model: Model,
    pub(super) state: State,
    pub(super) estimated: Estimated,
    pub(super) units: UserUnits,
    /// Modes b: own effects by group, then the other columns.
    pub(super) effects: Vec<f64>,
    estimates: Vec<f64>,
    covariance: Matrix,
    record: GeneralisedRecord,
}

/// Deviance rise at a one-sided 95 % limit, the 90 % point of chi-square(1).
const ONE_SIDED_RISE: f64 = 2.705_543_454_095_404;
/// Most quasi-Newton iterations at one value of a profiled parameter.
const PROFILING: usize = 200;

impl GeneralisedFit {
    pub(super) fn new(
        model: Model,
        state: State,
        estimated: Estimated,
        units: UserUnits,
        rows: RowCounts,
        visited: Vec<Visit>,
    ) -> Result<GeneralisedFit, Error> {
        let (t, p) = (model.entries.len(), model.design.p);
        let contrasts: Vec<Vec<f64>> = (0..p)
            .map(|j| {
                let mut unit = vec![0.0; p];
                unit[j] = 1.0;
                units.contrast(&unit).0
            })
            .collect();
        let b = &estimated.found.x[t..t + p];
        let estimates = contrasts.iter().map(|c| dot(c, b)).collect();
        let mut inner = Matrix::zeros(p, p);
        for i in 0..p {
            for j in 0..p {
                inner[(i, j)] = estimated.covariance[(t + i, t + j)];
            }
        }
        let mut covariance = Matrix::zeros(p, p);
        for i in 0..p {
            for j in 0..p {
                covariance[(i, j)] = inner.quadratic(&contrasts[i], &contrasts[j]);
            }
        }
        let effects = model.effects(&state, &estimated.found.x);
        let record = estimated.record(&model, &state, rows, visited);
        Ok(GeneralisedFit {
            model,
            state,
            estimated,
            units,
            effects,
            estimates,
            covariance,
            record,
        })
    }

    /// How the fit ended.
    pub fn status(&self) -> &Status {
        &self.record.status
    }

    /// What the fit did.
    pub fn record(&self) -> &GeneralisedRecord {
        &self.record
    }

    /// Rows read, used and dropped.
    pub fn rows(&self) -> &RowCounts {
        &self.record.rows
    }

    /// Log-likelihood by Laplace's approximation, with all constants.
    pub fn loglik(&self) -> f64 {
        -0.5 * self.estimated.found.value
    }

    /// Number of parameters: theta, coefficients and the family's, those at a
    /// boundary included (for an information criterion).
    pub fn parameter_count(&self) -> usize {
        self.model.width()
    }

    /// Estimates of the coefficients alone, on the log scale, in user units.
    pub fn estimates(&self) -> &[f64] {
        &self.estimates
    }

    /// Covariance of the coefficients from the Hessian over all parameters.
    pub fn covariance(&self) -> &Matrix {
        &self.covariance
    }

    /// Coefficients on the log scale, in user units.
    pub fn coefficients(&self) -> Vec<GeneralisedCoefficient> {
        let normal = Normal::new(0.0, 1.0).ok();
        let rows = self.model.layout.fixed.iter().zip(&self.estimates).enumerate();
        rows.map(|(j, (units, estimate))| {
            let std_error = self.covariance[(j, j)].sqrt();
            let statistic = estimate / std_error;
            GeneralisedCoefficient {
                name: units.name.clone(),
                estimate: *estimate,
                std_error,
                statistic,
                p_value: normal.map_or(f64::NAN, |n| 2.0 * n.sf(statistic.abs())),
            }
        })
        .collect()
    }

    /// Covariance factor of the effects on the log scale, by column.
    pub fn theta(&self) -> Vec<Theta> {
        let entries = self.model.entries.iter().zip(&self.estimated.found.x);
        entries.map(|(e, x)| Theta { name: e.name.clone(), value: *x }).collect()
    }

    /// Size of the negative binomial (infinite at its Poisson limit); `None`
    /// for other families.
    pub fn size(&self) -> Option<f64> {
        let at = self.model.entries.len() + self.model.design.p;
        (self.model.family == Family::NegativeBinomial).then(|| {
            if self.estimated.poisson { f64::INFINITY } else { self.estimated.found.x[at].exp() }
        })
    }

    /// The family's parameters with Wald limits at `level`.
    ///
    /// # Errors
    /// A level outside (0, 1).
    pub fn parameters(&self, level: f64) -> Result<Vec<ParameterEstimate>, Error> {
        let z = normal_quantile(level)?;
        let first = self.model.entries.len() + self.model.design.p;
        let x = &self.estimated.found.x;
        let read = |(m, name): (usize, &&'static str)| {
            let at = first + m;
            if self.estimated.poisson {
                let low = self.profile_limit(at, false).map_or(0.0, f64::exp);
                let (estimate, high) = (f64::INFINITY, f64::INFINITY);
                return ParameterEstimate { name, estimate, std_error: f64::NAN, low, high };
            }
            let std_error = self.estimated.covariance[(at, at)].sqrt();
            let back = |v: f64| if *name == "power" { 1.0 + share(v) } else { v.exp() };
            ParameterEstimate {
                name,
                estimate: back(x[at]),
                std_error,
                low: back(x[at] - z * std_error),
                high: back(x[at] + z * std_error),
            }
        };
        Ok(self.model.family.parameters().iter().enumerate().map(read).collect())
    }

    /// Standard deviations of the effects with Wald limits at `level`.
    ///
    /// # Errors
    /// A level outside (0, 1).
    pub fn spreads(&self, level: f64) -> Result<Vec<SpreadEstimate>, Error> {
        let z = normal_quantile(level)?;
        let x = &self.estimated.found.x;
        let mut out = Vec::new();
        for (f, shape) in self.model.layout.factors.iter().enumerate() {
            for (row, effect) in shape.effects.iter().enumerate() {
                let mine = |m: &usize| {
                    let e = &self.model.entries[*m];
                    e.factor == f && e.row == row
                };
                let line: Vec<usize> = (0..self.model.entries.len()).filter(mine).collect();
                let square: f64 = line.iter().map(|m| x[*m] * x[*m]).sum();
                let estimate = square.sqrt();
                let variance: f64 = line
                    .iter()
                    .flat_map(|a| line.iter().map(move |b| (*a, *b)))
                    .map(|(a, b)| x[a] * self.estimated.covariance[(a, b)] * x[b])
                    .sum();
                // d log sd / d theta = theta / sd^2.
                let std_error = variance.sqrt() / square;
                let zero = estimate == 0.0;
                let own = line.iter().find(|m| self.model.entries[**m].is_diagonal());
                let high = match own {
                    Some(m) if zero => self.profile_limit(*m, true).unwrap_or(f64::INFINITY),
                    _ => estimate * (z * std_error).exp(),
                };
                out.push(SpreadEstimate {
                    factor: shape.name.clone(),
                    effect: effect.clone(),
                    estimate,
                    std_error: if zero { f64::NAN } else { std_error },
                    low: if zero { 0.0 } else { estimate * (-z * std_error).exp() },
                    high,
                });
            }
        }
        Ok(out)
    }

    /// Where, away from a boundary, the deviance profiled over all that is
    /// free has risen by 2.71; `None` when it never does.
    fn profile_limit(&self, at: usize, up: bool) -> Option<f64> {
        let mut state = self.state.clone();
        let mut x = self.estimated.found.x.clone();
        let ceiling = self.estimated.found.value + ONE_SIDED_RISE;
        // The covariance is twice the inverse Hessian.
        let covariance = &self.estimated.covariance;
        let n = covariance.n_rows();
        let halves = covariance.values().iter().map(|v| 0.5 * v).collect();
        let inverse = Matrix::from_values(n, n, halves);
        let mut rise = |v: f64, x: &mut Vec<f64>| -> Option<f64> {
            let mut start = x.clone();
            start[at] = v;
            let (inverse, visited) = (inverse.clone(), &mut Vec::new());
            let found =
                descend_along(&self.model, &mut state, &start, inverse, PROFILING, visited).ok()?;
            x.clone_from(&found.x);
            Some(found.value - ceiling)
        };
        let sign = if up { 1.0 } else { -1.0 };
        let origin = x[at];
        let (mut low, mut below) = (0.0, -ONE_SIDED_RISE);
        let mut high = if up { 0.1 } else { 1.0 };
        let mut above = rise(origin + sign * high, &mut x)?;
        while above <= 0.0 {
            (low, below) = (high, above);
            high *= if up { 2.0 } else { 1.3 };
            if high > 40.0 {
                return None;
            }
            above = rise(origin + sign * high, &mut x)?;
        }
        // Regula falsi with the Illinois weight: an end that stays counts half.
        let (mut last, mut stayed) = (0.0, 0);
        for _ in 0..60 {
            let next = high - above * (high - low) / (above - below);
            if (next - last).abs() < 1e-6 * high {
                break;
            }
            last = next;
            let here = rise(origin + sign * next, &mut x)?;
            if here > 0.0 {
                (high, above) = (next, here);
                below *= if stayed > 0 { 0.5 } else { 1.0 };
                stayed = 1;
            } else {
                (low, below) = (next, here);
                above *= if stayed < 0 { 0.5 } else { 1.0 };
                stayed = -1;
            }
        }
        Some(origin + sign * last)
    }

    /// Conditional modes of a factor: effects and levels x effects values.
    ///
    /// # Errors
    /// [`Error::Unknown`] for a factor that the model does not have.
    pub fn conditional_modes(&self, factor: &str) -> Result<(&[String], Matrix), Error> {
        let f = self.model.layout.factor_index(factor)?;
        Ok((&self.model.layout.factors[f].effects, self.modes_of(&self.effects, factor)?))
    }

    /// Modes of a factor among all `effects`, levels x effects.
    pub(super) fn modes_of(&self, effects: &[f64], factor: &str) -> Result<Matrix, Error> {
        let f = self.model.layout.factor_index(factor)?;
        let shape = &self.model.layout.factors[f];
        let k = shape.k();
        let own = self.state.u_own.len();
        let values = match shape.column_start {
            Some(start) => effects[own + start..own + start + shape.levels * k].to_vec(),
            None => {
                let mut out = vec![0.0; shape.levels * k];
                for (g, level) in self.model.design.level.iter().enumerate() {
                    out[level * k..(level + 1) * k].copy_from_slice(&effects[g * k..(g + 1) * k]);
                }
                out
            }
        };
        Ok(Matrix::from_values(shape.levels, k, values))
    }
}

/// Half width of a two-sided normal interval in standard errors.
pub(super) fn normal_quantile(level: f64) -> Result<f64, Error> {
    check_level(level)?;
    Normal::new(0.0, 1.0)
        .map(|n| n.inverse_cdf(0.5 + 0.5 * level))
        .map_err(|e| Error::Interface(e.to_string()))
}
