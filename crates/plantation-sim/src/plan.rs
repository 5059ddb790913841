//! What is simulated: the plantation and its regions, every choice a plain field.

use crate::{Assignment, DesignedTrial, Response, Timing, TrialPlan, TrueCurve};
use records::{Calendar, Economics, MonthDay, PruningTime, Window};

/// A plantation to simulate.
#[derive(Debug, Clone, PartialEq)]
pub struct Plantation {
    /// Name in the book.
    pub name: String,
    /// Prices and costs; `pruning_time` also generates the recorded minutes.
    pub economics: Economics,
    /// Further sections of `book.toml` with their remarks: crews, tools and products.
    pub work: &'static str,
    /// Moisture to which yields are brought, per cent of wet weight.
    pub reference_moisture_pct: f64,
    /// Loss tolerated before a change is worth making, per cent of the best net return.
    pub tolerance_pct: f64,
    /// Season to advise for; written into the book and used for the ages behind the truth.
    pub advise_season: i16,
    /// The regions.
    pub regions: Vec<RegionPlan>,
}

/// A variety and its yield factor.
#[derive(Debug, Clone, PartialEq)]
pub struct Variety {
    /// Name in the block table.
    pub name: String,
    /// Yield relative to the region's base.
    pub factor: f64,
}

/// Moisture of the weighed nuts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moisture {
    /// Weighed fresh; each pick's moisture is drawn between the bounds (per cent) and recorded.
    Wet {
        /// Lowest moisture.
        low: f64,
        /// Highest moisture.
        high: f64,
    },
    /// Weighed after drying to the reference moisture; moisture is not recorded.
    Dry,
}

/// Tails of the error of log yield.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ErrorTails {
    /// Normal.
    Normal,
    /// Student t with 4 degrees of freedom, cut at four standard deviations.
    Heavy,
}

/// How the region's office keeps its files when the book is written untidily.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RecordStyle {
    /// Comma-separated, ISO dates.
    Plain,
    /// Semicolons, decimal commas, day-first dates, headers of another language in Latin-1.
    DecimalComma,
    /// Prunings as a spreadsheet with a title row and serial dates; tab-separated harvests.
    Spreadsheet,
    /// Grams and per cents.
    OddUnits,
    /// Prunings and harvests as spreadsheets with a title row, serial dates, words of its own in
    /// the header, grams and per cents.
    Workbook,
}

/// One region: where, how it yields and how it was pruned.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionPlan {
    /// Id in the book and start of its file names: lower-case letters, digits and underscores.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Harvest, rest and flush windows.
    pub calendar: Calendar,
    /// Wage per hour here, instead of the book's.
    pub wage_per_hour: Option<f64>,
    /// First recorded season.
    pub first_season: i16,
    /// Last recorded season.
    pub last_season: i16,
    /// Sites.
    pub sites: usize,
    /// Blocks at each site.
    pub blocks_per_site: usize,
    /// Trees in each block.
    pub trees_per_block: usize,
    /// Row and tree spacing in metres, taken in turn by block.
    pub spacings_m: Vec<(f64, f64)>,
    /// Varieties, taken in turn by block.
    pub varieties: Vec<Variety>,
    /// Planting years, taken in turn by block.
    pub planted: Vec<i16>,
    /// Planting year of one more, half-size block that is still in training.
    pub young_block: Option<i16>,
    /// Mean kg per tree, full grown at 8 x 8 m, unpruned.
    pub base_kg: f64,
    /// True effect of pruning.
    pub response: Response,
    /// How intensities came about.
    pub practice: Assignment,
    /// A randomised trial laid over the first block of each of the first sites.
    pub trial: Option<TrialPlan>,
    /// Number of sites with a trial block.
    pub trial_sites: usize,
    /// Designed trials, each on blocks of its own beside the others.
    pub designed: Vec<DesignedTrial>,
    /// Highest intensity used.
    pub tested_max: f64,
    /// Earliest-to-latest pruning: least and greatest lead, days before the flush start.
    pub leads: (f64, f64),
    /// Share of pruned trees visited a second time.
    pub second_visits: f64,
    /// Number of last blocks whose crew counts shoots instead of judging the canopy.
    pub shoots_blocks: usize,
    /// Whether minutes, cuts and tools are recorded.
    pub work_recorded: bool,
    /// Coefficient of variation between trees.
    pub tree_cv: f64,
    /// Between blocks.
    pub block_cv: f64,
    /// Between seasons of the region.
    pub season_cv: f64,
    /// Between sites within a season.
    pub site_season_cv: f64,
    /// Of the remaining error.
    pub error_cv: f64,
    /// Lag-1 correlation of the error, sign turned: 0 is no alternate bearing.
    pub alternation: f64,
    /// Carry-over: relative effect on this season's yield of having removed the whole canopy for
    /// the season before, proportional below; 0 is none, negative costs a year later.
    pub carry_over: f64,
    /// Tails of the error.
    pub tails: ErrorTails,
    /// Share of tree-seasons whose harvest was not recorded.
    pub missing: f64,
    /// Moisture of picks.
    pub moisture: Moisture,
    /// Share of trees with frame counts.
    pub framed_trees: f64,
    /// Laterals per m2 of an unpruned tree.
    pub laterals_per_m2: f64,
    /// Relative increase of laterals if the whole canopy were removed.
    pub laterals_gain: f64,
    /// Share of the pruning effect, on the log scale, that runs through flowering laterals.
    pub through_laterals: f64,
    /// File habits in an untidy book.
    pub style: RecordStyle,
}

