//! Why a part of the review cannot be made.

use thiserror::Error;
use words::say;

/// A reason why no answer can be given; every variant names the input to change.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ReviewError {
    /// A column does not have one value per row.
    #[error("column {column} has {found} values where {expected} rows were given")]
    Length {
        /// Column at fault.
        column: &'static str,
        /// Rows expected.
        expected: usize,
        /// Values found.
        found: usize,
    },
    /// A code points to no label.
    #[error("column {column}: code {code} has no label")]
    Code {
        /// Column at fault.
        column: &'static str,
        /// The code.
        code: u32,
    },
    /// No row of the closed season can be used.
    #[error("{}", say!("no usable harvest of a season to review"))]
    NoSeason,
    /// Nothing to compare the closed season with.
    #[error("{}", say!("no usable harvest before the season to review: there is no expectation to hold it against"))]
    NoEarlierSeason,
    /// Too few units for the question.
    #[error("{}", say!("{what} needs at least {least}, found {found}"))]
    TooFew {
        /// The question.
        what: &'static str,
        /// Least number.
        least: usize,
        /// Number found.
        found: usize,
    },
    /// A setting is out of range.
    #[error("{name} = {value} is out of range: {need}")]
    Setting {
        /// Setting.
        name: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        need: &'static str,
    },
    /// A value that must be finite is not.
    #[error("{what} of {label} is not a finite number")]
    NotFinite {
        /// Quantity.
        what: String,
        /// Where.
        label: String,
    },
    /// Parts do not add up to the difference they explain.
    #[error("the parts of {label} add up to {sum} kg, the difference is {difference} kg")]
    PartsDoNotSum {
        /// Group at fault.
        label: String,
        /// Sum of the parts.
        sum: f64,
        /// Difference.
        difference: f64,
    },
    /// The clustering library refused.
    #[error("{}", say!("the blocks could not be grouped: {}", _0))]
    Clustering(String),
    /// The mixed-model engine refused.
    #[error("{}", say!("the records could not be fitted: {}", _0))]
    Engine(#[from] mixed::Error),
}

pub(crate) fn same_length(
    column: &'static str,
    expected: usize,
    found: usize,
) -> Result<(), ReviewError> {
    if expected == found { Ok(()) } else { Err(ReviewError::Length { column, expected, found }) }
}

/// A probability strictly between 0 and 1; written so that NaN fails.
pub(crate) fn probability(name: &'static str, value: f64) -> Result<(), ReviewError> {
    if value > 0.0 && value < 1.0 {
        Ok(())
    } else {
        Err(ReviewError::Setting { name, value, need: "strictly between 0 and 1" })
    }
}
