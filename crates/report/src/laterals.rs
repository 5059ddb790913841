//! What a report says of lateral shoots and of the path from pruning to yield, region by region.

use advise::{CurvePoint, Interval};
use serde::{Deserialize, Serialize};

/// Frame counts of one region and what the models make of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RegionLaterals {
    /// Region id.
    pub region: String,
    /// Frame counts used.
    pub frames: u64,
    /// Trees behind them.
    pub trees: u64,
    /// Tree-seasons behind them.
    pub tree_seasons: u64,
    /// Why there are no curves, in plain words; `None` when there are.
    pub missing: Option<String>,
    /// Lowest and highest intensity on trees with frames; `None` without frames.
    pub tested_intensity: Option<[f64; 2]>,
    /// Days before the flush at which the curves are drawn.
    pub lead_days: Option<f64>,
    /// Laterals against intensity, 1/m2.
    pub laterals: Vec<CurvePoint>,
    /// Flowering laterals against intensity, 1/m2.
    pub flowering: Vec<CurvePoint>,
    /// Share of laterals that flower against intensity, fraction.
    pub share: Vec<CurvePoint>,
    /// Counts by intensity class.
    pub classes: Vec<CountMean>,
    /// Why there is no path, in plain words; `None` when there is.
    pub path_missing: Option<String>,
    /// How much of the effect of pruning runs through flowering laterals.
    pub path: Option<Path>,
}

/// Frames of an intensity class, as counted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CountMean {
    /// Lower end of the class (unpruned: 0).
    pub from: f64,
    /// Upper end of the class (unpruned: 0).
    pub to: f64,
    /// Mean intensity over the frames.
    pub mean_intensity: f64,
    /// Frames.
    pub frames: u64,
    /// Laterals over frame area, 1/m2.
    pub laterals_per_m2: f64,
    /// Flowering laterals over laterals; `None` when not counted.
    pub share: Option<f64>,
}

/// The effect of moving from present practice to another one, split by path.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Path {
    /// Intensity moved to (the advised or best supported one).
    pub intensity: f64,
    /// Days before the flush moved to; `None` when nothing is cut.
    pub lead_days: Option<f64>,
    /// Expected yield under present practice, kg per tree.
    pub before_kg: f64,
    /// Effects, kg per tree.
    pub kg: Effects,
    /// Effects, per cent of the yield under present practice.
    pub per_cent: Effects,
    /// Flowering laterals per m2 after over before.
    pub flowering_ratio: Interval,
    /// Share of the total that runs through flowering laterals; `None` unless the total's interval
    /// excludes 0.
    pub share: Option<Interval>,
    /// Hidden correlation at which the interval of the part through flowering laterals reaches 0: 0
    /// when it does so as it stands, `None` when none up to 0.95 does.
    pub undone_at: Option<f64>,
    /// What the slope of yield on flowering rests on.
    pub slope: PathSlope,
}

/// Total, indirect and direct effect.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Effects {
    /// All of it.
    pub total: Interval,
    /// Through more or fewer flowering laterals.
    pub indirect: Interval,
    /// Through everything else.
    pub direct: Interval,
}

/// The slope of yield on flowering laterals, common to all regions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PathSlope {
    /// Yield, on the scale of the yield model, per unit of log flowering laterals per m2.
    pub slope: Interval,
    /// Share of the variance between tree-seasons that the frames show.
    pub reliability: f64,
    /// Tree-seasons with frames and yield, of all regions.
    pub tree_seasons: u64,
    /// Whether it rests on differences between the seasons of a tree.
    pub within_trees: bool,
}
