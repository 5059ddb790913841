//! Estimates of a count model by Laplace's approximation.

use super::family::{CountFamily, Distribution};
use super::rows::{CountData, Rows};
use super::working::{Modes, inverse_at, modes};
use crate::optimise::canonical;
use crate::quasi_newton::{Evaluation, Minimum, search};
use crate::record::{RowCounts, Visit};
use crate::status::Status;
use crate::units::UserUnits;
use crate::{Error, Matrix, Theta};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

/// Size beyond which a negative binomial is Poisson to rounding.
const LARGEST_SIZE: f64 = 1e6;
/// Largest gradient component that counts as converged; it is differenced.
const TOLERANCE: f64 = 1e-4;

/// A coefficient on the log scale, in user units.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CountCoefficient {
    /// Name of the column.
    pub name: String,
    /// Estimate on the log scale.
    pub estimate: f64,
    /// Standard error at the estimated theta and size.
    pub std_error: f64,
    /// `estimate / std_error`.
    pub statistic: f64,
    /// Two-sided p-value from the normal distribution.
    pub p_value: f64,
}

/// A fitted count model.
#[derive(Debug, Clone)]
pub struct CountFit {
    names: Vec<String>,
    estimates: Vec<f64>,
    covariance: Matrix,
    theta: Vec<Theta>,
    factors: Vec<(String, Vec<String>, Vec<f64>)>,
    size: Option<f64>,
    deviance: f64,
    rows: RowCounts,
    visited: Vec<Visit>,
    status: Status,
}

/// Fits a count model by maximum likelihood with Laplace's approximation over
/// theta, the coefficients and the size jointly (Bates et al. 2015; Breslow and
/// Clayton 1993).
///
/// # Errors
/// Those of [`crate::fit`], negative counts, dependent fixed columns, no
/// grouping factor, modes that do not settle at the start.
pub fn fit_counts(data: &CountData<'_>, family: CountFamily) -> Result<CountFit, Error> {
    let rows = Rows::new(data)?;
    if rows.counts.iter().all(|y| *y == 0.0) {
        return Err(Error::NoResidualVariation);
    }
    let layout = &rows.checked.layout;
    let units = UserUnits::new(layout, rows.checked.ones())?;
    let model = Model { rows: &rows, family, entries: layout.theta_entries() };
    let first = model.start()?;
    let mut visited = Vec::new();
    let minimum = model.minimise(&first, &mut visited)?;
    let (theta, coefficients, distribution) = model.split(&minimum.x);
    let last = model.at(&minimum.x, Some(&first))?;
    let inner = inverse_at(&rows, distribution, &theta, &last)?;
    let (p, q) = (layout.p(), layout.q);
    let contrasts: Vec<Vec<f64>> = (0..p)
        .map(|j| {
            let mut unit = vec![0.0; p];
            unit[j] = 1.0;
            units.contrast(&unit).0
        })
        .collect();
    let mut covariance = Matrix::zeros(p, p);
    for i in 0..p {
        for j in 0..p {
            covariance[(i, j)] = (0..p)
                .flat_map(|a| (0..p).map(move |b| (a, b)))
                .map(|(a, b)| contrasts[i][a] * inner[(q + a, q + b)] * contrasts[j][b])
                .sum();
        }
    }
    let estimates =
        contrasts.iter().map(|c| crate::small::dot(c, &coefficients)).collect::<Vec<f64>>();
    let status = model.status(&minimum, &theta, distribution);
    // Below the resolution of the differenced gradient a spread is 0.
    let resolved = |t: f64| if t.abs() < ZERO { 0.0 } else { t };
    let signed = canonical(&last.system, &theta);
    let named = model.entries.iter().zip(signed);
    Ok(CountFit {
        names: layout.fixed.iter().map(|u| u.name.clone()).collect(),
        estimates,
        covariance,
        theta: named.map(|(e, t)| Theta { name: e.name.clone(), value: resolved(t) }).collect(),
        factors: layout
            .factors
            .iter()
            .zip(last.effects)
            .map(|(f, b)| (f.name.clone(), f.effects.clone(), b))
            .collect(),
        size: distribution.size.is_finite().then_some(distribution.size),
        deviance: last.deviance,
        rows: rows.tally.clone(),
        visited,
        status,
    })
}

/// Spread on the log scale that counts as 0.
const ZERO: f64 = 1e-3;

struct Model<'a> {
    rows: &'a Rows,
    family: CountFamily,
    entries: Vec<crate::layout::ThetaEntry>,
}

