//! Why a size cannot be computed.

use crate::distributions::DistributionError;
use thiserror::Error;

/// A question about size that has no answer.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SizeError {
    /// A number is not finite or out of range.
    #[error("{what} is {value}: it must be {needed}")]
    Number {
        /// Name of the number.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        needed: &'static str,
    },
    /// The design leaves no degrees of freedom for error.
    #[error("no error to compare with: {arithmetic}")]
    NoError {
        /// The count that fails.
        arithmetic: String,
    },
    /// The comparison is none of this design.
    #[error("{0}")]
    NotOfDesign(String),
    /// A distribution refused its parameters.
    #[error(transparent)]
    Distribution(#[from] DistributionError),
}

/// A number that is finite and in range, or the refusal.
pub(super) fn checked(
    what: &'static str,
    value: f64,
    needed: &'static str,
    holds: impl Fn(f64) -> bool,
) -> Result<f64, SizeError> {
    if value.is_finite() && holds(value) {
        Ok(value)
    } else {
        Err(SizeError::Number { what, value, needed })
    }
}