impl Plantation {
    /// Working time of the economics; zero minutes when none is stated.
    #[must_use]
    pub fn pruning_time(&self) -> PruningTime {
        self.economics
            .pruning_time
            .unwrap_or(PruningTime { minutes_per_tree: 0.0, minutes_full_canopy: 0.0 })
    }

    /// Cost of pruning one tree of a region: wage / 60 x (minutes per tree + minutes for the full
    /// canopy x intensity) + materials; 0 for an unpruned tree.
    #[must_use]
    pub fn cost(&self, region: &RegionPlan, intensity: f64) -> f64 {
        if intensity > 0.0 {
            let wage = region.wage_per_hour.unwrap_or(self.economics.wage_per_hour);
            let time = self.pruning_time();
            let minutes = time.minutes_full_canopy.mul_add(intensity, time.minutes_per_tree);
            wage / 60.0 * minutes + self.economics.materials_per_pruned_tree
        } else {
            0.0
        }
    }
}

/// A window from its first and last day as (month, day).
fn window(start: (i8, i8), end: (i8, i8)) -> Window {
    // Only called with the literal days below, all of which exist.
    let day = |(month, day)| MonthDay::new(month, day).unwrap_or_else(|_| unreachable!());
    Window { start: day(start), end: day(end) }
}

impl RegionPlan {
    /// Calendar with flush September to November and harvest February to May.
    #[must_use]
    pub fn northern_calendar() -> Calendar {
        Calendar {
            harvest: window((2, 1), (5, 31)),
            rest: Some(window((6, 1), (8, 31))),
            flush: window((9, 1), (11, 30)),
        }
    }

    /// Calendar with flush October to November and harvest February to June.
    #[must_use]
    pub fn late_northern_calendar() -> Calendar {
        Calendar {
            harvest: window((2, 1), (6, 15)),
            rest: Some(window((6, 16), (9, 30))),
            flush: window((10, 1), (11, 30)),
        }
    }

    /// Calendar with flush May to July and harvest October to January, across New Year.
    #[must_use]
    pub fn southern_calendar() -> Calendar {
        Calendar {
            harvest: window((10, 1), (1, 31)),
            rest: Some(window((2, 1), (4, 30))),
            flush: window((5, 1), (7, 31)),
        }
    }

    /// A middling region with a response peaked at 0.30, five seasons and 360 trees: the start
    /// from which calibration plans change a few fields.
    #[must_use]
    pub fn typical(id: &str) -> Self {
        Self {
            id: id.to_owned(),
            name: id.to_owned(),
            calendar: Self::northern_calendar(),
            wage_per_hour: None,
            first_season: 2022,
            last_season: 2026,
            sites: 3,
            blocks_per_site: 3,
            trees_per_block: 40,
            spacings_m: vec![(8.0, 8.0), (7.5, 7.5), (10.0, 5.0)],
            varieties: vec![
                Variety { name: "Clone A".to_owned(), factor: 1.0 },
                Variety { name: "Clone B".to_owned(), factor: 1.12 },
            ],
            planted: vec![2008, 2011, 2013],
            young_block: None,
            base_kg: 6.0,
            response: Response {
                curve: TrueCurve::Peaked { gain: 0.22, at: 0.30 },
                timing: Timing { best_lead_days: 48.0, width_days: 80.0 },
            },
            practice: Assignment::Routine(crate::Routine::typical()),
            trial: None,
            trial_sites: 0,
            designed: Vec::new(),
            tested_max: 0.6,
            leads: (6.0, 88.0),
            second_visits: 0.0,
            shoots_blocks: 0,
            work_recorded: true,
            tree_cv: 0.34,
            block_cv: 0.10,
            season_cv: 0.18,
            site_season_cv: 0.08,
            error_cv: 0.26,
            alternation: 0.0,
            carry_over: 0.0,
            tails: ErrorTails::Normal,
            missing: 0.0,
            moisture: Moisture::Dry,
            framed_trees: 0.0,
            laterals_per_m2: 20.0,
            laterals_gain: 0.9,
            through_laterals: 0.4,
            style: RecordStyle::Plain,
        }
    }

    /// Factor by which last season's intensity changes this season's yield:
    /// 1 + carry-over x intensity, never below 0.
    #[must_use]
    pub fn carried(&self, earlier_intensity: f64) -> f64 {
        self.carry_over.mul_add(earlier_intensity, 1.0).max(0.0)
    }

    /// Recorded seasons.
    pub fn seasons(&self) -> impl Iterator<Item = i16> + use<> {
        self.first_season..=self.last_season
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: trade.md section 4, and the calendar's own check for windows that run together.
    #[test]
    fn calendars_follow_the_trade() {
        for calendar in [
            RegionPlan::northern_calendar(),
            RegionPlan::late_northern_calendar(),
            RegionPlan::southern_calendar(),
        ] {
            assert_eq!(calendar.check(), Ok(()));
        }
        assert!(RegionPlan::southern_calendar().harvest.crosses_new_year());
        assert_eq!(RegionPlan::northern_calendar().flush.start.to_string(), "09-01");
        assert_eq!(RegionPlan::late_northern_calendar().harvest.end.to_string(), "06-15");
    }
}
