//! The advice of a run: one record per region, as written to `advice.json`.

use jiff::civil::Date;
use records::PracticeBefore;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use workplan::economics::BreakEven;

/// Advice for one season of one record book.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Advice {
    /// Name of the record book.
    pub book: String,
    /// Latest season advised for (year in which its harvest opens).
    pub season: i32,
    /// Seed of every random draw of the run.
    pub seed: u64,
    /// Version of the program.
    pub version: String,
    /// One fingerprint of all input files.
    pub inputs: String,
    /// Currency of money amounts.
    pub currency: String,
    /// Loss tolerated, per cent of the best net return.
    pub tolerance_pct: f64,
    /// One entry per region of the book, sorted by region id.
    pub regions: Vec<RegionAdvice>,
}

impl Advice {
    /// Seasons that regions are advised for, ascending, each once.
    #[must_use]
    pub fn seasons(&self) -> BTreeSet<i32> {
        self.regions.iter().map(|region| region.season).collect()
    }
}

/// What the evidence says should be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The evidence supports changing to the advised intensity and window.
    Prune,
    /// The present practice is within tolerance of the best.
    Keep,
    /// The records cannot tell; a trial would.
    Trial,
}

/// Where the evidence of a region comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Evidence {
    /// Only trees of randomised trials.
    Trial,
    /// Only everyday pruning records.
    Routine,
    /// Both.
    Mixed,
}

/// Spread of intensities from which trees are called unlike each other, canopy fraction.
const UNLIKE: f64 = 0.05;

/// Advice for one region. Intensities are canopy fractions 0 to 1, leads days before the flush start.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RegionAdvice {
    /// Region id of the book.
    pub region: String,
    /// Region name for people.
    pub name: String,
    /// Season advised for in this region (year in which its harvest opens): the one after its last
    /// recorded harvest unless `book.toml` sets it.
    pub season: i32,
    /// The decision.
    pub verdict: Verdict,
    /// Why, in one plain sentence.
    pub reason: String,
    /// Kind of records behind it.
    pub evidence: Evidence,
    /// Tree-seasons used by the yield model.
    pub rows: u64,
    /// Trees behind them.
    pub trees: u64,
    /// Number of seasons behind them.
    pub seasons: u32,
    /// Lowest and highest supported intensity; `None` when nothing is supported.
    pub tested_intensity: Option<[f64; 2]>,
    /// Widest stretch between these in which no cut was tried, canopy fractions; `None` where steps between tried
    /// cuts are small enough to be read over.
    #[serde(default)]
    pub untried_intensity: Option<[f64; 2]>,
    /// Lowest and highest supported lead, days; `None` when nothing was pruned.
    pub tested_lead: Option<[f64; 2]>,
    /// Present practice.
    pub present: Present,
    /// Intensity of the highest expected yield within the supported range.
    pub yield_optimum: Option<Optimum>,
    /// Intensity of the highest expected net return within the supported range.
    pub net_optimum: Option<Optimum>,
    /// Lead of the highest expected net return within the supported range, days before the flush;
    /// `None` when timing is not part of the model.
    pub lead_optimum: Option<Interval>,
    /// Days before the flush for which the gains are reckoned; `None` where nothing is pruned.
    #[serde(default)]
    pub gains_lead_days: Option<f64>,
    /// Whether that is near the region's usual dates because others do not very likely earn more.
    #[serde(default)]
    pub keeps_usual_dates: bool,
    /// Other dates that are expected to earn more than the usual ones by over the tolerated loss, though not with
    /// the chance that moving to them needs.
    #[serde(default)]
    pub other_dates: Option<OtherDates>,
    /// Confidence set of the curve's turning point by test inversion, not limited to the tested range.
    pub inversion_set: Option<InversionSet>,
    /// Intensities whose expected loss of net return stays under the tolerance.
    pub band: Option<[f64; 2]>,
    /// What to do; `None` for `trial`.
    pub advised: Option<Advised>,
    /// What to do until the trial is read, where nothing but the odds or a best intensity beyond
    /// what was tried stands in the way and present practice probably earns less than the best
    /// supported one; never outside the tested range.
    pub interim: Option<Advised>,
    /// Expected yield of present practice, kg per tree: the trees and ages of the latest season, in an
    /// average season. Its limits are those of what is expected, not of the yield of one season.
    #[serde(default)]
    pub present_yield_kg: Option<Interval>,
    /// Gain in yield of the advised (or best supported) practice over leaving trees unpruned, kg per tree;
    /// `None` when the records hold no unpruned trees. For `keep` the gains are those of the best
    /// supported practice: what keeping things as they are forgoes.
    pub gain_over_unpruned_kg: Option<Interval>,
    /// Gain in yield over present practice, kg per tree.
    pub gain_over_present_kg: Option<Interval>,
    /// Gain in net return over present practice, money per tree.
    pub net_gain_over_present: Option<MoneyInterval>,
    /// Probability that the advised (or best supported) practice earns more than present practice.
    pub p_gain: Option<f64>,
    /// Odds, break-even values and the gain per ha of the advised (or best supported) practice;
    /// `None` where the gains are.
    pub returns: Option<RegionReturns>,
    /// What pruning two and four weeks after the advised (or best supported) date costs; empty when
    /// timing is not part of the model or nothing is to be pruned.
    pub lateness: Vec<Lateness>,
    /// Net return lost per day of delay, money per tree: the line through these delays, draw by draw; `None`
    /// where no pruning so late is recorded. Below 0 where being late gains.
    #[serde(default)]
    pub late_per_day: Option<Interval>,
    /// The practice repeated over several seasons; `None` when the records show no carry-over.
    pub horizon: Option<Horizon>,
    /// Declared trials on trees of the region that wait for the harvest of the season advised for, by
    /// id; the plan leaves their trees to them.
    #[serde(default)]
    pub trials_waiting: Vec<String>,
    /// Day of the book's last record: a window that ends before it is over. `None` where no record has a day.
    #[serde(default)]
    pub last_record: Option<Date>,
}

