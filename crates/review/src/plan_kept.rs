//! Pruning done against planned, in intensity and date, by block.

use crate::error::ReviewError;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What was planned for a tree.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Planned {
    /// Region.
    pub region: String,
    /// Block.
    pub block: String,
    /// Tree.
    pub tree: String,
    /// Fraction of the canopy to remove; 0 to leave the tree unpruned.
    pub intensity: f64,
    /// First and last day allowed; `None` when the tree
    /// was to be left unpruned.
    pub days: Option<[Date; 2]>,
}

/// What was done to a tree: its prunings of the season combined.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pruned {
    /// Tree.
    pub tree: String,
    /// Fraction of the canopy removed.
    pub intensity: f64,
    /// Intensity-weighted mean date.
    pub date: Date,
}

/// What still counts as planned.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Tolerance {
    /// Deviation of the intensity, fraction of the canopy.
    pub intensity: f64,
    /// Days off those planned.
    pub days: u32,
}

impl Default for Tolerance {
    /// A twentieth of the canopy, a week.
    fn default() -> Self {
        Self { intensity: 0.05, days: 7 }
    }
}

/// How a plan was kept in a block, a region or all. Means are NaN where there is nothing to average.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    /// Trees in the plan.
    pub planned: usize,
    /// Of them, trees that were to be pruned.
    pub to_prune: usize,
    /// Trees to be pruned that were pruned.
    pub pruned: usize,
    /// Trees to be pruned that were not.
    pub missed: usize,
    /// Trees to be left unpruned that were pruned.
    pub pruned_against_plan: usize,
    /// Mean planned intensity of the trees pruned as planned to be.
    pub planned_intensity: f64,
    /// Mean intensity done on them.
    pub done_intensity: f64,
    /// Mean of done less planned intensity: bias.
    pub mean_deviation: f64,
    /// Mean absolute deviation of the intensity.
    pub mean_absolute_deviation: f64,
    /// Share of the trees to be pruned that came within the tolerance of intensity; missed ones did not.
    pub share_intensity: f64,
    /// Mean days outside those planned, early ones negative, those inside 0.
    pub mean_days_outside: f64,
    /// Share of the trees to be pruned that were pruned on the days planned or within the tolerance.
    pub share_date: f64,
    /// Share of all trees of the plan for which both were kept; an unpruned tree kept its plan if it
    /// was to be left.
    pub share_kept: f64,
}

/// A block's plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BlockKept {
    /// Region.
    pub region: String,
    /// Block.
    pub block: String,
    /// How it was kept.
    pub kept: Kept,
}

/// The plan of a season and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlanKept {
    /// By block, sorted by region and block.
    pub blocks: Vec<BlockKept>,
    /// By region.
    pub regions: BTreeMap<String, Kept>,
    /// All together.
    pub all: Kept,
    /// Trees pruned that no plan names, sorted.
    pub unplanned: Vec<String>,
    /// Tolerance used.
    pub tolerance: Tolerance,
}

/// Compares a plan with what was done. A tree planned twice or pruned twice (prunings must come
/// combined) counts by its last entry.
///
/// # Errors
/// An intensity that is no fraction, a window that ends before it begins, or a bad tolerance.
pub fn plan_kept(
    planned: &[Planned],
    done: &[Pruned],
    tolerance: Tolerance,
) -> Result<PlanKept, ReviewError> {
    if !(tolerance.intensity >= 0.0 && tolerance.intensity <= 1.0) {
        let value = tolerance.intensity;
        return Err(ReviewError::Setting { name: "tolerance", value, need: "from 0 to 1" });
    }
    let intensities = planned.iter().map(|p| p.intensity).chain(done.iter().map(|d| d.intensity));
    for value in intensities {
        if !(0.0..=1.0).contains(&value) {
            return Err(ReviewError::Setting { name: "intensity", value, need: "from 0 to 1" });
        }
    }
    for plan in planned {
        if let Some([first, last]) = plan.days
            && last < first
        {
            let value = days_between(first, last);
            return Err(ReviewError::Setting {
                name: "days",
                value,
                need: "an end after its start",
            });
        }
    }
    let by_tree: BTreeMap<&str, &Planned> =
        planned.iter().map(|plan| (plan.tree.as_str(), plan)).collect();
    let done: BTreeMap<&str, &Pruned> = done
        .iter()
        .filter(|pruned| pruned.intensity > 0.0)
        .map(|pruned| (pruned.tree.as_str(), pruned))
        .collect();
    let mut blocks: BTreeMap<(&str, &str), Sums> = BTreeMap::new();
    let mut regions: BTreeMap<&str, Sums> = BTreeMap::new();
    let mut all = Sums::default();
    for (tree, plan) in &by_tree {
        let outcome = done.get(tree).copied();
        let block = blocks.entry((plan.region.as_str(), plan.block.as_str())).or_default();
        let region = regions.entry(plan.region.as_str()).or_default();
        for sums in [block, region, &mut all] {
            sums.add(plan, outcome, tolerance);
        }
    }
    Ok(PlanKept {
        blocks: blocks
            .into_iter()
            .map(|((region, block), sums)| BlockKept {
                region: region.to_owned(),
                block: block.to_owned(),
                kept: sums.kept(),
            })
            .collect(),
        regions: regions.into_iter().map(|(r, sums)| (r.to_owned(), sums.kept())).collect(),
        all: all.kept(),
        unplanned: done
            .keys()
            .filter(|tree| !by_tree.contains_key(*tree))
            .map(|tree| (*tree).to_owned())
            .collect(),
        tolerance,
    })
}

