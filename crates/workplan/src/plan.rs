//! The whole plan: each block's work, dates, tools and materials, put together from the pieces.

mod build;
mod crews;

pub use build::{Plan, PlanBlock, PlannedBlock, build};
pub use crews::CrewSchedule;
pub use records::work::{SiteCrew, WorkSettings};
