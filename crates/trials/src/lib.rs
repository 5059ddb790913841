//! Designed trials: analysis as the trade reports it, layouts of new trials and their size.

pub mod checks;
pub mod compare;
pub mod distributions;
mod observations;

pub use observations::{Observations, Trait, TraitKind};
