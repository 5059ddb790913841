//! Advice as it was given, kept in the record book until its season can be held against it.

use crate::columns::TreeSeasons;
use crate::decomposition::SeasonReview;
use crate::error::ReviewError;
use crate::plan_kept::Tolerance;
use crate::score::{Predicted, Quantity, ScoreRow, realised_gain, score};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// Layout of the kept files; raised when an older program could not read a newer file.
pub const KEPT_FORMAT: u32 = 1;

/// A practice: how much and when.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct KeptPractice {
    /// Fraction of the canopy to remove.
    pub intensity: f64,
    /// First and last day; `None` where nothing is pruned.
    pub window: Option<[Date; 2]>,
}

/// What a block was to get.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptBlock {
    /// Block.
    pub block: String,
    /// Fraction of the canopy to remove from a pruned tree.
    pub intensity: f64,
    /// Trees past the training age.
    pub trees: u64,
    /// Trees of them to be pruned; with fewer than all, the crew chooses which.
    pub trees_worked: u64,
    /// Days scheduled, else the window allowed.
    pub days: Option<[Date; 2]>,
}

/// Advice for one region and season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptRegion {
    /// Region.
    pub region: String,
    /// Season advised for.
    pub season: i32,
    /// Verdict: `prune`, `keep` or `trial`.
    pub verdict: String,
    /// The practice whose gains were predicted and that was to be followed; `None` where none was named
    /// or nothing was to change, so that there is nothing to score.
    pub practice: Option<KeptPractice>,
    /// Mean intensity of present practice.
    pub present_intensity: f64,
    /// Predictions.
    pub predicted: Vec<Predicted>,
    /// Plan by block.
    pub blocks: Vec<KeptBlock>,
}

/// The advice of one run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptAdvice {
    /// Layout of the file, [`KEPT_FORMAT`].
    pub format: u32,
    /// Name of the record book.
    pub book: String,
    /// Version of the program.
    pub version: String,
    /// Seed of the run.
    pub seed: u64,
    /// Latest season advised for.
    pub season: i32,
    /// One entry per region.
    pub regions: Vec<KeptRegion>,
}

/// A prediction that could not be scored, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Unscored {
    /// Region.
    pub region: String,
    /// Season.
    pub season: i32,
    /// Quantity; `None` when nothing was predicted for the region.
    pub quantity: Option<Quantity>,
    /// Why.
    pub reason: UnscoredReason,
}

/// Why a prediction could not be scored.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum UnscoredReason {
    /// The advice was to go on as before, or to lay out a trial.
    NothingToFollow,
    /// Too few trees on one side.
    TooFewTrees {
        /// Trees that followed.
        followed: usize,
        /// Trees to compare with.
        others: usize,
    },
    /// The comparison could not be made.
    Failed(String),
}

/// Trees of the closed season by what they got, one row per tree-season; NaN and `None` where nothing
/// was pruned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Treated<'a> {
    /// Fraction of the canopy removed.
    pub intensity: &'a [f64],
    /// Mean pruning day.
    pub pruned_on: &'a [Option<Date>],
}

impl KeptRegion {
    /// Which tree-seasons followed the practice (`Some(true)`) and which are what the quantity compares
    /// it with (`Some(false)`): unpruned trees, or trees within the tolerance of the intensity that was
    /// present practice.
    fn followers(
        &self,
        practice: &KeptPractice,
        quantity: Quantity,
        treated: Treated<'_>,
        tolerance: Tolerance,
    ) -> Vec<Option<bool>> {
        let near = |a: f64, b: f64| (a - b).abs() <= tolerance.intensity + 1e-9;
        let in_time = |day: Option<Date>| match (practice.window, day) {
            (Some([first, last]), Some(day)) => {
                let days = |from: Date, to: Date| from.until(to).map_or(0, |span| span.get_days());
                days(day, first).max(days(last, day)) <= tolerance.days.cast_signed()
            }
            (Some(_), None) => false,
            (None, _) => true,
        };
        treated
            .intensity
            .iter()
            .zip(treated.pruned_on)
            .map(|(&intensity, &day)| {
                if near(intensity, practice.intensity)
                    && (practice.intensity > 0.0) == (intensity > 0.0)
                    && in_time(day)
                {
                    return Some(true);
                }
                let beside = match quantity {
                    Quantity::GainOverUnpruned => intensity <= 0.0,
                    Quantity::GainOverPresent => near(intensity, self.present_intensity),
                    Quantity::Yield => false,
                };
                beside.then_some(false)
            })
            .collect()
    }

    /// Holds the predictions against the season reviewed.
    ///
    /// # Errors
    /// Columns of unequal length.
    pub fn scored(
        &self,
        review: &SeasonReview,
        table: &TreeSeasons<'_>,
        treated: Treated<'_>,
        tolerance: Tolerance,
    ) -> Result<(Vec<ScoreRow>, Vec<Unscored>), ReviewError> {
        table.check()?;
        let unscored = |quantity, reason| Unscored {
            region: self.region.clone(),
            season: self.season,
            quantity,
            reason,
        };
        let Some(practice) = &self.practice else {
            return Ok((Vec::new(), vec![unscored(None, UnscoredReason::NothingToFollow)]));
        };
        let (mut rows, mut left) = (Vec::new(), Vec::new());
        for predicted in &self.predicted {
            let followed = self.followers(practice, predicted.quantity, treated, tolerance);
            let outcome = realised_gain(review, table, &self.region, &followed)
                .and_then(|realised| score(predicted, &realised));
            match outcome {
                Ok(row) => rows.push(row),
                Err(ReviewError::TooFew { .. }) => {
                    let side = |wanted| {
                        let own = review.trees.iter().filter(|tree| {
                            table.region.label(tree.row) == self.region
                                && followed[tree.row] == Some(wanted)
                        });
                        own.count()
                    };
                    let reason =
                        UnscoredReason::TooFewTrees { followed: side(true), others: side(false) };
                    left.push(unscored(Some(predicted.quantity), reason));
                }
                Err(error @ ReviewError::Length { .. }) => return Err(error),
                Err(error) => {
                    let reason = UnscoredReason::Failed(error.to_string());
                    left.push(unscored(Some(predicted.quantity), reason));
                }
            }
        }
        Ok((rows, left))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn followers_are_told_by_intensity_and_day() {
        let practice =
            KeptPractice { intensity: 0.3, window: Some([date(2026, 6, 1), date(2026, 6, 30)]) };
        let kept = KeptRegion {
            region: "r".to_owned(),
            season: 2027,
            verdict: "prune".to_owned(),
            practice: Some(practice),
            present_intensity: 0.08,
            predicted: Vec::new(),
            blocks: Vec::new(),
        };
        let intensity = [0.30, 0.35, 0.36, 0.30, 0.30, 0.0, 0.12, 0.2];
        let day = |month, day| Some(date(2026, month, day));
        let pruned_on =
            [day(6, 10), day(7, 7), day(6, 10), day(7, 8), day(5, 25), None, day(6, 1), day(6, 1)];
        let treated = Treated { intensity: &intensity, pruned_on: &pruned_on };
        let of = |quantity| kept.followers(&practice, quantity, treated, Tolerance::default());
        let (yes, no) = (Some(true), Some(false));
        // A twentieth of the canopy and a week are within the tolerance, no more.
        assert_eq!(of(Quantity::GainOverUnpruned), [yes, yes, None, None, yes, no, None, None]);
        assert_eq!(of(Quantity::GainOverPresent), [yes, yes, None, None, yes, None, no, None]);
    }
}
