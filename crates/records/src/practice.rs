//! Present practice of a region: what its routine records show was done last.

use serde::{Deserialize, Serialize};

/// Tree-seasons of one region that were treated alike.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PracticePoint {
    /// Fraction removed, 0 when unpruned.
    pub intensity: f64,
    /// Days before the flush start; `None` when unpruned.
    pub lead_days: Option<f64>,
    /// Share of the region's tree-seasons, adding to 1 over the points.
    pub weight: f64,
}

/// Present practice of a region, from its latest recorded season with routine records.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Practice {
    /// Region id.
    pub region: String,
    /// Season it describes; `None` when stated in `book.toml`.
    pub season: Option<i32>,
    /// Tree-seasons behind it; 0 when stated in `book.toml`.
    pub tree_seasons: u64,
    /// Share of tree-seasons pruned at all.
    pub share_pruned: f64,
    /// Mean intensity over all tree-seasons, unpruned ones counting 0.
    pub intensity: f64,
    /// Intensity-weighted mean lead, days; `None` when nothing was pruned.
    pub lead_days: Option<f64>,
    /// The practice as a distribution, sorted by intensity and lead.
    pub points: Vec<PracticePoint>,
}

impl Practice {
    /// The practice stated in `book.toml`, or leaving every tree unpruned.
    #[must_use]
    pub fn stated(region: &str, intensity: f64, lead_days: Option<f64>) -> Self {
        let pruned = intensity > 0.0;
        let lead_days = if pruned { lead_days } else { None };
        Self {
            region: region.to_owned(),
            season: None,
            tree_seasons: 0,
            share_pruned: f64::from(u8::from(pruned)),
            intensity,
            lead_days,
            points: vec![PracticePoint { intensity, lead_days, weight: 1.0 }],
        }
    }
}
