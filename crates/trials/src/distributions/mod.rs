//! Distributions behind comparisons and power that no common library carries.

mod dunnett;
mod noncentral_f;
mod normal;
mod root;
mod scale;
mod studentised_range;

pub use dunnett::{Dunnett, Sides};
pub use noncentral_f::NoncentralF;
pub use studentised_range::StudentisedRange;

use thiserror::Error;

/// A distribution was asked for with parameters that it does not have.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum DistributionError {
    /// A parameter is not finite or out of range.
    #[error("{name} is {value}: it must be {needed}")]
    Parameter {
        /// Name of the parameter.
        name: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        needed: &'static str,
    },
    /// A probability outside the open interval from 0 to 1.
    #[error("a quantile needs a probability above 0 and below 1, not {0}")]
    Probability(f64),
    /// The search for a quantile found no interval that holds it.
    #[error("no quantile was found for probability {0}")]
    NotFound(f64),
}

/// Degrees of freedom: above 0, infinity allowed (a known variance).
fn checked_df(name: &'static str, value: f64) -> Result<f64, DistributionError> {
    if value > 0.0 {
        Ok(value)
    } else {
        Err(DistributionError::Parameter { name, value, needed: "above 0" })
    }
}

fn checked_probability(p: f64) -> Result<f64, DistributionError> {
    if p > 0.0 && p < 1.0 { Ok(p) } else { Err(DistributionError::Probability(p)) }
}