impl RegionAdvice {
    /// Day of the last record, where the window of the advice, or of what to follow until a trial is read,
    /// was over by then.
    #[must_use]
    pub fn over_since(&self) -> Option<Date> {
        let stated = self.advised.as_ref().or(self.interim.as_ref())?;
        let [_, to] = stated.window?;
        self.last_record.filter(|last| to < *last)
    }
}

/// What the advised (or best supported) practice brings beside present practice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RegionReturns {
    /// Expected net gain over present practice, money per tree.
    pub mean_net_gain: f64,
    /// What the wood cut more than at present brings of it after haulage, money per tree; below 0 where
    /// less is cut or haulage costs more than the wood fetches.
    #[serde(default)]
    pub wood_gain: f64,
    /// Expected net gain over leaving trees unpruned, money per tree; `None` when the records hold
    /// no unpruned trees.
    pub mean_net_over_unpruned: Option<f64>,
    /// Net gain over present practice, money per ha; `None` without spacings.
    pub net_gain_per_ha: Option<Interval>,
    /// Probability that the practice earns less than present practice.
    pub odds_of_loss: f64,
    /// Quoted price per kg at which it earns as much as present practice.
    pub break_even_price: BreakEven,
    /// Wage per hour at which it earns as much; `None` when it takes the hours of present practice.
    pub break_even_wage: Option<BreakEven>,
}

/// Cost of a delay, per tree.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lateness {
    /// Days after the advised date.
    pub days: i32,
    /// Yield lost, kg per tree; `None` where no pruning so late at this intensity is recorded.
    pub loss_kg: Option<Interval>,
    /// Net return lost, money per tree.
    pub net_loss: Option<Interval>,
}

/// Net return of a practice repeated season after season, what each cut leaves to the next
/// included, undiscounted and at constant prices.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Horizon {
    /// Seasons added up.
    pub seasons: u32,
    /// Intensity with the highest expected net return over them.
    pub best_intensity: f64,
    /// Gain of the advised (or best supported) practice over repeating present practice, money per
    /// tree over all seasons.
    pub net_gain: Interval,
}

