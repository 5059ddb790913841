//! Differences of treatments: pairwise or from the control, adjusted for their number.

mod adjust;
mod letters;
mod loadings;
mod means;
mod table;

pub use adjust::Adjustment;
pub use letters::{LETTERS_WARNING, Letters};
pub use means::{EstimatedMeans, PairDf};
pub use table::{Comparison, ComparisonTable, MinimumDifference, Pairs};

use crate::distributions::DistributionError;
use thiserror::Error;

/// Why means were not compared.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum CompareError {
    /// Fewer than two means.
    #[error("{0} mean to compare: a comparison needs two")]
    TooFew(usize),
    /// Names, values, covariance and degrees of freedom differ in length.
    #[error("{what} has {found} entries where {needed} are needed")]
    Length {
        /// Which part.
        what: &'static str,
        /// Entries found.
        found: usize,
        /// Entries needed.
        needed: usize,
    },
    /// A value, variance or df that is no number.
    #[error("{what} of {name} is not a finite number")]
    NotFinite {
        /// Which part.
        what: &'static str,
        /// Of which mean or pair.
        name: String,
    },
    /// The control is none of the means.
    #[error("control {0} is none of the means")]
    NoControl(String),
    /// An adjustment that belongs to another set of pairs.
    #[error("{adjustment} is made for {needed}")]
    WrongPairs {
        /// Name of the adjustment.
        adjustment: &'static str,
        /// What it is made for.
        needed: &'static str,
    },
    /// The error level is not inside (0, 1).
    #[error("error level {0} is not between 0 and 1")]
    Level(f64),
    /// A distribution refused its parameters.
    #[error(transparent)]
    Distribution(#[from] DistributionError),
}
