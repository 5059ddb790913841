//! From a region's fitted surface to its advice and figures.

mod figures;
mod gains;
mod horizon;
mod lateness;
mod returns;
mod timing;
mod verdict;

use crate::cost::Cost;
use crate::outcome::{
    Advised, Evidence, Interval, InversionKind, InversionSet, MoneyInterval, Optimum, Present,
    RegionAdvice, Verdict,
};
use crate::picture::RegionPicture;
use gains::Gains;
use jiff::civil::Date;
use model::{CarryOver, Exploration, Grid, Optima, RegionFit, Summary, Support, TurningPointSet};
use records::{Book, Practice};

/// Everything a decision rests on.
pub struct Evidences<'a> {
    /// The record book.
    pub book: &'a Book,
    /// The region's fit.
    pub fit: &'a RegionFit,
    /// Present practice.
    pub practice: &'a Practice,
    /// Cost of pruning here.
    pub cost: &'a Cost,
    /// Season advised for.
    pub season: i16,
    /// Trees per ha of the region; `None` without spacings.
    pub trees_per_ha: Option<f64>,
    /// Whether the yield model reached its optimum; without it nothing is advised.
    pub converged: bool,
    /// Effect of last season's pruning, where the records show one.
    pub carry_over: Option<&'a CarryOver>,
    /// Seed of the run.
    pub seed: u64,
    /// Turning point of the region's own curve, where it could be tested.
    pub turning_point: Option<TurningPointSet>,
}

/// Largest gain that records can tell, kg per tree: no tree bears as much, and limits beyond it say that nothing was
/// compared.
const MOST_KG: f64 = 1000.0;

/// Whether a gain, kg per tree, is one that records can tell.
fn tells(gain: &Interval) -> bool {
    // Written so that NaN tells nothing.
    gain.low.abs() <= MOST_KG && gain.high.abs() <= MOST_KG
}

/// How many times the best season on record, or what part of the poorest, expected yields may reach (ours: a
/// convention): beyond it the model took one thing for another, as age for seasons.
const FARTHEST_FROM_RECORDS: f64 = 2.0;

/// Whether an expected yield lies near those of the seasons on record.
fn is_near(expected: &Interval, [lowest, highest]: [f64; 2]) -> bool {
    // Written so that NaN is far.
    expected.median <= FARTHEST_FROM_RECORDS * highest
        && expected.median * FARTHEST_FROM_RECORDS >= lowest
}

/// The widest stretch of intensities that was not tried.
fn widest_untried(support: &Support) -> Option<[f64; 2]> {
    let width = |gap: &[f64; 2]| gap[1] - gap[0];
    support.untried.iter().copied().max_by(|a, b| width(a).total_cmp(&width(b)))
}

/// Advice and figures of a region whose records entered the model.
#[must_use]
pub fn decide(evidence: &Evidences<'_>) -> (RegionAdvice, Option<RegionPicture>) {
    let fit = evidence.fit;
    let objective = evidence.cost.objective();
    let explored = fit.support.as_ref().and_then(|support| {
        Exploration::new(&fit.curve, Grid::over(support, fit.fixed_lead), objective)
    });
    let mut advice = blank(evidence);
    let Some(explored) = explored else {
        advice.reason = verdict::nothing_tested(&advice.name);
        return (advice, None);
    };
    let level = evidence.book.options.level;
    let loss = explored.best_net().abs() * evidence.book.options.tolerance_pct / 100.0;
    let timing::Candidate { practice: candidate, keeps_usual_dates, other_dates } =
        timing::candidate(evidence, &explored, loss);
    let gains = Gains::new(evidence, &explored, candidate);
    let told = gains.over_present(level);
    if !tells(&told) {
        advice.reason = verdict::nothing_told(&advice.name);
        return (advice, None);
    }
    let expected = gains.present_yield(level);
    if !is_near(&expected, fit.season_means) {
        advice.reason = verdict::far_from_records(&advice.name, expected.median, fit.season_means);
        return (advice, None);
    }

    advice.yield_optimum = Some(optimum(evidence, &explored.yield_optima, level));
    advice.net_optimum = Some(optimum(evidence, &explored.net_optima, level));
    // A draw that is best unpruned has no date.
    let mut leads = explored.net_optima.pruned_leads().peekable();
    advice.lead_optimum = (fit.fixed_lead.is_none() && leads.peek().is_some())
        .then(|| gains::interval(Summary::of(leads, level), level));
    advice.gains_lead_days = (candidate.intensity > 0.0).then_some(candidate.lead_days);
    advice.keeps_usual_dates = keeps_usual_dates;
    advice.other_dates = other_dates;
    advice.band = Some(explored.band(loss));
    // Without unpruned trees the comparison would be an extrapolation.
    advice.gain_over_unpruned_kg = fit
        .support
        .as_ref()
        .filter(|support| support.includes_unpruned())
        .map(|_| gains.over_unpruned(level));
    advice.present_yield_kg = Some(expected);
    advice.gain_over_present_kg = Some(gains.over_present(level));
    advice.net_gain_over_present = Some(MoneyInterval {
        amount: gains.net_over_present(level),
        currency: evidence.book.economics.currency.clone(),
    });
    advice.p_gain = Some(gains.p_net_gain());
    advice.returns = returns::returns(evidence, &gains, level);
    (advice.lateness, advice.late_per_day) = lateness::lateness(evidence, candidate, level);
    advice.horizon = horizon::horizon(evidence, &explored, candidate, level);
    advice.verdict = verdict::choose(evidence, &explored, &gains, loss);
    advice.advised = advised(evidence, &explored, candidate, advice.verdict, loss);
    advice.interim = (advice.verdict == Verdict::Trial
        && verdict::better_meanwhile(evidence, &explored, &gains, loss))
    .then(|| best_supported(evidence, &explored, candidate, loss));
    advice.reason = verdict::reason(evidence, &advice, &explored, &gains);
    let mut picture = figures::draw(evidence, &explored, candidate, level);
    picture.what_if = returns::what_if(evidence, &explored, &gains, candidate);
    (advice, Some(picture))
}