/// Sums over trees.
#[derive(Default)]
struct Sums {
    planned: usize,
    to_prune: usize,
    pruned: usize,
    against: usize,
    planned_intensity: f64,
    done_intensity: f64,
    absolute: f64,
    near: usize,
    days_outside: f64,
    in_time: usize,
    kept: usize,
}

impl Sums {
    fn add(&mut self, plan: &Planned, outcome: Option<&Pruned>, tolerance: Tolerance) {
        self.planned += 1;
        if plan.intensity <= 0.0 {
            self.against += usize::from(outcome.is_some());
            self.kept += usize::from(outcome.is_none());
            return;
        }
        self.to_prune += 1;
        let Some(pruned) = outcome else { return };
        let deviation = pruned.intensity - plan.intensity;
        let outside = plan.days.map_or(0.0, |[first, last]| {
            if pruned.date < first {
                days_between(first, pruned.date)
            } else if pruned.date > last {
                days_between(last, pruned.date)
            } else {
                0.0
            }
        });
        // A rounding unit is no deviation: 0.30 - 0.25 is not exactly 0.05.
        let near = deviation.abs() <= tolerance.intensity + 1e-9;
        let in_time = outside.abs() <= f64::from(tolerance.days);
        self.pruned += 1;
        self.planned_intensity += plan.intensity;
        self.done_intensity += pruned.intensity;
        self.absolute += deviation.abs();
        self.days_outside += outside;
        self.near += usize::from(near);
        self.in_time += usize::from(in_time);
        self.kept += usize::from(near && in_time);
    }

    fn kept(&self) -> Kept {
        let pruned = self.pruned as f64;
        let to_prune = self.to_prune as f64;
        Kept {
            planned: self.planned,
            to_prune: self.to_prune,
            pruned: self.pruned,
            missed: self.to_prune - self.pruned,
            pruned_against_plan: self.against,
            planned_intensity: self.planned_intensity / pruned,
            done_intensity: self.done_intensity / pruned,
            mean_deviation: (self.done_intensity - self.planned_intensity) / pruned,
            mean_absolute_deviation: self.absolute / pruned,
            share_intensity: self.near as f64 / to_prune,
            mean_days_outside: self.days_outside / pruned,
            share_date: self.in_time as f64 / to_prune,
            share_kept: self.kept as f64 / self.planned as f64,
        }
    }
}

fn days_between(from: Date, to: Date) -> f64 {
    from.until(to).map_or(f64::NAN, |span| f64::from(span.get_days()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn plan(block: &str, tree: &str, intensity: f64) -> Planned {
        let days = (intensity > 0.0).then_some([date(2025, 12, 20), date(2026, 1, 10)]);
        Planned { region: "r".into(), block: block.into(), tree: tree.into(), intensity, days }
    }

    fn pruned(tree: &str, intensity: f64, date: Date) -> Pruned {
        Pruned { tree: tree.into(), intensity, date }
    }

    #[test]
    fn counts_agree_with_those_made_by_hand() {
        let planned =
            [plan("a", "1", 0.25), plan("a", "2", 0.25), plan("a", "3", 0.25), plan("b", "4", 0.0)];
        let done = [
            pruned("1", 0.30, date(2026, 1, 5)),
            // Ten days after days across New Year.
            pruned("2", 0.40, date(2026, 1, 20)),
            pruned("4", 0.10, date(2026, 1, 1)),
            pruned("9", 0.10, date(2026, 1, 1)),
        ];
        let kept = plan_kept(&planned, &done, Tolerance::default()).unwrap();
        let a = &kept.blocks[0].kept;
        assert_eq!((a.planned, a.to_prune, a.pruned, a.missed), (3, 3, 2, 1));
        assert!((a.mean_deviation - 0.10).abs() < 1e-12);
        assert!((a.mean_days_outside - 5.0).abs() < 1e-12);
        assert!((a.share_intensity - 1.0 / 3.0).abs() < 1e-12);
        assert!((a.share_date - 1.0 / 3.0).abs() < 1e-12);
        assert!((a.share_kept - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(kept.blocks[1].kept.pruned_against_plan, 1);
        assert_eq!(kept.all.share_kept, 0.25);
        assert_eq!(kept.unplanned, ["9"]);
    }

    #[test]
    fn bad_windows_and_intensities_are_refused() {
        let mut wrong = plan("a", "1", 0.2);
        wrong.days = Some([date(2026, 2, 1), date(2026, 1, 1)]);
        assert!(plan_kept(&[wrong], &[], Tolerance::default()).is_err());
        assert!(plan_kept(&[plan("a", "1", f64::NAN)], &[], Tolerance::default()).is_err());
    }
}
