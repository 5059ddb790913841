//! Designed trials: analysis as the trade reports it, layouts of new trials and their size.

mod observations;

pub use observations::{Observations, Trait, TraitKind};
