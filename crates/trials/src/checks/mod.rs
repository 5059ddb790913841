//! What a referee would ask of the residuals: normality, equal variances, additivity, outliers,
//! independence in the field.

mod additivity;
mod field;
mod linear_fit;
mod normality;
mod of_analysis;
mod outliers;
mod plan_columns;
mod residuals;
mod spatial;
mod variances;

pub use additivity::nonadditivity;
pub use field::{FieldPosition, moran, neighbour_correlation, trend};
pub use linear_fit::LinearFit;
pub use normality::shapiro_wilk;
pub use of_analysis::{residual_checks, spatial_check};
pub use outliers::{OutlierCheck, PlotInfluence, outliers};
pub(crate) use plan_columns::plan_columns;
pub use residuals::{Answer, ResidualChecks, ResidualPoint};
pub use spatial::{SpatialAdjustment, spatial_adjustment};
pub use variances::{bartlett, bartlett_of, levene};

use serde::{Deserialize, Serialize};
use thiserror::Error;
use words::say;

/// A test of an assumption.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TestOutcome {
    /// Name of the test with its source.
    pub test: String,
    /// Test statistic.
    pub statistic: f64,
    /// Degrees of freedom, numerator first; empty where the test has none.
    pub df: Vec<f64>,
    /// p-value.
    pub p_value: f64,
}

/// Why a check was not made.
#[derive(Debug, Clone, PartialEq, Error, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CheckError {
    /// Too few values or groups.
    #[error("{}", say!("{what}: {found}, at least {needed} are needed"))]
    TooFew {
        /// Of what.
        what: String,
        /// Number found.
        found: usize,
        /// Number needed.
        needed: usize,
    },
    /// More values than the test is made for.
    #[error("{}", say!("{found} values: the test is made for at most {most}"))]
    TooMany {
        /// Number found.
        found: usize,
        /// Largest number.
        most: usize,
    },
    /// Nothing varies.
    #[error("{}", say!("{} do not vary", _0))]
    NoVariation(String),
    /// A column does not fit the others, or is no number.
    #[error("{0}")]
    Columns(String),
    /// The table is not complete.
    #[error("{}", say!("{} is missing: the test needs every treatment once in every block", _0))]
    Incomplete(String),
    /// The mixed model was not fitted.
    #[error("{}", say!("the model was not fitted: {}", _0))]
    Fit(String),
}
