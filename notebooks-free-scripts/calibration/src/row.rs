//! One region of one plantation: what was said and what is true.

use crate::args::Plantation;
use crate::cell::{ASSIGNMENTS, Cell, SEASONS, TRUTHS};
use serde::{Deserialize, Serialize};

/// A line of `results.csv`. Intensities are fractions, leads days before the flush start, money is
/// per tree and season. Empty cells: not applicable, or the fit failed.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Row {
    /// Levels of the factors.
    pub truth: String,
    pub assignment: String,
    pub seasons: String,
    pub regions: String,
    pub alternation: String,
    pub tails: String,
    pub records: String,
    /// Number within the cell, and of the region within the plantation.
    pub replicate: u32,
    pub region: u32,
    /// Why there is no advice, empty otherwise.
    pub error: String,
    /// prune, keep or trial; `failed` without advice.
    pub verdict: String,
    /// Cause-or-habit status and response scale of the model.
    pub habit: String,
    pub scale: String,
    /// Supported intensities.
    pub tested_low: Option<f64>,
    pub tested_high: Option<f64>,
    /// True net optimum among the supported practices, and whether it is inside, lower or upper.
    pub optimum: Option<f64>,
    pub optimum_lead: Option<f64>,
    pub place: String,
    /// Median and limits of the net optimum.
    pub median: Option<f64>,
    pub low80: Option<f64>,
    pub high80: Option<f64>,
    pub low95: Option<f64>,
    pub high95: Option<f64>,
    /// Share of draws at the upper edge.
    pub p_upper: Option<f64>,
    /// Best supported practice of Anacurve and the chance that it earns more than present practice.
    pub candidate: Option<f64>,
    pub candidate_lead: Option<f64>,
    pub p_gain: Option<f64>,
    /// Net gain of the candidate over present practice: truth, median and limits.
    pub gain: Option<f64>,
    pub gain_median: Option<f64>,
    pub gain_low80: Option<f64>,
    pub gain_high80: Option<f64>,
    pub gain_low95: Option<f64>,
    pub gain_high95: Option<f64>,
    /// Practice advised under `prune`.
    pub advised: Option<f64>,
    pub advised_lead: Option<f64>,
    /// Yield of an unpruned tree, kg: truth and posterior median.
    #[serde(default)]
    pub unpruned: Option<f64>,
    #[serde(default)]
    pub unpruned_median: Option<f64>,
    /// Intensities of the simple rules.
    pub class: Option<f64>,
    pub quadratic: Option<f64>,
    /// Best net return among supported practices, and what each practice falls short of it.
    pub best_net: Option<f64>,
    pub regret_present: Option<f64>,
    pub regret_followed: Option<f64>,
    pub regret_candidate: Option<f64>,
    /// The candidate's intensity at the true best lead: what is lost by intensity alone.
    pub regret_candidate_best_lead: Option<f64>,
    /// The simple rules at the median lead of the region's records.
    pub regret_class: Option<f64>,
    pub regret_quadratic: Option<f64>,
    /// The simple rules at the candidate's lead.
    pub regret_class_lent_lead: Option<f64>,
    pub regret_quadratic_lent_lead: Option<f64>,
}

impl Row {
    /// A row that only knows where it belongs.
    pub fn of(plantation: Plantation, region: u32) -> Self {
        let [truth, assignment, seasons, regions, alternation, tails, records] =
            plantation.cell.words();
        Self {
            truth,
            assignment,
            seasons,
            regions,
            alternation,
            tails,
            records,
            replicate: plantation.replicate,
            region,
            verdict: "failed".to_owned(),
            ..Self::default()
        }
    }

    /// The plantation it belongs to; `None` when a level is unknown.
    pub fn plantation(&self) -> Option<Plantation> {
        let number = |word: &str| word.get(1..)?.parse().ok();
        let cell = Cell {
            truth: TRUTHS.into_iter().find(|kind| kind.word() == self.truth)?,
            assignment: ASSIGNMENTS.into_iter().find(|kind| kind.word() == self.assignment)?,
            seasons: number(&self.seasons).filter(|seasons| SEASONS.contains(seasons))?,
            regions: number(&self.regions)?,
            alternating: self.alternation == "alternating",
            heavy: self.tails == "heavy",
            missing: self.records == "missing",
        };
        Some(Plantation { cell, replicate: self.replicate })
    }

    /// Whether a value lies within limits; `None` where either is unknown.
    fn within(value: Option<f64>, low: Option<f64>, high: Option<f64>) -> Option<bool> {
        // Half a unit of the last written digit.
        const SLACK: f64 = 5.1e-5;
        let (value, low, high) = (value?, low?, high?);
        Some(low - SLACK <= value && value <= high + SLACK)
    }

    /// Whether the 80 % interval holds the true optimum.
    pub fn optimum_in_80(&self) -> Option<bool> {
        Self::within(self.optimum, self.low80, self.high80)
    }

    /// Whether the 95 % interval holds the true optimum.
    pub fn optimum_in_95(&self) -> Option<bool> {
        Self::within(self.optimum, self.low95, self.high95)
    }

    /// Whether the 80 % interval holds the true gain.
    pub fn gain_in_80(&self) -> Option<bool> {
        Self::within(self.gain, self.gain_low80, self.gain_high80)
    }

    /// Whether the 95 % interval holds the true gain.
    pub fn gain_in_95(&self) -> Option<bool> {
        Self::within(self.gain, self.gain_low95, self.gain_high95)
    }

    /// Whether the advised intensity lies outside what was tested; `None` without advice to change.
    pub fn outside(&self) -> Option<bool> {
        Self::within(self.advised, self.tested_low, self.tested_high)
            .map(|inside| !inside && self.advised != Some(0.0))
    }

    /// Whether the advice is to stop pruning.
    pub fn stops(&self) -> bool {
        self.verdict == "prune" && self.advised == Some(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_knows_its_plantation() {
        for cell in Cell::all() {
            let plantation = Plantation { cell, replicate: 3 };
            assert_eq!(Row::of(plantation, 2).plantation(), Some(plantation));
        }
        assert_eq!(Row::default().plantation(), None);
    }
}