fn advised(
    evidence: &Evidences<'_>,
    explored: &Exploration,
    candidate: model::Practice,
    verdict: Verdict,
    loss: f64,
) -> Option<Advised> {
    let practice = evidence.practice;
    match verdict {
        Verdict::Trial => None,
        Verdict::Keep => Some(Advised {
            intensity: practice.intensity,
            lead_days: practice.lead_days,
            window: practice
                .lead_days
                .and_then(|lead| window(evidence, tested(evidence, [lead - 14.0, lead + 14.0]))),
        }),
        Verdict::Prune => Some(best_supported(evidence, explored, candidate, loss)),
    }
}

/// The best supported practice with its window.
fn best_supported(
    evidence: &Evidences<'_>,
    explored: &Exploration,
    candidate: model::Practice,
    loss: f64,
) -> Advised {
    if candidate.intensity <= 0.0 {
        return Advised { intensity: 0.0, lead_days: None, window: None };
    }
    // Without timing in the model any tested date will do.
    let leads = match (evidence.fit.fixed_lead, evidence.fit.support.as_ref()) {
        (Some(_), Some(support)) => support.lead,
        _ => explored.lead_band(candidate, loss),
    };
    Advised {
        intensity: candidate.intensity,
        lead_days: Some(candidate.lead_days),
        window: leads.and_then(|leads| {
            let tested = evidence.fit.support.as_ref().and_then(|support| support.lead);
            window(evidence, widened(leads, tested.unwrap_or(leads)))
        }),
    }
}

/// Days that a window has at the least, where as many were tried (ours: a convention): records do not tell dates apart
/// to the day, and no crew prunes a plantation in two.
const SHORTEST_WINDOW: f64 = 14.0;

/// A range of leads made as long as a window is at the least, to both sides alike where both were tried.
fn widened([low, high]: [f64; 2], tested: [f64; 2]) -> [f64; 2] {
    let grown = |[low, high]: [f64; 2], by: f64| {
        [(low - by).max(tested[0]).min(low), (high + by).min(tested[1]).max(high)]
    };
    let lacking = |[low, high]: [f64; 2]| (SHORTEST_WINDOW - (high - low)).max(0.0);
    let even = grown([low, high], 0.5 * lacking([low, high]));
    grown(even, lacking(even))
}

/// The part of a range of leads that the records test; all of it where they test none of it.
fn tested(evidence: &Evidences<'_>, leads: [f64; 2]) -> [f64; 2] {
    let support = evidence.fit.support.as_ref().and_then(|support| support.lead);
    overlap(leads, support.unwrap_or(leads)).unwrap_or(leads)
}

/// What two ranges have in common.
fn overlap<T: PartialOrd + Copy>(one: [T; 2], other: [T; 2]) -> Option<[T; 2]> {
    let from = if one[0] < other[0] { other[0] } else { one[0] };
    let to = if one[1] > other[1] { other[1] } else { one[1] };
    (from <= to).then_some([from, to])
}

/// First and last date of a range of leads (days, ascending) in the season advised for, within the rest where some of
/// it is: while nuts are picked nobody is sent to prune.
fn window(evidence: &Evidences<'_>, leads: [f64; 2]) -> Option<[Date; 2]> {
    let calendar = evidence.book.regions.get(&evidence.fit.region)?.calendar()?;
    let date = |lead: f64| calendar.date_of_lead(lead.round() as i32, evidence.season);
    let dates = [date(leads[1]), date(leads[0])];
    let rest = calendar.rest_before(evidence.season);
    Some(rest.and_then(|rest| overlap(dates, rest)).unwrap_or(dates))
}

fn optimum(evidence: &Evidences<'_>, optima: &Optima, level: f64) -> Optimum {
    let summary = optima.summary(level);
    Optimum {
        median: summary.median,
        low: summary.low,
        high: summary.high,
        level,
        p_lower_edge: optima.p_lower_edge,
        p_inside: optima.p_inside,
        p_upper_edge: optima.p_upper_edge,
        p_bends_down: evidence.fit.p_bends_down(),
    }
}