impl Model<'_> {
    /// Parameters: theta, coefficients, log size (negative binomial).
    fn split(&self, x: &[f64]) -> (Vec<f64>, Vec<f64>, Distribution) {
        let t = self.entries.len();
        let p = self.rows.columns.len();
        let size = match self.family {
            CountFamily::Poisson => f64::INFINITY,
            CountFamily::NegativeBinomial => x[t + p].clamp(-15.0, LARGEST_SIZE.ln()).exp(),
        };
        (x[..t].to_vec(), x[t..t + p].to_vec(), Distribution { size })
    }

    fn at(&self, x: &[f64], near: Option<&Modes>) -> Result<Modes, Error> {
        let (theta, b, family) = self.split(x);
        let start = near.map(|m| (b.as_slice(), m.effects.as_slice()));
        modes(self.rows, family, &theta, Some(&b), start)
    }

    /// Joint modes at theta = 1/2.
    fn start(&self) -> Result<Modes, Error> {
        let theta: Vec<f64> =
            self.entries.iter().map(|e| if e.is_diagonal() { 0.5 } else { 0.0 }).collect();
        let first = modes(self.rows, Distribution { size: self.first_size() }, &theta, None, None)?;
        let dropped: Vec<String> = first
            .system
            .screen
            .dropped
            .iter()
            .map(|j| first.system.layout.fixed[*j].name.clone())
            .collect();
        if dropped.is_empty() {
            Ok(first)
        } else {
            Err(Error::DependentColumns { columns: dropped })
        }
    }

    fn first_size(&self) -> f64 {
        match self.family {
            CountFamily::Poisson => f64::INFINITY,
            CountFamily::NegativeBinomial => 2.0,
        }
    }

    fn minimise(&self, first: &Modes, visited: &mut Vec<Visit>) -> Result<Minimum, Error> {
        let mut x = first.solved.theta.clone();
        x.extend(&first.coefficients);
        if self.family == CountFamily::NegativeBinomial {
            x.push(self.first_size().ln());
        }
        let count = self.entries.len();
        let mut objective = |x: &[f64]| -> Evaluation {
            let here = self.at(x, Some(first)).ok()?;
            visited.push(Visit { theta: x[..count].to_vec(), criterion: here.deviance });
            let gradient = (0..x.len())
                .map(|i| {
                    // Fourth-order differences: the deviance is known to 1e-12.
                    let shifted = |by: f64| {
                        let mut y = x.to_vec();
                        y[i] += by;
                        self.at(&y, Some(&here)).map(|m| m.deviance)
                    };
                    let h = 1e-3;
                    let near = (shifted(h)? - shifted(-h)?) / (2.0 * h);
                    let far = (shifted(2.0 * h)? - shifted(-2.0 * h)?) / (4.0 * h);
                    Ok((4.0 * near - far) / 3.0)
                })
                .collect::<Result<Vec<f64>, Error>>()
                .ok()?;
            Some((here.deviance, gradient))
        };
        search(&mut objective, &x, 200, TOLERANCE)
            .ok_or(Error::Numerical { what: "the count model cannot be evaluated at the start" })
    }

    fn status(&self, minimum: &Minimum, theta: &[f64], family: Distribution) -> Status {
        let limit = crate::quasi_newton::allowed(TOLERANCE, minimum.value);
        let norm = minimum.gradient_norm();
        // At the end of its range the size has no gradient to speak of.
        if norm.is_nan() || norm > limit.max(10.0 * TOLERANCE) {
            return Status::NotConverged { reason: format!("the gradient is {norm:.3e}") };
        }
        let mut terms: Vec<String> = self
            .entries
            .iter()
            .zip(theta)
            .filter(|(e, t)| e.is_diagonal() && t.abs() < ZERO)
            .map(|(e, _)| e.name.clone())
            .collect();
        if family.size.is_finite() && family.size >= 0.1 * LARGEST_SIZE {
            terms.push("1 / size".into());
        }
        if terms.is_empty() { Status::Interior } else { Status::Boundary { terms } }
    }
}

impl CountFit {
    /// How the fit ended.
    pub fn status(&self) -> &Status {
        &self.status
    }

    /// Coefficients on the log scale, in user units.
    pub fn coefficients(&self) -> Vec<CountCoefficient> {
        let normal = Normal::new(0.0, 1.0).ok();
        let rows = self.names.iter().zip(&self.estimates).enumerate();
        rows.map(|(j, (name, estimate))| {
            let std_error = self.covariance[(j, j)].sqrt();
            let statistic = estimate / std_error;
            CountCoefficient {
                name: name.clone(),
                estimate: *estimate,
                std_error,
                statistic,
                p_value: normal.map_or(f64::NAN, |n| 2.0 * n.sf(statistic.abs())),
            }
        })
        .collect()
    }

    /// Estimates alone.
    pub fn estimates(&self) -> &[f64] {
        &self.estimates
    }

    /// Covariance of the coefficients at the estimated theta and size.
    pub fn covariance(&self) -> &Matrix {
        &self.covariance
    }

    /// Standard deviations and covariance factor of the effects on the log scale.
    pub fn theta(&self) -> &[Theta] {
        &self.theta
    }

    /// Size of the negative binomial; `None` for Poisson.
    pub fn size(&self) -> Option<f64> {
        self.size
    }

    /// Laplace log-likelihood.
    pub fn loglik(&self) -> f64 {
        -0.5 * self.deviance
    }

    /// Conditional modes of a factor: effects and levels x effects values.
    ///
    /// # Errors
    /// [`Error::Unknown`] for a factor that the model does not have.
    pub fn conditional_modes(&self, factor: &str) -> Result<(&[String], Matrix), Error> {
        let found = self.factors.iter().find(|f| f.0 == factor);
        let (_, effects, b) =
            found.ok_or_else(|| Error::Unknown { what: format!("factor {factor}") })?;
        let k = effects.len();
        Ok((effects, Matrix::from_values(b.len() / k, k, b.clone())))
    }

    /// Rows read, used and dropped.
    pub fn rows(&self) -> &RowCounts {
        &self.rows
    }

    /// Every theta visited with its Laplace deviance.
    pub fn visited(&self) -> &[Visit] {
        &self.visited
    }
}
