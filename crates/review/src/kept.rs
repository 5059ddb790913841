//! Advice as it was given, kept in the record book until its season can be held against it.

use crate::columns::TreeSeasons;
use crate::decomposition::{SeasonReview, TreeReview};
use crate::error::ReviewError;
use crate::plan_kept::Tolerance;
use crate::score::{
    Comparison, InSeason, LEAST_TREES, Predicted, Quantity, ScoreRow, Side, realised_gain, score,
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Share of the trees up to which a kind of treatment at present need not be among those compared.
const FEW: f64 = 0.05;

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

impl KeptPractice {
    /// Whether a tree of which this share was removed on this day was treated as the practice says.
    fn is_followed(&self, intensity: f64, day: Option<Date>, tolerance: Tolerance) -> bool {
        let in_time = match (self.window, day) {
            (Some([first, last]), Some(day)) => {
                let days = |from: Date, to: Date| from.until(to).map_or(0, |span| span.get_days());
                days(day, first).max(days(last, day)) <= tolerance.days.cast_signed()
            }
            (Some(_), None) => false,
            (None, _) => true,
        };
        near(intensity, self.intensity, tolerance)
            && (self.intensity > 0.0) == (intensity > 0.0)
            && in_time
    }
}

/// A rounding unit is no deviation: 0.30 - 0.25 is not exactly 0.05.
fn near(a: f64, b: f64, tolerance: Tolerance) -> bool {
    (a - b).abs() <= tolerance.intensity + 1e-9
}

/// Trees of present practice that are treated alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PresentTrees {
    /// Fraction of the canopy removed.
    pub intensity: f64,
    /// Day on which they would be pruned for the season advised for.
    pub day: Option<Date>,
    /// Their share of the region's trees.
    pub share: f64,
}

/// Trees that present practice cuts about alike.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct KeptCuts {
    /// Least fraction removed.
    pub low: f64,
    /// Greatest fraction removed; 0 for trees left unpruned.
    pub high: f64,
    /// Their share of the region's trees.
    pub share: f64,
}

impl KeptCuts {
    /// How far a cut lies from these, fractions of the canopy; a pruned tree and an unpruned one are
    /// not alike.
    fn distance(&self, intensity: f64) -> Option<f64> {
        let alike = if intensity > 0.0 { self.high > 0.0 } else { self.low <= 0.0 };
        alike.then(|| (self.low - intensity).max(intensity - self.high).max(0.0))
    }
}

/// Present practice as the predicted gain is over it: the whole mixture of trees cut lightly, hard and
/// not at all.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptPresent {
    /// Share of the trees that are treated as advised already: they gain nothing.
    pub as_advised: f64,
    /// The other trees in tenths of the canopy, lightest first.
    pub others: Vec<KeptCuts>,
}

impl KeptPresent {
    /// Present practice beside a practice advised.
    #[must_use]
    pub fn beside(advised: &KeptPractice, present: &[PresentTrees], tolerance: Tolerance) -> Self {
        let all: f64 = present.iter().map(|trees| trees.share).sum();
        let mut as_advised = 0.0;
        let mut tenths: BTreeMap<i64, KeptCuts> = BTreeMap::new();
        for &PresentTrees { intensity, day, share } in present {
            let share = share / all;
            if advised.is_followed(intensity, day, tolerance) {
                as_advised += share;
                continue;
            }
            let tenth = if intensity > 0.0 { 1 + (10.0 * intensity - 1e-9) as i64 } else { 0 };
            let own = tenths.entry(tenth).or_insert(KeptCuts {
                low: intensity,
                high: intensity,
                share: 0.0,
            });
            own.low = own.low.min(intensity);
            own.high = own.high.max(intensity);
            own.share += share;
        }
        Self { as_advised, others: tenths.into_values().collect() }
    }

    /// Share of the trees left unpruned and of those pruned, those treated as advised aside.
    fn kinds(&self) -> [f64; 2] {
        [false, true].map(|pruned| {
            let own = self.others.iter().filter(|cuts| (cuts.high > 0.0) == pruned);
            own.map(|cuts| cuts.share).sum()
        })
    }
}