/// Present practice of a region.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Present {
    /// Mean intensity over all trees, unpruned ones counting 0.
    pub intensity: f64,
    /// Intensity-weighted mean lead, days; `None` when nothing was pruned.
    pub lead_days: Option<f64>,
    /// Share of trees pruned at all.
    pub share_pruned: f64,
    /// Intensities between which nine trees in ten lie; `None` in advice of an earlier version.
    #[serde(default)]
    pub middle: Option<[f64; 2]>,
    /// Season it was read from, the last where trees are pruned in turn; `None` when stated in `book.toml` or
    /// assumed unpruned.
    pub season: Option<i32>,
    /// Seasons up to that one that it was read from together: 1 where trees are not pruned in turn.
    #[serde(default = "records::one_season")]
    pub in_turn: u32,
    /// The season before, where quite another practice was recorded then.
    #[serde(default)]
    pub before: Option<PracticeBefore>,
    /// Trees of that season that are not counted, as they were left to compare the others with.
    #[serde(default)]
    pub left_to_compare: u64,
    /// Trees of that season that are not counted, as they are younger than the trees on record that were
    /// cut about as hard as is usual.
    #[serde(default)]
    pub younger: u64,
    /// Whether neither records nor `book.toml` tell it, so that trees are taken to be left unpruned.
    #[serde(default)]
    pub is_assumed: bool,
}

impl Present {
    /// Mean intensity over the trees that are pruned: what a crew does to a tree.
    #[must_use]
    pub fn of_a_pruned_tree(&self) -> f64 {
        if self.share_pruned > 0.0 { (self.intensity / self.share_pruned).min(1.0) } else { 0.0 }
    }

    /// The intensities between which nine trees in ten lie, where trees are treated so unlike each other
    /// that the mean says little of them.
    #[must_use]
    pub fn unlike(&self) -> Option<[f64; 2]> {
        self.middle.filter(|[low, high]| high - low >= UNLIKE)
    }
}

/// Posterior of an optimum over the supported range.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Optimum {
    /// Posterior median intensity.
    pub median: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Probability content of the limits.
    pub level: f64,
    /// Probability that the optimum lies at the lower edge of the supported range.
    pub p_lower_edge: f64,
    /// Probability that it lies inside.
    pub p_inside: f64,
    /// Probability that it lies at the upper edge.
    pub p_upper_edge: f64,
    /// Probability that the curve bends down at all.
    pub p_bends_down: f64,
}

/// Shape of an inversion set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InversionKind {
    /// From the first bound to the second.
    Interval,
    /// Up to the first bound and from the second bound on.
    TwoRays,
    /// Every intensity: the data do not locate a turning point.
    WholeLine,
    /// No intensity is compatible with a turning point.
    Empty,
}

/// Confidence set of a turning point, by inverting the test that the slope is zero there
/// (Fieller, 1954, J. R. Stat. Soc. B 16:175-185).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InversionSet {
    /// Its shape.
    pub kind: InversionKind,
    /// Its bounds in the order the shape names them; empty for the whole line.
    pub bounds: Vec<f64>,
    /// Confidence level.
    pub level: f64,
}

/// What to do in a region.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Advised {
    /// Fraction of the canopy to remove.
    pub intensity: f64,
    /// Days before the flush start; `None` when the advice is to leave trees unpruned.
    pub lead_days: Option<f64>,
    /// First and last date of the pruning window; `None` when the advice is to leave trees unpruned.
    pub window: Option<[Date; 2]>,
}

/// A posterior median with its interval.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Posterior median.
    pub median: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Probability content.
    pub level: f64,
}

/// Dates that may earn more than the usual ones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OtherDates {
    /// Days before the flush.
    pub lead_days: f64,
    /// What they earn more, money per tree.
    pub net_gain: Interval,
    /// Chance that they earn more.
    pub chance: f64,
}

/// A posterior median with its interval, in money per tree.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MoneyInterval {
    /// Amounts.
    #[serde(flatten)]
    pub amount: Interval,
    /// Currency.
    pub currency: String,
}
