//! Simulated plantations with known truth, for the demo book and for calibration.

mod assignment;
mod curve;
mod demo;
mod designed;
mod dice;
mod errors;
mod example;
mod factors;
mod fill;
mod large;
mod orchard;
mod plan;
mod rows;
mod season;
mod simulate;
mod small;
mod truth;
mod write;

pub use assignment::{Assignment, Routine, TrialPlan};
pub use curve::{Response, Timing, TrueCurve};
pub use demo::{DEMO_SEED, demo};
pub use designed::{DesignedTrial, LevelEffect, Stratum, Treatment, TrialFactor, TrialLevel};
pub use example::Example;
pub use factors::{age_factor, density_factor};
pub use fill::{Filled, Growth, GrowthCv, TableRow, fill};
pub use large::large;
pub use plan::{ErrorTails, Moisture, Plantation, RecordStyle, RegionPlan, Variety};
pub use rows::{BlockRow, FrameRow, Latent, PickRow, Records, TreeRow, TrialRow, VisitRow, Work};
pub use simulate::simulate;
pub use truth::{Point, Present, RegionTruth, TreatmentTruth, TrialTruth, Truth, Verdict, truth};
pub use write::{BadRows, Tidiness, render_book, tidy_settings, write_book};
