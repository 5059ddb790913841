//! Typed rows of a record book linked into one row per tree and crop season.

mod assemble;
mod block_years;
mod differing;
mod fates;
mod frame;
mod holdings;
mod incomplete;
mod laterals;
mod link;
mod listed;
mod misdated;
mod near;
mod nut_weight;
mod of_other_files;
mod other_treatments;
mod outcome;
mod parquet_out;
mod pick_days;
mod picks;
mod places;
mod practice;
mod prunings;
mod rounds;
mod rows;
mod scarcity;
mod seasons;
mod standing;
mod summary;
#[cfg(test)]
mod tests;
mod through;
mod to_arrow;
mod trials;
mod year_slip;

pub use holdings::{HeldBlock, HeldTree, Visit, held_blocks, visits};
pub use link::{LinkError, Linked, link, link_places};
pub use outcome::{NotLinked, Reason, TableLinks};
pub use parquet_out::{WriteError, write_parquet};
pub use pick_days::pick_days;
pub use picks::MoistureConversion;
pub use scarcity::unknown_sites;
pub use standing::{StandingTree, standing_trees};
pub use summary::{LinkSummary, RegionSummary};
pub use through::{seasons_picked, through};
pub use to_arrow::{frame_schema, schema};
pub use trials::TrialTree;
