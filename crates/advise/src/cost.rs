//! What pruning a tree costs, from the book's own minutes or its stated rate.

use model::{Objective, TreeSeasons};
use records::Book;
use serde::{Deserialize, Serialize};

/// Timed tree-seasons a region needs before its own minutes replace the stated rate.
const LEAST_TIMED: usize = 30;

/// Where the working time comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSource {
    /// Least squares on recorded minutes of the region.
    Recorded,
    /// `[economics.pruning_time]` of `book.toml`.
    Stated,
}

/// Working time and cost of pruning one tree in a region.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cost {
    /// Minutes per pruned tree that do not depend on intensity.
    pub minutes_per_tree: f64,
    /// Additional minutes for the whole canopy; proportional below.
    pub minutes_full_canopy: f64,
    /// Where they come from.
    pub source: TimeSource,
    /// Tree-seasons behind recorded minutes.
    pub timed: usize,
    /// Wage per hour.
    pub wage_per_hour: f64,
    /// Materials per pruned tree.
    pub materials: f64,
    /// Price per kg.
    pub price_per_kg: f64,
}

impl Cost {
    /// Cost in a region; `None` when there are neither enough recorded minutes nor a stated rate.
    #[must_use]
    pub fn of_region(book: &Book, region: &str, table: &TreeSeasons) -> Option<Self> {
        let timed: Vec<(f64, f64)> = (0..table.len())
            .filter(|&row| table.region.label(row) == region)
            .map(|row| (table.intensity[row], table.minutes[row]))
            .filter(|(intensity, minutes)| *intensity > 0.0 && minutes.is_finite())
            .collect();
        let line = if timed.len() >= LEAST_TIMED { straight_line(&timed) } else { None };
        let (minutes_per_tree, minutes_full_canopy, source) =
            match (line, &book.economics.pruning_time) {
                (Some((fixed, slope)), _) => (fixed, slope, TimeSource::Recorded),
                (None, Some(stated)) => {
                    (stated.minutes_per_tree, stated.minutes_full_canopy, TimeSource::Stated)
                }
                (None, None) => return None,
            };
        Some(Self {
            minutes_per_tree,
            minutes_full_canopy,
            source,
            timed: timed.len(),
            wage_per_hour: book.wage_per_hour(region),
            materials: book.economics.materials_per_pruned_tree,
            price_per_kg: book.price_per_kg(region),
        })
    }

    /// Working minutes for a tree at an intensity, 0 when unpruned.
    #[must_use]
    pub fn minutes(&self, intensity: f64) -> f64 {
        if intensity > 0.0 {
            self.minutes_per_tree + self.minutes_full_canopy * intensity
        } else {
            0.0
        }
    }

    /// Price and cost as the objective of a decision.
    #[must_use]
    pub fn objective(&self) -> Objective {
        Objective {
            price_per_kg: self.price_per_kg,
            cost_per_pruned_tree: self.minutes_per_tree / 60.0 * self.wage_per_hour
                + self.materials,
            cost_full_canopy: self.minutes_full_canopy / 60.0 * self.wage_per_hour,
        }
    }
}

/// Least-squares line with neither intercept nor slope below zero; `None` when x does not vary.
fn straight_line(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = points.len() as f64;
    let mean_x = points.iter().map(|p| p.0).sum::<f64>() / n;
    let mean_y = points.iter().map(|p| p.1).sum::<f64>() / n;
    let sxx: f64 = points.iter().map(|p| (p.0 - mean_x).powi(2)).sum();
    let sxy: f64 = points.iter().map(|p| (p.0 - mean_x) * (p.1 - mean_y)).sum();
    if sxx < 1e-6 * n {
        return None;
    }
    let slope = sxy / sxx;
    let intercept = mean_y - slope * mean_x;
    Some(if slope < 0.0 {
        (mean_y, 0.0)
    } else if intercept < 0.0 {
        let through_origin = points.iter().map(|p| p.0 * p.1).sum::<f64>()
            / points.iter().map(|p| p.0 * p.0).sum::<f64>();
        (0.0, through_origin)
    } else {
        (intercept, slope)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_recovered_and_never_negative() {
        let points: Vec<_> =
            (1..40).map(|k| (f64::from(k) / 50.0, 4.0 + 30.0 * f64::from(k) / 50.0)).collect();
        let (fixed, slope) = straight_line(&points).unwrap();
        assert!((fixed - 4.0).abs() < 1e-9 && (slope - 30.0).abs() < 1e-9);
        let falling: Vec<_> = points.iter().map(|(x, _)| (*x, 10.0 - x)).collect();
        assert_eq!(straight_line(&falling).unwrap().1, 0.0);
        assert_eq!(straight_line(&[(0.3, 5.0); 40]), None);
    }
}
