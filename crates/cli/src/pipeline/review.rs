//! The season just closed: what it gave, why, and whether the advice for it held.

mod columns;
mod controls;
mod keep;
mod seasons;
mod sections;
mod store;
mod tables;
mod words;

pub use controls::leave_out_controls;
pub use keep::kept_advice;
pub use seasons::{Judged, Reviewed, Wanted, review};
pub use sections::report;
pub use store::{Record, ToKeep, keep_scores};
pub use words::score_means;
