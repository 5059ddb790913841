//! From what a book declares and what was observed to a checked plan of the trial.

mod block_slips;
mod cells;
mod checks;
mod factor;
mod plan;
mod plots;
mod read;
mod refusal;
mod roles;
mod slip;
mod slips;
mod strata;
mod words;

pub use cells::{Cell, Part, Term};
pub use factor::{Amounts, FactorPlace, PlanFactor};
pub use plan::{Plan, Stratum, StratumKind, Unit};
pub use refusal::{Evidence, Refusal};
pub use slip::Slip;
pub(crate) use words::list;
