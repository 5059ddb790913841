//! Young trees: training tasks by year of life and training system.

use crate::text::{Catalogue, Key};
use serde::{Deserialize, Serialize};

/// Height at which an open centre is pinched, m (common practice).
pub const PINCH_HEIGHT_M: f64 = 0.9;
/// Branches that an open centre keeps (common practice).
pub const SCAFFOLDS: u8 = 4;
/// Heights at which a modified leader is topped, m, lowest and highest (common practice).
pub const TOPPING_HEIGHT_M: [f64; 2] = [2.5, 4.0];
/// Mean spacings at which the lowest and the highest topping height apply, m. Practice only says
/// higher with wider spacing; the straight line between these two is ours.
pub const TOPPING_SPACING_M: [f64; 2] = [4.0, 10.0];
/// Last year of life in which lower branches and water shoots come off.
const LAST_CLEANING_YEAR: u32 = 4;

/// How young trees are trained, as the block table says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Training {
    /// One stem, topped.
    ModifiedLeader,
    /// Pinched low, with scaffolds.
    OpenCentre,
    /// Not trained to a form.
    None,
}

/// A task.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "task")]
pub enum YoungTask {
    /// Sprouts of the rootstock off, year 1.
    RootstockSprouts,
    /// Lower branches and water shoots off, years 1 to 4.
    LowerBranches,
    /// Leader pinched when it reaches a height.
    Pinch {
        /// Height, m.
        height_m: f64,
    },
    /// Scaffolds kept.
    Scaffolds {
        /// How many.
        count: u8,
    },
    /// Leader topped when it reaches a height; low and high differ where spacing is not known.
    Top {
        /// Lowest height, m.
        low_m: f64,
        /// Highest height, m.
        high_m: f64,
    },
}

/// What a block of young trees is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct YoungBlock {
    /// Ages of its young trees at the start of the work, years.
    pub ages_years: Vec<f64>,
    /// Training system; `None` when the block table does not say.
    pub training: Option<Training>,
    /// Row and tree spacing, m.
    pub spacing_m: Option<[f64; 2]>,
    /// Topping height of the book, m, instead of the one by spacing.
    pub topping_height_m: Option<f64>,
}

/// A task with the trees it concerns.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BlockTask {
    /// Task.
    #[serde(flatten)]
    pub task: YoungTask,
    /// Trees.
    pub trees: u64,
}

/// Year of life at an age: 1 until the first birthday.
#[must_use]
pub fn year_of_life(age_years: f64) -> u32 {
    age_years.max(0.0).floor() as u32 + 1
}

/// Height at which a modified leader is topped, m: 2.5 at a mean spacing (geometric mean of row and
/// tree spacing) of 4 m or less, 4 at 10 m or more, a straight line between, to 0.1 m.
#[must_use]
pub fn topping_height_m([row, tree]: [f64; 2]) -> f64 {
    let [near, wide] = TOPPING_SPACING_M;
    let [low, high] = TOPPING_HEIGHT_M;
    let share = (((row * tree).sqrt() - near) / (wide - near)).clamp(0.0, 1.0);
    ((low + share * (high - low)) * 10.0).round() / 10.0
}

impl YoungBlock {
    /// Tasks in the order of work, each with its trees; trees without an age count as being in every year.
    #[must_use]
    pub fn tasks(&self) -> Vec<BlockTask> {
        let until = |last: u32| {
            let in_time = |age: &&f64| age.is_nan() || year_of_life(**age) <= last;
            self.ages_years.iter().filter(in_time).count() as u64
        };
        let all = self.ages_years.len() as u64;
        let mut tasks = vec![
            (YoungTask::RootstockSprouts, until(1)),
            (YoungTask::LowerBranches, until(LAST_CLEANING_YEAR)),
        ];
        match self.training {
            Some(Training::OpenCentre) => tasks.extend([
                (YoungTask::Pinch { height_m: PINCH_HEIGHT_M }, all),
                (YoungTask::Scaffolds { count: SCAFFOLDS }, all),
            ]),
            Some(Training::ModifiedLeader) => {
                let height = self.topping_height_m.or(self.spacing_m.map(topping_height_m));
                let [low_m, high_m] = height.map_or(TOPPING_HEIGHT_M, |height| [height, height]);
                tasks.push((YoungTask::Top { low_m, high_m }, all));
            }
            Some(Training::None) | None => {}
        }
        tasks
            .into_iter()
            .filter(|(_, trees)| *trees > 0)
            .map(|(task, trees)| BlockTask { task, trees })
            .collect()
    }
}

