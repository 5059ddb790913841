//! What pruning costs, what it brings, and what if prices move.

mod haul;
mod least_squares;
mod outturn;
mod returns;
mod time;
mod what_if;

pub use haul::{Haul, canopy_removed_m3};
pub use outturn::{kernel_fraction, price_at_outturn};
pub use records::work::CutWood;
pub use returns::{BreakEven, Change, Pays, Prices, Returns};
pub use time::{LEAST_TIMED, Minutes, NoTimeFit, TimeFit, TimedTree, WorkRate, work_rate};
pub use what_if::{
    CountedShare, Outcome, PracticeCost, Scenario, SeasonSums, WHAT_IF_SCRIPT, WhatIf, shown,
};
