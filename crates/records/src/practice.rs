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
    /// Intensities between which nine trees in ten lie: the quantiles 5 and 95 % of the points by their
    /// weights, `None` without a point.
    #[must_use]
    pub fn middle(&self) -> Option<[f64; 2]> {
        let total: f64 = self.points.iter().map(|point| point.weight).sum();
        let quantile = |share: f64| {
            let mut below = 0.0;
            let mut points = self.points.iter();
            points
                .find(|point| {
                    below += point.weight;
                    below > share * total
                })
                .map(|point| point.intensity)
        };
        Some([quantile(0.05)?, quantile(0.95)?])
    }

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

#[cfg(test)]
mod tests {
    use super::*;

    /// Hundredths of 100 trees, one of each, lie between the 6th and the 96th.
    #[test]
    fn nine_trees_in_ten_lie_in_the_middle() {
        let point = |intensity: f64| PracticePoint { intensity, lead_days: None, weight: 0.01 };
        let points = (0..100).map(|k| point(f64::from(k) / 100.0)).collect();
        let practice = Practice { points, ..Practice::stated("hills", 0.2, None) };
        let [low, high] = practice.middle().unwrap();
        assert!((low - 0.05).abs() < 0.011 && (high - 0.95).abs() < 0.011, "{low} {high}");
        assert_eq!(Practice::stated("hills", 0.2, None).middle(), Some([0.2, 0.2]));
        assert_eq!(Practice { points: Vec::new(), ..practice }.middle(), None);
    }
}
