//! Fills the trial table of a layout: what crews would have done and picked, with known effects.

use crate::dice::{Dice, log_sd};
use crate::{Response, Treatment, TrialFactor};
use jiff::ToSpan;
use records::{Calendar, MeasuredAs};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// A row of a trial table: cell by column.
pub type TableRow = BTreeMap<String, String>;

/// How the trees of a trial grow.
#[derive(Debug, Clone, PartialEq)]
pub struct Growth {
    /// Calendar of the region.
    pub calendar: Calendar,
    /// Seasons under treatment.
    pub seasons: Vec<i16>,
    /// Factors with the effects of their levels; columns of the table.
    pub factors: Vec<TrialFactor>,
    /// Lead of prunings unless a factor sets it, days.
    pub lead_days: f64,
    /// True effect of pruning.
    pub response: Response,
    /// Expected yield of an unpruned tree, kg.
    pub base_kg: f64,
    /// Coefficients of variation between replicates, main plots (and strips), plots, trees and
    /// seasons, and of the remaining error.
    pub cv: GrowthCv,
}

/// Coefficients of variation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GrowthCv {
    /// Between replicates.
    pub replicate: f64,
    /// Between main plots, incomplete blocks or strips.
    pub main_plot: f64,
    /// Between plots.
    pub plot: f64,
    /// Between trees of a plot.
    pub tree: f64,
    /// Between seasons.
    pub season: f64,
    /// Of a tree in a season.
    pub error: f64,
}

/// Rows for the tables of a book, as CSV with a header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Filled {
    /// `tree,date,intensity,measured_as`.
    pub prunings: String,
    /// `tree,date,nut_kg`.
    pub harvests: String,
}

/// Fills a trial table; `None` when a row has a level that the growth does not know. The same table,
/// growth and seed give the same text.
#[must_use]
pub fn fill(table: &[TableRow], growth: &Growth, seed: u64) -> Option<Filled> {
    let mut dice = Dice::stream(seed, 0);
    let cv = growth.cv;
    let mut shared: BTreeMap<(&str, String), f64> = BTreeMap::new();
    let mut filled = Filled {
        prunings: "tree,date,intensity,measured_as\n".to_owned(),
        harvests: "tree,date,nut_kg\n".to_owned(),
    };
    let seasons: Vec<(i16, f64)> = growth
        .seasons
        .iter()
        .map(|&season| (season, dice.unit_log_normal(log_sd(cv.season))))
        .collect();
    for row in table {
        let cell = |column: &str| row.get(column).map(String::as_str).unwrap_or_default();
        let level_of = |column: &str| cell(column).to_owned();
        let treatment = Treatment::of(&growth.factors, growth.lead_days, level_of)?;
        let mut place = 1.0;
        for (column, spread) in [
            ("replicate", cv.replicate),
            ("block", cv.main_plot),
            ("main_plot", cv.main_plot),
            ("sub_plot", cv.main_plot),
            ("plot", cv.plot),
        ] {
            if !cell(column).is_empty() {
                place *= *shared
                    .entry((column, cell(column).to_owned()))
                    .or_insert_with(|| dice.unit_log_normal(log_sd(spread)));
            }
        }
        let tree = dice.unit_log_normal(log_sd(cv.tree));
        for &(season, weather) in &seasons {
            let cut = (treatment.intensity > 0.0).then_some(treatment.lead_days.round());
            let effect = treatment.ratio * growth.response.ratio(treatment.intensity, cut);
            let kg = growth.base_kg * place * tree * weather * effect;
            let kg = kg * dice.unit_log_normal(log_sd(cv.error));
            filled.add(cell("tree"), growth, season, &treatment, kg);
        }
    }
    Some(filled)
}

impl Filled {
    fn add(&mut self, tree: &str, growth: &Growth, season: i16, treatment: &Treatment, kg: f64) {
        // Writing to a String cannot fail.
        if treatment.intensity > 0.0 {
            let lead = treatment.lead_days.round() as i32;
            let date = growth.calendar.date_of_lead(lead, season);
            let basis = MeasuredAs::CanopyFraction.as_str();
            let _ = writeln!(self.prunings, "{tree},{date},{},{basis}", treatment.intensity);
        }
        let date = growth.calendar.harvest_opens(season).saturating_add(20.days());
        let _ = writeln!(self.harvests, "{tree},{date},{kg:.2}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{RegionPlan, Timing, TrueCurve};

    fn growth() -> Growth {
        Growth {
            calendar: RegionPlan::northern_calendar(),
            seasons: vec![2025, 2026],
            factors: vec![TrialFactor::intensities(&[0.0, 0.3])],
            lead_days: 48.0,
            response: Response {
                curve: TrueCurve::Peaked { gain: 0.25, at: 0.3 },
                timing: Timing { best_lead_days: 48.0, width_days: 80.0 },
            },
            base_kg: 8.0,
            cv: GrowthCv {
                replicate: 0.0,
                main_plot: 0.0,
                plot: 0.0,
                tree: 0.0,
                season: 0.0,
                error: 0.0,
            },
        }
    }

    fn row(tree: &str, level: &str) -> TableRow {
        [("tree", tree), ("replicate", "R1"), ("intensity_level", level)]
            .map(|(column, cell)| (column.to_owned(), cell.to_owned()))
            .into()
    }

    /// Witness: 8 kg x 1.25 = 10 kg; 48 days before 1 September is 15 July.
    #[test]
    fn without_spread_the_picks_are_the_truth() {
        let filled = fill(&[row("A", "0.30"), row("B", "0")], &growth(), 1).unwrap();
        let picks: Vec<&str> = filled.harvests.lines().skip(1).collect();
        assert_eq!(picks[0], "A,2025-02-21,10.00");
        assert_eq!(picks[2], "B,2025-02-21,8.00");
        let cuts: Vec<&str> = filled.prunings.lines().skip(1).collect();
        assert_eq!(cuts, ["A,2024-07-15,0.3,canopy_fraction", "A,2025-07-15,0.3,canopy_fraction"]);
        assert_eq!(fill(&[row("A", "0.7")], &growth(), 1), None);
    }
}
