//! Typed rows of the simulated tables, before they are written.

use jiff::civil::Date;
use records::RawIntensity;
use std::collections::BTreeMap;

/// Everything simulated. Rows that concern a tree hold its index in `trees`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Records {
    /// Blocks.
    pub blocks: Vec<BlockRow>,
    /// Trees.
    pub trees: Vec<TreeRow>,
    /// Prunings.
    pub prunings: Vec<VisitRow>,
    /// Frame counts.
    pub laterals: Vec<FrameRow>,
    /// Picks.
    pub harvests: Vec<PickRow>,
    /// Trial plots.
    pub trials: Vec<TrialRow>,
    /// What no plantation could record: the truth behind each mature tree-season.
    pub latent: Vec<Latent>,
}

/// A block.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockRow {
    /// Block id.
    pub id: String,
    /// Site id.
    pub site: String,
    /// Region id.
    pub region_id: String,
    /// Distance between rows, m.
    pub row_spacing_m: f64,
    /// Distance between trees, m.
    pub tree_spacing_m: f64,
    /// Variety.
    pub variety: String,
    /// Planting day.
    pub planted: Date,
    /// Training system.
    pub training: &'static str,
    /// Area, ha.
    pub area_ha: f64,
}

/// A tree.
#[derive(Debug, Clone, PartialEq)]
pub struct TreeRow {
    /// Tree id.
    pub id: String,
    /// Index of the block.
    pub block: usize,
    /// Index of the region in the plan.
    pub region: usize,
    /// Row within the block.
    pub row: usize,
    /// Position within the row.
    pub column: usize,
    /// Trunk girth, cm.
    pub girth_cm: f64,
    /// Height, m.
    pub height_m: f64,
    /// Spread north to south, m.
    pub spread_ns_m: f64,
    /// Spread east to west, m.
    pub spread_ew_m: f64,
}

/// A pruning visit.
#[derive(Debug, Clone, PartialEq)]
pub struct VisitRow {
    /// Tree index.
    pub tree: usize,
    /// Day.
    pub date: Date,
    /// Intensity as recorded: a fraction, or shoots cut of shoots present.
    pub intensity: RawIntensity,
    /// Minutes, cuts and tool, where recorded.
    pub work: Option<Work>,
}

/// The work of a visit.
#[derive(Debug, Clone, PartialEq)]
pub struct Work {
    /// Minutes.
    pub minutes: f64,
    /// Cuts to 3 cm, 3 to 5 cm, 5 to 10 cm and over 10 cm.
    pub cuts: [u32; 4],
    /// Tool.
    pub tool: &'static str,
    /// Whether cut ends were dressed.
    pub dressed: bool,
}

/// A frame count.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameRow {
    /// Tree index.
    pub tree: usize,
    /// Day.
    pub date: Date,
    /// Area of the frame, m2.
    pub frame_m2: f64,
    /// Laterals.
    pub laterals: u32,
    /// Flowering laterals.
    pub flowering: u32,
    /// Side of the tree.
    pub side: &'static str,
}

/// A pick.
#[derive(Debug, Clone, PartialEq)]
pub struct PickRow {
    /// Tree index.
    pub tree: usize,
    /// Day.
    pub date: Date,
    /// Weight as weighed, kg.
    pub nut_kg: f64,
    /// Moisture, per cent of wet weight, where recorded.
    pub moisture_pct: Option<f64>,
}

/// A tree of a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialRow {
    /// Trial id.
    pub trial: String,
    /// Tree index.
    pub tree: usize,
    /// Replicate, unique within the trial.
    pub replicate: String,
    /// Main plot, unique within the trial, where there are some.
    pub main_plot: Option<String>,
    /// Plot, unique within the trial; `None` when every tree is one.
    pub plot: Option<String>,
    /// Level of each factor by its column.
    pub levels: BTreeMap<String, String>,
}

/// The truth behind a tree-season.
#[derive(Debug, Clone, PartialEq)]
pub struct Latent {
    /// Tree index.
    pub tree: usize,
    /// Index of the region in the plan.
    pub region: usize,
    /// Season.
    pub season: i16,
    /// Whether the tree was in a trial that season.
    pub trial: bool,
    /// Combined intensity.
    pub intensity: f64,
    /// Combined lead, days; `None` when unpruned.
    pub lead_days: Option<f64>,
    /// Combined intensity of the season before; 0 in the first recorded season.
    pub earlier_intensity: f64,
    /// Log yield effect of the tree, mean of its exponential 1.
    pub tree_effect: f64,
    /// Log error of the season.
    pub error: f64,
    /// Yield, kg at reference moisture.
    pub yield_kg: f64,
}
