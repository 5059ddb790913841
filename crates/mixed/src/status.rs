//! How a fit ended, as a value.

use serde::Serialize;
use std::fmt;

/// Outcome of a fit that ran. Everything but `NotConverged` is a success.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Status {
    /// Every spread is above 0 and every correlation inside (-1, 1).
    Interior,
    /// The criterion is smallest with these terms of theta at exactly 0. They
    /// stay in the model; their upper limits are in the variance components.
    Boundary {
        /// Names of the terms.
        terms: Vec<String>,
    },
    /// These fixed columns are linear combinations of earlier ones. They were
    /// left out; contrasts that need them are not estimable.
    Unidentified {
        /// Names of the columns.
        columns: Vec<String>,
    },
    /// The search did not reach a minimum.
    NotConverged {
        /// What failed.
        reason: String,
    },
}

impl fmt::Display for Status {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Status::Interior => write!(f, "the estimate lies inside the parameter space"),
            Status::Boundary { terms } => write!(
                f,
                "the likelihood is highest with no spread in {}; see the upper limits",
                terms.join(", ")
            ),
            Status::Unidentified { columns } => {
                write!(f, "the records cannot tell {} from the other columns", columns.join(", "))
            }
            Status::NotConverged { reason } => write!(f, "no minimum was reached: {reason}"),
        }
    }
}
