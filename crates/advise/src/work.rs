//! The work plan: what to do in each block.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// What a block gets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WorkAction {
    /// Prune at the stated intensity inside the window.
    Prune,
    /// Go on as at present.
    Keep,
    /// Lay out a trial; until it is read prune at the stated intensity, or go on as at present.
    Trial,
    /// Too young for a yield-based intensity: training only.
    Train,
}

/// One block's line of the plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WorkLine {
    /// Region id.
    pub region: String,
    /// Site.
    pub site: String,
    /// Block.
    pub block: String,
    /// What to do.
    pub action: WorkAction,
    /// Fraction of the canopy to remove, where an intensity is given.
    pub intensity: Option<f64>,
    /// First day of the window.
    pub from: Option<Date>,
    /// Last day of the window.
    pub to: Option<Date>,
    /// Trees seen in the latest recorded season of the block.
    pub trees: u64,
    /// Working hours for the block, from recorded minutes or the stated rate; `None` when neither exists.
    pub hours: Option<f64>,
    /// Person-days at the book's hours per day.
    pub person_days: Option<f64>,
    /// Labour and materials, money.
    pub cost: Option<f64>,
}
