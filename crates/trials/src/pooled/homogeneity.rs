//! Whether the environments have one error variance.

use super::{Environment, PooledError};
use crate::checks::{Answer, TestOutcome, bartlett_of, levene};
use serde::{Deserialize, Serialize};

/// Error of one environment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EnvironmentError {
    /// Name of the environment.
    pub environment: String,
    /// Residual mean square of its own analysis, units of the response squared.
    pub mean_square: f64,
    /// Its degrees of freedom.
    pub df: f64,
    /// Mean of its plots.
    pub mean: f64,
    /// Coefficient of variation, per cent; `None` when the mean is not positive.
    pub cv_percent: Option<f64>,
}

/// Error variances of the environments and tests of their equality.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Homogeneity {
    /// One entry per environment.
    pub errors: Vec<EnvironmentError>,
    /// Bartlett's test of the error mean squares.
    pub bartlett: Answer<TestOutcome>,
    /// Brown and Forsythe's test of the residuals: robust, approximate because residuals of one
    /// environment depend on each other.
    pub levene: Answer<TestOutcome>,
    /// Largest over smallest error mean square.
    pub ratio: f64,
}

impl Homogeneity {
    pub(super) fn new(environments: &[Environment<'_>]) -> Result<Self, PooledError> {
        let mut errors = Vec::with_capacity(environments.len());
        let mut residuals = Vec::with_capacity(environments.len());
        for environment in environments {
            let analysis = environment.analysis;
            let own = analysis
                .residuals
                .as_ref()
                .filter(|r| r.mean_square > 0.0)
                .ok_or_else(|| PooledError::NoError(environment.name.to_owned()))?;
            let mean = analysis.grand_mean;
            errors.push(EnvironmentError {
                environment: environment.name.to_owned(),
                mean_square: own.mean_square,
                df: own.df as f64,
                mean,
                cv_percent: (mean > 0.0).then(|| 100.0 * own.mean_square.sqrt() / mean),
            });
            residuals.push(own.units.iter().map(|u| u.residual).collect());
        }
        let squares: Vec<f64> = errors.iter().map(|e| e.mean_square).collect();
        let df: Vec<f64> = errors.iter().map(|e| e.df).collect();
        let largest = squares.iter().copied().fold(0.0, f64::max);
        let smallest = squares.iter().copied().fold(f64::INFINITY, f64::min);
        Ok(Homogeneity {
            bartlett: bartlett_of(&squares, &df).into(),
            levene: levene(&residuals, true).into(),
            ratio: largest / smallest,
            errors,
        })
    }
}
