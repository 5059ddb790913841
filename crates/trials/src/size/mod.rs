//! How large a trial must be: power, replicates, and the trade between trees, plots and seasons.

mod comparison;
mod components;
mod error;
mod of_analysis;
mod optimum;
mod power;
mod precision;
mod quadratic;
mod trade_off;
mod trial_size;

pub use comparison::Comparison;
pub use components::Components;
pub use error::SizeError;
pub use optimum::{Curve, OptimumPrecision, OptimumQuestion, optimum, replicates_for_optimum};
pub use power::{
    Effect, ReplicatesNeeded, detectable_difference, power, replicates_by_normal, replicates_needed,
};
pub use precision::{DfMethod, Precision, VariancePart, precision};
pub use trade_off::{TradeOff, TradeOffCell, TradeOffRequest, trade_off};
pub use trial_size::TrialSize;