impl YoungTask {
    /// The task in one sentence.
    #[must_use]
    pub fn sentence(&self, words: &Catalogue) -> String {
        match self {
            Self::RootstockSprouts => words.text(Key::TaskSprouts).to_owned(),
            Self::LowerBranches => words.text(Key::TaskLower).to_owned(),
            Self::Pinch { height_m } => {
                words.say(Key::TaskPinch, &[("height", &words.short(100.0 * height_m, 0))])
            }
            Self::Scaffolds { count } => {
                words.say(Key::TaskScaffolds, &[("count", &count.to_string())])
            }
            Self::Top { low_m, high_m } if low_m == high_m => {
                words.say(Key::TaskTop, &[("height", &words.short(*low_m, 1))])
            }
            Self::Top { low_m, high_m } => words.say(
                Key::TaskTopRange,
                &[("low", &words.short(*low_m, 1)), ("high", &words.short(*high_m, 1))],
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(training: Option<Training>) -> YoungBlock {
        YoungBlock {
            ages_years: vec![0.5, 0.9, 1.0, 3.9, 4.0],
            training,
            spacing_m: Some([7.5, 7.5]),
            topping_height_m: None,
        }
    }

    /// trade.md section 5: sprouts off in year 1, lower branches and water shoots in years 1 to 4, open
    /// centre pinched at 90 cm with four scaffolds.
    #[test]
    fn open_centre() {
        let tasks = block(Some(Training::OpenCentre)).tasks();
        let expected = [
            (YoungTask::RootstockSprouts, 2),
            (YoungTask::LowerBranches, 4),
            (YoungTask::Pinch { height_m: 0.9 }, 5),
            (YoungTask::Scaffolds { count: 4 }, 5),
        ];
        assert_eq!(tasks, expected.map(|(task, trees)| BlockTask { task, trees }));
        let said = tasks[2].task.sentence(&Catalogue::ENGLISH);
        assert_eq!(said, "Pinch the leader when it reaches 90 cm.");
    }

    /// trade.md section 5: topped at 2.5 to 4 m, higher with wider spacing.
    #[test]
    fn modified_leader() {
        for (spacing, height) in [
            ([3.0, 3.0], 2.5),
            ([4.0, 4.0], 2.5),
            ([10.0, 10.0], 4.0),
            ([12.0, 12.0], 4.0),
            ([7.0, 7.0], 3.3),
        ] {
            assert!((topping_height_m(spacing) - height).abs() < 0.051, "{spacing:?}");
        }
        assert!(topping_height_m([10.0, 5.0]) > topping_height_m([5.0, 5.0]));
        let tasks = block(Some(Training::ModifiedLeader)).tasks();
        let topped = YoungTask::Top { low_m: 3.4, high_m: 3.4 };
        assert_eq!(tasks.last().unwrap().task, topped);
        let unknown = YoungBlock { spacing_m: None, ..block(Some(Training::ModifiedLeader)) };
        assert_eq!(
            unknown.tasks().last().unwrap().task,
            YoungTask::Top { low_m: 2.5, high_m: 4.0 }
        );
    }

    #[test]
    fn every_system_is_cleaned() {
        assert_eq!(block(Some(Training::None)).tasks(), block(None).tasks());
        let old = YoungBlock { ages_years: vec![4.5], ..block(None) };
        assert_eq!(old.tasks(), []);
        let unknown_age = YoungBlock { ages_years: vec![f64::NAN], ..block(None) };
        assert_eq!(unknown_age.tasks().len(), 2);
    }
}