/// What a block, or some trees of it, was to get.
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
    /// The window allowed; an earlier version kept the days scheduled within it.
    pub days: Option<[Date; 2]>,
    /// The trees by id, where they are not all of the block.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ids: Option<Vec<String>>,
    /// Whether they are younger than the trees on record that were treated as grown trees were to be.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub untried: bool,
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
    /// Present practice beside what was advised; `None` where nothing was, and in advice kept by an
    /// earlier version.
    #[serde(default)]
    pub present: Option<KeptPresent>,
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
    /// Too few trees treated as a good part of the trees are at present.
    TooFewAsPresent {
        /// Whether such trees are pruned at present, or left unpruned.
        pruned: bool,
        /// Their share of the region's trees at present.
        share: f64,
        /// Trees of the season treated so.
        found: usize,
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
    /// The cut that the plan asked of every grown tree: as advised, or as at present where nothing was to
    /// change; `None` where a crew was to choose which trees to cut.
    #[must_use]
    pub fn planned_intensity(&self) -> Option<f64> {
        if let Some(practice) = &self.practice {
            return Some(practice.intensity);
        }
        let mut asked = self.blocks.iter().filter(|block| !block.untried);
        let first =
            asked.next().filter(|own| own.trees_worked == own.trees || own.intensity <= 0.0)?;
        let alike = |own: &KeptBlock| {
            near(own.intensity, first.intensity, Tolerance { intensity: 0.0, days: 0 })
                && (own.trees_worked == own.trees || own.intensity <= 0.0)
        };
        asked.all(alike).then_some(first.intensity)
    }

    /// What a quantity compares the trees that followed the practice with: unpruned trees, or trees cut
    /// as under present practice, each tenth of the canopy by its share of the trees then. Advice of an
    /// earlier version has but the mean of present practice, and the trees within the tolerance of it.
    /// On which day trees beside the advice were pruned does not matter.
    fn groups(&self, quantity: Quantity) -> Vec<KeptCuts> {
        let only = |intensity| vec![KeptCuts { low: intensity, high: intensity, share: 1.0 }];
        match (quantity, &self.present) {
            (Quantity::GainOverUnpruned, _) => only(0.0),
            (Quantity::GainOverPresent, Some(present)) => present.others.clone(),
            (Quantity::GainOverPresent, None) => {
                // A mean so low is that of unpruned trees too.
                let high = self.present_intensity;
                let low = if high <= Tolerance::default().intensity { 0.0 } else { high };
                vec![KeptCuts { low, high, share: 1.0 }]
            }
            (Quantity::Yield, _) => Vec::new(),
        }
    }

    /// The side of every tree-season: those that followed the practice, and those like one of the groups.
    fn sides(
        practice: &KeptPractice,
        groups: &[KeptCuts],
        treated: Treated<'_>,
        tolerance: Tolerance,
    ) -> Vec<Option<Side>> {
        let of = |(&intensity, &day): (&f64, &Option<Date>)| {
            if practice.is_followed(intensity, day, tolerance) {
                return Some(Side::Followed);
            }
            let distances = groups.iter().enumerate().filter_map(|(group, cuts)| {
                let distance = cuts.distance(intensity)?;
                (distance <= tolerance.intensity + 1e-9).then_some((group, distance))
            });
            let nearest = distances.min_by(|(_, a), (_, b)| a.total_cmp(b));
            nearest.map(|(group, _)| Side::Beside(group))
        };
        treated.intensity.iter().zip(treated.pruned_on).map(of).collect()
    }

    /// Takes trees off every side that nobody was to treat as the practice says, as hardly a tree so young had been:
    /// gains were predicted for the others, and they are no trees that were left to compare with.
    fn without_untried(&self, sides: &mut [Option<Side>], table: &TreeSeasons<'_>) {
        let mut trees: BTreeSet<&str> = BTreeSet::new();
        let mut blocks: BTreeSet<&str> = BTreeSet::new();
        for block in self.blocks.iter().filter(|block| block.untried) {
            match &block.ids {
                Some(ids) => trees.extend(ids.iter().map(String::as_str)),
                None => drop(blocks.insert(&block.block)),
            }
        }
        for (row, side) in sides.iter_mut().enumerate() {
            if table.region.label(row) == self.region
                && (trees.contains(table.tree.label(row))
                    || blocks.contains(table.block.label(row)))
            {
                *side = None;
            }
        }
    }

    /// Scores one prediction, or says why it cannot be.
    fn one(
        &self,
        (practice, predicted): (&KeptPractice, &Predicted),
        review: &SeasonReview,
        table: &TreeSeasons<'_>,
        (treated, tolerance): (Treated<'_>, Tolerance),
    ) -> Result<ScoreRow, Failed> {
        let mut groups = self.groups(predicted.quantity);
        let mut sides = Self::sides(practice, &groups, treated, tolerance);
        self.without_untried(&mut sides, table);
        let of_region = |tree: &&TreeReview| table.region.label(tree.row) == self.region;
        let own = || review.trees.iter().filter(of_region).filter_map(|tree| sides[tree.row]);
        let mut trees = vec![0; groups.len()];
        for side in own() {
            if let Side::Beside(group) = side {
                trees[group] += 1;
            }
        }
        let followed = own().filter(|side| *side == Side::Followed).count();
        let others = trees.iter().sum();
        if followed.min(others) < LEAST_TREES {
            return Err(Failed::Unscored(UnscoredReason::TooFewTrees { followed, others }));
        }
        if predicted.quantity == Quantity::GainOverPresent
            && let Some(present) = &self.present
        {
            for (pruned, share) in [false, true].into_iter().zip(present.kinds()) {
                let kind = groups.iter().zip(&trees).filter(|(own, _)| (own.high > 0.0) == pruned);
                let found = kind.map(|(_, trees)| trees).sum();
                if share > FEW && found < LEAST_TREES {
                    let reason = UnscoredReason::TooFewAsPresent { pruned, share, found };
                    return Err(Failed::Unscored(reason));
                }
            }
        }
        let stand_in = stood_for(&mut groups, &trees);
        let shares = groups.iter().map(|cuts| cuts.share).collect();
        let comparison = Comparison { sides, shares };
        let realised =
            realised_gain(review, table, &self.region, &comparison).map_err(Failed::Review)?;
        // Kilograms were predicted for an average season.
        let at_average = predicted.over_kg.map(|over| realised.over(over, review.scale));
        let row =
            score(predicted, at_average.as_ref().unwrap_or(&realised)).map_err(Failed::Review)?;
        let in_season = at_average
            .is_some()
            .then(|| InSeason { gain_kg: realised.gain_kg, otherwise_kg: realised.otherwise_kg() });
        let row = ScoreRow { stand_in, in_season, ..row };
        Ok(ScoreRow { telling: row.tells(), ..row })
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
            let with = (treated, tolerance);
            match self.one((practice, predicted), review, table, with) {
                Ok(row) => rows.push(row),
                Err(Failed::Unscored(reason)) => {
                    left.push(unscored(Some(predicted.quantity), reason));
                }
                Err(Failed::Review(error @ ReviewError::Length { .. })) => return Err(error),
                Err(Failed::Review(error)) => {
                    let reason = UnscoredReason::Failed(error.to_string());
                    left.push(unscored(Some(predicted.quantity), reason));
                }
            }
        }
        Ok((rows, left))
    }
}

