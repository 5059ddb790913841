//! Counts, shares, percentages and weights: the model or transformation that suits them, means
//! given back on the natural scale.

mod choose;
mod generalised;
mod result;
mod transform;
mod units;
mod working;

pub use choose::analyse_trait;
pub use result::{
    NaturalDifference, NaturalMean, TermTest, TraitAnalysis, TraitEvidence, TraitModel, TraitTest,
};

use crate::design::Refusal;
use thiserror::Error;
use words::say;

/// Why a trait was not analysed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum TraitError {
    /// A value that the kind of trait does not allow.
    #[error("{}", say!("{value} in {place} is no {kind}"))]
    Value {
        /// The value.
        value: f64,
        /// Where it was read.
        place: String,
        /// What it should be.
        kind: &'static str,
    },
    /// All counts are zero, or every share is 0 or is 1.
    #[error("{}", say!("{}: there is nothing to compare", _0))]
    NoVariation(String),
    /// The trial's analysis refused it.
    #[error("{0}")]
    Refused(Box<Refusal>),
    /// The model was not fitted.
    #[error("{}", say!("the model was not fitted: {}", _0))]
    Fit(String),
}
