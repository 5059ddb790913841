//! What can stop a fit before it starts, or make a question unanswerable.

use thiserror::Error;

/// A reason why no answer can be given. Every variant is recoverable by
/// changing the input that it names; outcomes of a fit that ran are
/// [`Status`](crate::Status) values instead.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum Error {
    /// A column does not have one value per row.
    #[error("{what} has {found} values where {expected} rows were given")]
    LengthMismatch {
        /// Column at fault.
        what: String,
        /// Rows of the response.
        expected: usize,
        /// Values found.
        found: usize,
    },
    /// No row was left after rows with missing values were set aside.
    #[error("no complete row to fit ({read} read, {dropped} dropped)")]
    NoRows {
        /// Rows read.
        read: u64,
        /// Rows dropped.
        dropped: u64,
    },
    /// A prior weight is negative or not finite.
    #[error("row {row}: weight {value} is not a finite number of at least 0")]
    BadWeight {
        /// Row index, from 0.
        row: usize,
        /// The weight.
        value: f64,
    },
    /// A level code is outside the declared number of levels.
    #[error("row {row}: level code {code} of factor {factor} is outside its {levels} levels")]
    LevelOutOfRange {
        /// Factor at fault.
        factor: String,
        /// Row index, from 0.
        row: usize,
        /// The code found.
        code: u32,
        /// Levels declared; codes run from 0 to `levels - 1`.
        levels: usize,
    },
    /// A declared centre or scale is not usable.
    #[error("{column}: centre {centre} and scale {scale} must be finite and the scale above 0")]
    BadScale {
        /// Column at fault.
        column: String,
        /// Declared centre.
        centre: f64,
        /// Declared scale.
        scale: f64,
    },
    /// A centre was declared but no column of ones can absorb it.
    #[error("{column} has a centre, but there is no uncentred column of ones to absorb it")]
    CentreWithoutIntercept {
        /// Column at fault.
        column: String,
    },
    /// A factor carries no random effect.
    #[error("factor {factor} has no random effect")]
    NoEffects {
        /// Factor at fault.
        factor: String,
    },
    /// Two columns, factors or effects share a name.
    #[error("the name {name} is used twice")]
    DuplicateName {
        /// The name.
        name: String,
    },
    /// Fewer than two levels of a factor were seen, so its spread is unknowable.
    #[error("factor {factor} has {observed} observed level(s); a spread needs at least 2")]
    TooFewLevels {
        /// Factor at fault.
        factor: String,
        /// Levels with at least one used row.
        observed: usize,
    },
    /// No residual degrees of freedom.
    #[error("{rows} rows cannot support {columns} fixed columns")]
    TooFewRows {
        /// Rows used.
        rows: u64,
        /// Estimable fixed columns.
        columns: usize,
    },
    /// The fixed columns reproduce the response exactly.
    #[error("the fixed columns reproduce the response exactly; there is no variation to model")]
    NoResidualVariation,
    /// Too many levels beside the largest factor meet one another.
    #[error(
        "the levels beside the largest factor meet in {cells} cells; at most {limit} are supported"
    )]
    TooManyCells {
        /// Cells of the factorisation.
        cells: usize,
        /// Supported cells.
        limit: usize,
    },
    /// A method that works on a dense matrix has too many columns.
    #[error("{columns} columns are more than the {limit} that this method supports")]
    TooLarge {
        /// Columns.
        columns: usize,
        /// Supported columns.
        limit: usize,
    },
    /// Moments of different models cannot be merged.
    #[error("moments differ in {what} and cannot be merged")]
    Incompatible {
        /// What differs.
        what: String,
    },
    /// A name, level or effect that the fit does not hold.
    #[error("the fit has no {what}")]
    Unknown {
        /// What was asked for.
        what: String,
    },
    /// A setting is outside its range.
    #[error("setting {name} = {value}: {need}")]
    BadSetting {
        /// Name of the setting.
        name: &'static str,
        /// Value given.
        value: f64,
        /// What it must be.
        need: &'static str,
    },
    /// A matrix that theory makes positive definite was not, to rounding.
    #[error("numerical failure: {what}")]
    Numerical {
        /// Where.
        what: &'static str,
    },
    /// A count or amount is negative, or a count is not whole.
    #[error("row {row}: {value} is not a count (whole, at least 0) or amount (at least 0)")]
    BadCount {
        /// Row index, from 0.
        row: usize,
        /// The count.
        value: f64,
    },
    /// A share is not a whole number of trials between 0 and all of them.
    #[error("row {row}: {share} of {trials} trials is not a share of whole trials")]
    BadShare {
        /// Row index, from 0.
        row: usize,
        /// The share.
        share: f64,
        /// Its trials.
        trials: f64,
    },
    /// Fixed columns of a count model are linear combinations of earlier ones.
    #[error("these columns depend on earlier ones; leave them out: {}", columns.join(", "))]
    DependentColumns {
        /// Names of the columns.
        columns: Vec<String>,
    },
    /// A method that is defined for REML fits only.
    #[error("this method needs a fit by REML")]
    NeedsReml,
    /// Something that needs the sums of every group of a factor that came pooled, or pools of
    /// groups with several effects.
    #[error("the groups of {factor} are pooled; this needs each of them, with one effect")]
    PooledGroups {
        /// The factor.
        factor: String,
    },
    /// A failure inside the linfa interface.
    #[error("{0}")]
    Interface(String),
}
