//! Several seasons and sites: equal errors, the combined analysis, stability of each treatment.

mod amounts;
mod combine;
mod exact;
mod homogeneity;
mod mixed_model;
mod own_errors;
mod stability;
mod stack;

pub(crate) use combine::weights_caution;
pub use combine::{Pooled, PooledKind, PooledMean, PooledMethod, PooledRow, combine};
pub use homogeneity::{EnvironmentError, Homogeneity};
pub use stability::{Stability, stability};

use crate::analysis::Analysis;
use crate::checks::CheckError;
use crate::compare::CompareError;
use serde::{Deserialize, Serialize};
use thiserror::Error;
use words::say;

/// One season at one site, analysed by itself. Seasons on the same plots are no separate
/// environments in this sense: their errors are correlated, and the trial's own plan has season as
/// a factor with plots as a stratum.
#[derive(Debug, Clone, Copy)]
pub struct Environment<'a> {
    /// Name for people, such as `north 2024`.
    pub name: &'a str,
    /// Site, where known. With every site in every season once, treatment by site, by season and by
    /// both are told apart.
    pub site: Option<&'a str>,
    /// Season, where known.
    pub season: Option<i32>,
    /// Its analysis.
    pub analysis: &'a Analysis,
}

/// Whether the environments are of interest themselves or a sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EnvironmentsAre {
    /// A sample of seasons and sites: conclusions are meant for others too, and treatments are
    /// judged against their interaction with environments.
    Random,
    /// The only ones that matter: treatments are judged against the plots' error.
    Fixed,
}

/// How environments with unequal errors are weighted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Weighting {
    /// All plots alike.
    Equal,
    /// Plots by one over the error mean square of their environment.
    InverseErrorVariance,
    /// Weighted when Bartlett's test of the error variances is below 5 %.
    ByTest,
}

/// Why environments were not combined.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PooledError {
    /// One environment, or none.
    #[error("{}", say!("{} environment to combine: two are needed", _0))]
    TooFew(usize),
    /// Fewer than two treatments in common.
    #[error("{}", say!("the {places} have {found} treatments in common, two are needed; {missing}"))]
    NothingInCommon {
        /// What the environments are called.
        places: &'static str,
        /// Number in common.
        found: usize,
        /// Which are missing where.
        missing: String,
    },
    /// An environment without residual degrees of freedom.
    #[error("{}", say!("{} has no residual degrees of freedom: analyse it with more plots or leave it out", _0))]
    NoError(String),
    /// A check refused the numbers.
    #[error(transparent)]
    Check(#[from] CheckError),
    /// The comparisons refused the numbers.
    #[error(transparent)]
    Compare(#[from] CompareError),
    /// The mixed model was not fitted.
    #[error("{}", say!("the combined model was not fitted: {}", _0))]
    Fit(String),
}