/// Why a prediction has no score.
enum Failed {
    Unscored(UnscoredReason),
    Review(ReviewError),
}

/// Gives the shares of groups without a tree to the nearest group with trees; the share given away.
fn stood_for(groups: &mut [KeptCuts], trees: &[usize]) -> f64 {
    let middle = |cuts: &KeptCuts| f64::midpoint(cuts.low, cuts.high);
    let mut given = 0.0;
    for empty in (0..groups.len()).filter(|&group| trees[group] == 0) {
        let from = groups[empty];
        let distance = |&group: &usize| (middle(&groups[group]) - middle(&from)).abs();
        let with_trees = (0..groups.len()).filter(|&group| trees[group] > 0);
        let nearest = with_trees.min_by(|a, b| distance(a).total_cmp(&distance(b)));
        if let Some(nearest) = nearest {
            groups[nearest].share += from.share;
            groups[empty].share = 0.0;
            given += from.share;
        }
    }
    given
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
            present: None,
            predicted: Vec::new(),
            blocks: Vec::new(),
        };
        let intensity = [0.30, 0.35, 0.36, 0.30, 0.30, 0.0, 0.12, 0.2];
        let day = |month, day| Some(date(2026, month, day));
        let pruned_on =
            [day(6, 10), day(7, 7), day(6, 10), day(7, 8), day(5, 25), None, day(6, 1), day(6, 1)];
        let treated = Treated { intensity: &intensity, pruned_on: &pruned_on };
        let tolerance = Tolerance::default();
        let of = |kept: &KeptRegion, quantity| {
            KeptRegion::sides(&practice, &kept.groups(quantity), treated, tolerance)
        };
        let (yes, no) = (Some(Side::Followed), |group| Some(Side::Beside(group)));
        // A twentieth of the canopy and a week are within the tolerance, no more.
        assert_eq!(
            of(&kept, Quantity::GainOverUnpruned),
            [yes, yes, None, None, yes, no(0), None, None]
        );
        assert_eq!(
            of(&kept, Quantity::GainOverPresent),
            [yes, yes, None, None, yes, None, no(0), None]
        );
        // Half the trees unpruned, a quarter about a tenth, an eighth as advised and one too late.
        let trees = |intensity, day, share| PresentTrees { intensity, day, share };
        let present = [
            trees(0.0, None, 4.0),
            trees(0.08, day(6, 1), 1.0),
            trees(0.1, day(8, 1), 1.0),
            trees(0.28, day(6, 8), 1.0),
            trees(0.28, day(8, 8), 1.0),
        ];
        let present = KeptPresent::beside(&practice, &present, tolerance);
        let cuts = |low, high, share| KeptCuts { low, high, share };
        assert_eq!(present.as_advised, 0.125);
        assert_eq!(
            present.others,
            [cuts(0.0, 0.0, 0.5), cuts(0.08, 0.1, 0.25), cuts(0.28, 0.28, 0.125)]
        );
        let kept = KeptRegion { present: Some(present), ..kept };
        assert_eq!(
            of(&kept, Quantity::GainOverPresent),
            [yes, yes, None, no(2), yes, no(0), no(1), None]
        );
        let mut groups = kept.groups(Quantity::GainOverPresent);
        assert_eq!(stood_for(&mut groups, &[3, 0, 2]), 0.25);
        assert_eq!(groups.iter().map(|own| own.share).collect::<Vec<_>>(), [0.75, 0.0, 0.125]);
    }
}
