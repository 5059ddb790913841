//! What a fit did: settings, rows, every point visited and why it stopped.

use crate::{Settings, Status};
use serde::Serialize;

/// Why a row was set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum DropReason {
    /// The response is not finite.
    Response,
    /// A fixed column is not finite.
    FixedColumn,
    /// A random slope's column is not finite.
    SlopeColumn,
    /// The prior weight is 0.
    ZeroWeight,
}

/// Rows read, used and dropped; `read = used + sum of dropped`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Default)]
pub struct RowCounts {
    /// Rows given.
    pub read: u64,
    /// Rows in the fit.
    pub used: u64,
    /// Rows set aside, by first reason found.
    pub dropped: Vec<(DropReason, u64)>,
}

impl RowCounts {
    /// All rows set aside.
    pub fn dropped_total(&self) -> u64 {
        self.dropped.iter().map(|(_, count)| count).sum()
    }

    pub(crate) fn drop_row(&mut self, reason: DropReason, count: u64) {
        match self.dropped.binary_search_by_key(&reason, |(r, _)| *r) {
            Ok(at) => self.dropped[at].1 += count,
            Err(at) => self.dropped.insert(at, (reason, count)),
        }
    }
}

/// One evaluation of the criterion.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Visit {
    /// Relative covariance parameters.
    pub theta: Vec<f64>,
    /// -2 log (restricted) likelihood there, in user units.
    pub criterion: f64,
}

/// The numbers on which the convergence statement rests.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Evidence {
    /// Largest absolute gradient component over the free parameters, per unit
    /// of standardised theta (theta times the root mean square of its column).
    pub gradient_norm: f64,
    /// Smallest eigenvalue of the Hessian over the free parameters in the same
    /// units; positive at a strict minimum. `None` with no free parameter, and where the first
    /// minimum was to do.
    pub hessian_min_eigenvalue: Option<f64>,
    /// Whether `gradient_norm` comes from the closed form.
    pub exact_gradient: bool,
}

/// Everything that a fit did.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Record {
    /// Settings used.
    pub settings: Settings,
    /// Rows used and dropped.
    pub rows: RowCounts,
    /// Factor eliminated group by group, if there is a factor.
    pub eliminated_factor: Option<String>,
    /// Groups of the eliminated factor with rows, and the pools they share.
    pub groups: usize,
    /// Number of distinct within-group designs.
    pub pools: usize,
    /// Names of theta, in the order of every visited point.
    pub theta_names: Vec<String>,
    /// Whether sums were kept in extended precision (see [`crate::ExactMoments`]).
    pub exact_sums: bool,
    /// Every point visited, in order.
    pub visited: Vec<Visit>,
    /// Why the search stopped.
    pub stop_reason: String,
    /// Evidence of convergence.
    pub evidence: Evidence,
    /// Outcome.
    pub status: Status,
}
