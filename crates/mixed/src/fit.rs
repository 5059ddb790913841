//! A fitted model: estimates in user units and the state that inference reads.

use crate::criterion::Solved;
use crate::data::Data;
use crate::exact::fit_guarded;
use crate::moments::Moments;
use crate::optimise::{Optimum, free_entries, optimise};
use crate::record::Record;
use crate::satterthwaite::VarianceParameters;
use crate::settings::Settings;
use crate::status::Status;
use crate::system::System;
use crate::target::Target;
use crate::{Error, Matrix};
use serde::Serialize;
use std::sync::{Arc, OnceLock};

/// A fitted linear mixed model. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Fit {
    pub(crate) system: Arc<System>,
    pub(crate) solved: Arc<Solved>,
    pub(crate) boundary: Vec<usize>,
    /// Residual standard deviation in internal units.
    pub(crate) sigma: f64,
    criterion: f64,
    record: Arc<Record>,
    parameters: Arc<OnceLock<Result<VarianceParameters, Error>>>,
}

/// One entry of theta, relative to the residual standard deviation.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Theta {
    /// `factor.effect` on the diagonal of Lambda, `factor.row.column` below it.
    pub name: String,
    /// Value; in 1 / units of the slope's column for slopes.
    pub value: f64,
}

/// A coefficient in user units.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Coefficient {
    /// Name of the column.
    pub name: String,
    /// What is known of it.
    pub value: CoefficientValue,
}

/// Value of a coefficient.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum CoefficientValue {
    /// Identified by the rows.
    Estimated {
        /// Generalised least-squares estimate.
        estimate: f64,
        /// Its standard error, sigma times the root of the covariance factor.
        std_error: f64,
    },
    /// A combination of other columns.
    NotEstimable,
}

/// Fits `data`: accumulates its moments, then [`fit_moments`]. When these lost
/// more than seven digits to cancellation (one digit where rows x columns^2 is
/// under five million), the rows are summed again in extended precision, as by
/// [`crate::fit_exact`]; the record says so.
///
/// # Errors
/// Those of [`Moments::accumulate`] and [`fit_moments`].
pub fn fit(data: &Data<'_>, settings: &Settings) -> Result<Fit, Error> {
    fit_guarded(Moments::accumulate(data)?, data, settings)
}

/// Fits accumulated moments by REML or ML (Bates et al. 2015).
///
/// # Errors
/// Bad settings; no usable row; too few rows or levels; a centre without an
/// intercept; a response without variation; overflow. A fit that ran but found
/// no minimum is a [`Fit`] with [`Status::NotConverged`].
pub fn fit_moments(moments: &Moments, settings: &Settings) -> Result<Fit, Error> {
    fit_system(System::new(moments, settings, true)?, settings)
}

pub(crate) fn fit_system(system: System, settings: &Settings) -> Result<Fit, Error> {
    let optimum = optimise(&system, settings)?;
    Ok(assemble(system, settings, optimum))
}

/// Reads status, record and residual spread off an optimum.
pub(crate) fn assemble(system: System, settings: &Settings, optimum: Optimum) -> Fit {
    let named = |i: &usize| system.entries[*i].name.clone();
    let columns = system.screen.dropped.iter();
    let columns: Vec<String> = columns.map(|j| system.layout.fixed[*j].name.clone()).collect();
    let status = match optimum.failure {
        Some(reason) => Status::NotConverged { reason },
        None if !columns.is_empty() => Status::Unidentified { columns },
        None if !optimum.boundary.is_empty() => {
            Status::Boundary { terms: optimum.boundary.iter().map(named).collect() }
        }
        None => Status::Interior,
    };
    let record = Record {
        settings: settings.clone(),
        rows: system.rows.clone(),
        eliminated_factor: system.layout.eliminated.map(|f| system.layout.factors[f].name.clone()),
        groups: system.groups.len(),
        pools: system.pools.len(),
        theta_names: system.entries.iter().map(|e| e.name.clone()).collect(),
        exact_sums: system.units.basis.is_some() && system.groups.pooled.is_none(),
        visited: optimum.visited,
        stop_reason: optimum.stop_reason,
        evidence: optimum.evidence,
        status,
    };
    let sigma = (optimum.solved.rss / system.divisor()).sqrt();
    Fit {
        sigma,
        criterion: optimum.criterion,
        boundary: optimum.boundary,
        solved: Arc::new(optimum.solved),
        system: Arc::new(system),
        record: Arc::new(record),
        parameters: Arc::new(OnceLock::new()),
    }
}

impl Fit {
    /// How the fit ended.
    pub fn status(&self) -> &Status {
        &self.record.status
    }

    /// Settings, rows, every point visited, stop reason and evidence.
    pub fn record(&self) -> &Record {
        &self.record
    }

    /// Names of theta entries at 0, whatever the status says first.
    pub fn boundary_terms(&self) -> Vec<String> {
        let name = |i: &usize| self.system.entries[*i].name.clone();
        self.boundary.iter().map(name).collect()
    }

    /// -2 log (restricted) likelihood, with the weights term; lme4's REMLcrit
    /// or deviance.
    pub fn criterion(&self) -> f64 {
        self.criterion
    }