/// The advice of a region before anything is known about its surface.
fn blank(evidence: &Evidences<'_>) -> RegionAdvice {
    let fit = evidence.fit;
    let season = i32::from(evidence.season);
    RegionAdvice {
        evidence: match (fit.trial_rows, fit.rows - fit.trial_rows) {
            (0, _) => Evidence::Routine,
            (_, 0) => Evidence::Trial,
            _ => Evidence::Mixed,
        },
        rows: fit.rows,
        trees: fit.trees,
        seasons: fit.seasons,
        tested_intensity: fit.support.as_ref().map(|support| support.intensity),
        untried_intensity: fit.support.as_ref().and_then(widest_untried),
        tested_lead: fit.support.as_ref().and_then(|support| support.lead),
        inversion_set: evidence
            .turning_point
            .filter(|_| verdict::can_turn(fit))
            .map(|set| inversion_set(set, evidence.book.options.level)),
        ..without_records(evidence.book, &fit.region, evidence.practice, season)
    }
}

/// The advice of a region of the book without a single usable tree-season.
#[must_use]
pub fn without_records(
    book: &Book,
    region: &str,
    practice: &Practice,
    season: i32,
) -> RegionAdvice {
    let name = book.region_name(region).to_owned();
    RegionAdvice {
        region: region.to_owned(),
        reason: verdict::no_records(&name),
        name,
        season,
        verdict: Verdict::Trial,
        evidence: Evidence::Routine,
        rows: 0,
        trees: 0,
        seasons: 0,
        tested_intensity: None,
        untried_intensity: None,
        tested_lead: None,
        present: Present {
            intensity: practice.intensity,
            lead_days: practice.lead_days,
            share_pruned: practice.share_pruned,
            middle: practice.middle(),
            season: practice.season,
            in_turn: practice.in_turn,
            before: practice.before,
            left_to_compare: practice.left_to_compare,
            younger: practice.younger,
            is_assumed: practice.is_assumed,
        },
        yield_optimum: None,
        net_optimum: None,
        lead_optimum: None,
        gains_lead_days: None,
        keeps_usual_dates: false,
        other_dates: None,
        inversion_set: None,
        band: None,
        advised: None,
        interim: None,
        present_yield_kg: None,
        gain_over_unpruned_kg: None,
        gain_over_present_kg: None,
        net_gain_over_present: None,
        p_gain: None,
        returns: None,
        lateness: Vec::new(),
        late_per_day: None,
        horizon: None,
        trials_waiting: Vec::new(),
        last_record: None,
    }
}

fn inversion_set(set: TurningPointSet, level: f64) -> InversionSet {
    let (kind, bounds) = match set {
        TurningPointSet::Interval { low, high } => (InversionKind::Interval, vec![low, high]),
        TurningPointSet::TwoRays { below, above } => (InversionKind::TwoRays, vec![below, above]),
        TurningPointSet::WholeLine => (InversionKind::WholeLine, Vec::new()),
        TurningPointSet::Empty => (InversionKind::Empty, Vec::new()),
    };
    InversionSet { kind, bounds, level }
}

#[cfg(test)]
mod tests {
    use super::{is_near, overlap, tells, widened};
    use crate::Interval;

    #[test]
    fn gains_that_no_tree_can_bear_tell_nothing() {
        let gain = |low, high| Interval { median: 0.4, low, high, level: 0.9 };
        assert!(tells(&gain(-3.0, 4.0)) && tells(&gain(-1000.0, 1000.0)));
        for [low, high] in [[-1e90, 4.0], [0.1, 1001.0], [f64::NAN, 4.0], [0.1, f64::INFINITY]] {
            assert!(!tells(&gain(low, high)), "{low} {high}");
        }
    }

    #[test]
    fn a_window_has_two_weeks_where_as_many_were_tried() {
        assert_eq!(widened([30.0, 60.0], [20.0, 80.0]), [30.0, 60.0]);
        assert_eq!(widened([50.0, 52.0], [20.0, 80.0]), [44.0, 58.0]);
        assert_eq!(widened([84.0, 85.0], [37.0, 85.0]), [71.0, 85.0]);
        assert_eq!(widened([40.0, 44.0], [38.0, 47.0]), [38.0, 47.0]);
        // What was advised stays within, whatever was tried.
        assert_eq!(widened([40.0, 44.0], [41.0, 43.0]), [40.0, 44.0]);
    }

    /// Seasons gave 4.9 to 9.4 kg: 19 kg and 2.4 kg are another matter, and so is what is no number.
    #[test]
    fn yields_far_from_those_on_record_are_no_ground_for_advice() {
        let of = |median: f64| {
            let expected = Interval { median, low: median, high: median, level: 0.95 };
            is_near(&expected, [4.9, 9.4])
        };
        assert!(of(2.5) && of(7.0) && of(18.7));
        assert!(!of(2.4) && !of(18.9) && !of(47.7) && !of(f64::NAN));
    }

    #[test]
    fn ranges_overlap_or_do_not() {
        assert_eq!(overlap([1, 5], [3, 9]), Some([3, 5]));
        assert_eq!(overlap([1, 2], [3, 9]), None);
    }
}
