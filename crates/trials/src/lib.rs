//! Designed trials: analysis as the trade reports it, layouts of new trials and their size.

pub mod distributions;
pub mod layout;
mod observations;

pub use observations::{Observations, Trait, TraitKind};
