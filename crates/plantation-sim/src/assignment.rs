//! How trees came by their intensity and timing.

use crate::dice::Dice;

/// How intensities of a region came about.
#[derive(Debug, Clone, PartialEq)]
pub enum Assignment {
    /// Every tree belongs to a randomised trial and keeps its treatment in all seasons.
    Randomised(TrialPlan),
    /// Crews prune rows to targets that have nothing to do with the tree.
    Routine(Routine),
    /// Routine targets shifted towards vigorous trees: habit, which looks like an effect.
    Habit {
        /// The targets.
        routine: Routine,
        /// Added intensity per standard deviation of the tree's log yield effect.
        vigour: f64,
        /// Added intensity per standard deviation of the tree's last crop error.
        earlier_crop: f64,
    },
}

/// A randomised trial with single-tree plots.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialPlan {
    /// Trial id.
    pub id: String,
    /// Intensity levels; one tree of each in every replicate.
    pub levels: Vec<f64>,
    /// Lead of the trial's pruning, days before the flush start.
    pub lead_days: f64,
}

/// Crew targets: a row of trees is pruned or not in a season, to one target and on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Routine {
    /// Least and greatest target intensity.
    pub targets: (f64, f64),
    /// Power of the uniform draw between them; above 1 leans to light pruning.
    pub lean: f64,
    /// Spread of trees about their row's target.
    pub tree_sd: f64,
    /// Share of rows pruned.
    pub share_pruned: f64,
    /// Share of rows pruned in the last recorded season, which is the present practice.
    pub share_pruned_last: f64,
}

impl Routine {
    /// Varied targets from 0.05 to 0.6 on two rows in three, one in three lately.
    #[must_use]
    pub fn typical() -> Self {
        Self {
            targets: (0.05, 0.60),
            lean: 1.2,
            tree_sd: 0.04,
            share_pruned: 0.68,
            share_pruned_last: 0.35,
        }
    }
}

/// What a crew does to a row of trees in one season; `None` when the row was not pruned.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RowTarget {
    pub(crate) intensity: f64,
    pub(crate) lead_days: f64,
}

/// Weight of the block in a row's draw: crews follow the block's plan, but not closely.
const BLOCK_WEIGHT: f64 = 0.35;

/// The targets of the rows of a block in one season.
pub(crate) fn row_targets(
    routine: &Routine,
    leads: (f64, f64),
    last_season: bool,
    rows: usize,
    dice: &mut Dice,
) -> Vec<Option<RowTarget>> {
    let share = if last_season { routine.share_pruned_last } else { routine.share_pruned };
    let (block_draw, block_lead) = (dice.uniform((0.0, 1.0)), dice.uniform(leads));
    (0..rows)
        .map(|_| {
            let own = dice.uniform((0.0, 1.0));
            let draw = BLOCK_WEIGHT * block_draw + (1.0 - BLOCK_WEIGHT) * own;
            let (low, high) = routine.targets;
            let intensity = (high - low).mul_add(draw.powf(routine.lean), low);
            let lead = BLOCK_WEIGHT * block_lead + (1.0 - BLOCK_WEIGHT) * dice.uniform(leads);
            dice.chance(share).then_some(RowTarget { intensity, lead_days: lead })
        })
        .collect()
}

/// Treatments of a block's trees: replicates of one tree per level, each in random order.
pub(crate) fn randomised(plan: &TrialPlan, trees: usize, dice: &mut Dice) -> Vec<(usize, f64)> {
    let mut treatments = Vec::with_capacity(trees);
    let mut replicate = 1;
    while treatments.len() < trees && !plan.levels.is_empty() {
        let mut levels = plan.levels.clone();
        dice.shuffle(&mut levels);
        treatments.extend(levels.into_iter().map(|level| (replicate, level)));
        replicate += 1;
    }
    treatments.truncate(trees);
    treatments
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_replicate_holds_each_level_once() {
        let plan =
            TrialPlan { id: "t".to_owned(), levels: vec![0.0, 0.1, 0.2, 0.3], lead_days: 40.0 };
        let treatments = randomised(&plan, 12, &mut Dice::stream(5, 0));
        for replicate in 1..=3 {
            let mut levels: Vec<f64> = treatments
                .iter()
                .filter(|(own, _)| *own == replicate)
                .map(|(_, level)| *level)
                .collect();
            levels.sort_by(f64::total_cmp);
            assert_eq!(levels, plan.levels);
        }
    }
}