    /// The profiled criterion at another theta (as ordered by [`Fit::theta`]).
    ///
    /// # Errors
    /// Wrong length; a theta at which the system cannot be factored.
    pub fn criterion_at(&self, theta: &[f64]) -> Result<f64, Error> {
        let expected = self.system.entries.len();
        if theta.len() != expected {
            return Err(Error::LengthMismatch {
                what: "theta".into(),
                expected,
                found: theta.len(),
            });
        }
        Ok(self.system.criterion(&self.system.solve(theta)?))
    }

    /// Log-likelihood under ML, restricted log-likelihood under REML.
    pub fn loglik(&self) -> f64 {
        -0.5 * self.criterion
    }

    /// Rows used.
    pub fn n_rows(&self) -> u64 {
        self.system.rows.used
    }

    /// Rows used minus the rank of the fixed columns.
    pub fn df_residual(&self) -> f64 {
        self.system.df_residual()
    }

    /// Residual standard deviation of a row of weight 1, in response units.
    pub fn sigma(&self) -> f64 {
        self.sigma * self.system.units.response_scale
    }

    /// Relative covariance parameters by factor, column-major lower triangle.
    pub fn theta(&self) -> Vec<Theta> {
        let values = self.solved.theta.iter();
        self.system
            .entries
            .iter()
            .zip(values)
            .map(|(e, value)| Theta { name: e.name.clone(), value: *value })
            .collect()
    }

    /// Names of the fixed columns.
    pub fn coefficient_names(&self) -> Vec<String> {
        let names = self.system.layout.fixed.iter();
        names.map(|u| u.name.clone()).collect()
    }

    /// All coefficients, in column order and user units.
    pub fn coefficients(&self) -> Vec<Coefficient> {
        let p = self.system.layout.p();
        (0..p)
            .map(|j| {
                let mut unit = vec![0.0; p];
                unit[j] = 1.0;
                let value = match self.fixed_target(&unit) {
                    Some((target, offset)) => {
                        let (estimate, relative) = self.read(&target);
                        CoefficientValue::Estimated {
                            estimate: estimate + offset,
                            std_error: self.sigma * relative.sqrt(),
                        }
                    }
                    None => CoefficientValue::NotEstimable,
                };
                Coefficient { name: self.system.layout.fixed[j].name.clone(), value }
            })
            .collect()
    }

    /// Estimates alone; NaN where not estimable.
    pub fn estimates(&self) -> Vec<f64> {
        let p = self.system.layout.p();
        (0..p)
            .map(|j| {
                let mut unit = vec![0.0; p];
                unit[j] = 1.0;
                let target = self.fixed_target(&unit);
                target.map_or(f64::NAN, |(target, offset)| {
                    target.estimate(&self.system, &self.solved) + offset
                })
            })
            .collect()
    }

    /// Covariance of the coefficients (p x p, user units); NaN where not estimable.
    pub fn covariance(&self) -> Matrix {
        let p = self.system.layout.p();
        let inner = self.inner_covariance();
        let rows: Vec<Option<Vec<f64>>> = (0..p)
            .map(|j| {
                let mut unit = vec![0.0; p];
                unit[j] = 1.0;
                self.fixed_target(&unit).map(|(t, _)| t.direct)
            })
            .collect();
        let mut out = Matrix::zeros(p, p);
        let q = self.system.layout.q;
        for i in 0..p {
            for j in 0..p {
                out[(i, j)] = match (&rows[i], &rows[j]) {
                    (Some(a), Some(b)) => inner.quadratic(&a[q..], &b[q..]),
                    _ => f64::NAN,
                };
            }
        }
        out
    }

    /// Covariance of the kept coefficients in internal units.
    pub(crate) fn inner_covariance(&self) -> Matrix {
        let rank = self.system.rank();
        let inverse = self.solved.factor.fixed_inverse();
        let mut out = Matrix::zeros(rank, rank);
        for i in 0..rank {
            for j in 0..rank {
                out[(i, j)] = self.sigma * self.sigma * inverse[(i, j)];
            }
        }
        out
    }

    /// A user contrast as an internal target and an offset; `None` when the
    /// rows cannot estimate it.
    pub(crate) fn fixed_target(&self, user: &[f64]) -> Option<(Target, f64)> {
        let (inner, offset) = self.system.units.contrast(user);
        let estimable = self.system.screen.is_estimable(&inner);
        estimable.then(|| (Target::fixed(&self.system, &inner), offset))
    }

    /// Estimate and relative variance of a target at the optimum.
    pub(crate) fn read(&self, target: &Target) -> (f64, f64) {
        (
            target.estimate(&self.system, &self.solved),
            target.relative_variance(&self.system, &self.solved),
        )
    }

    /// Curvature of the deviance, computed when first asked for.
    pub(crate) fn parameters(&self) -> Result<&VarianceParameters, Error> {
        let made = self.parameters.get_or_init(|| {
            let free = free_entries(&self.system, &self.solved.theta, &self.boundary);
            VarianceParameters::new(&self.system, &self.solved, self.sigma, &free)
        });
        made.as_ref().map_err(Clone::clone)
    }
}
