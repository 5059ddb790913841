//! The rule that turns odds into a verdict, and the sentence that says why.

use super::{Evidences, Gains};
use crate::outcome::{RegionAdvice, Verdict};
use model::{Exploration, HabitStatus, RegionFit};
use records::counted;
use words::{say, text};

/// Probability of earning more than present practice that a change needs.
const P_CHANGE: f64 = 0.90;
/// Probability of earning more than present practice with which the best supported practice is
/// followed until a trial has shown more: three in four, where a change for good needs nine in ten.
const P_MEANWHILE: f64 = 0.75;
/// Probability of being worth more than twice the tolerance that rules out keeping things as they are.
const P_MISSED: f64 = 0.20;
/// Share of draws with the best intensity at an edge of the tested range that rules out advice.
const P_EDGE: f64 = 0.25;
/// Fewest trees, seasons and pruned tree-seasons, and narrowest range of intensity, for advice.
const LEAST_TREES: u64 = 10;
const LEAST_SEASONS: u32 = 2;
const LEAST_PRUNED: u64 = 20;
const LEAST_RANGE: f64 = 0.10;
/// Fewest distinct intensities that show whether a curve bends.
const LEAST_LEVELS: usize = 3;

/// Least spread of intensities among trees of one site in one season, and least share of the unpruned tree-seasons
/// that stand beside pruned ones where the advice sets pruned against unpruned trees (ours: conventions, of no
/// published source).
const LEAST_SPREAD: f64 = 0.02;
const LEAST_BESIDE: f64 = 0.2;

/// Why a region's records cannot carry advice.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Obstacle {
    FewTrees(u64),
    FewSeasons(u32),
    FewPruned(u64),
    NarrowRange,
    FewLevels(usize),
    Habit,
    Seasons,
    UpperEdge(f64),
    LowerEdge(f64),
    NotConverged,
}

fn obstacles(evidence: &Evidences<'_>, explored: &Exploration) -> Vec<Obstacle> {
    let fit = evidence.fit;
    let mut found = Vec::new();
    let optima = &explored.net_optima;
    let range = fit.support.as_ref().map_or(0.0, |s| s.intensity[1] - s.intensity[0]);
    if !evidence.converged {
        found.push(Obstacle::NotConverged);
    }
    if fit.trees < LEAST_TREES {
        found.push(Obstacle::FewTrees(fit.trees));
    }
    if fit.pruned_rows < LEAST_PRUNED {
        found.push(Obstacle::FewPruned(fit.pruned_rows));
    }
    if range < LEAST_RANGE {
        found.push(Obstacle::NarrowRange);
    }
    if range >= LEAST_RANGE && is_of_seasons(evidence, explored) {
        found.push(Obstacle::Seasons);
    }
    let levels = fit.support.as_ref().map_or(0, |support| support.levels);
    if range >= LEAST_RANGE && levels < LEAST_LEVELS {
        found.push(Obstacle::FewLevels(levels));
        return with_history(fit, found);
    }
    if range >= LEAST_RANGE && optima.p_upper_edge > P_EDGE {
        found.push(Obstacle::UpperEdge(optima.p_upper_edge));
    }
    // An unpruned tree is a natural end of the range, not an untested one.
    let unpruned = fit.support.as_ref().is_some_and(model::Support::includes_unpruned);
    if range >= LEAST_RANGE && !unpruned && optima.p_lower_edge > P_EDGE {
        found.push(Obstacle::LowerEdge(optima.p_lower_edge));
    }
    with_history(fit, found)
}

/// Whether what is compared differs between seasons and hardly within them: pruning cannot be told from the season
/// then.
fn is_of_seasons(evidence: &Evidences<'_>, explored: &Exploration) -> bool {
    let within = evidence.fit.within;
    let best = explored.best.intensity;
    let with_unpruned = best <= 0.0 || evidence.practice.share_pruned < 0.5;
    within.spread < LEAST_SPREAD
        || with_unpruned && within.unpruned_beside.is_some_and(|share| share < LEAST_BESIDE)
}

/// Adds what the history of the trees cannot show.
fn with_history(fit: &RegionFit, mut found: Vec<Obstacle>) -> Vec<Obstacle> {
    if fit.habit == HabitStatus::Unresolved {
        found.push(Obstacle::Habit);
    }
    if fit.seasons < LEAST_SEASONS {
        found.push(Obstacle::FewSeasons(fit.seasons));
    }
    found
}

/// Whether the region's own records can bound a turning point at all.
pub(super) fn can_turn(fit: &RegionFit) -> bool {
    fit.support.as_ref().is_some_and(|support| {
        support.levels >= LEAST_LEVELS && support.intensity[1] - support.intensity[0] >= LEAST_RANGE
    }) && fit.habit != HabitStatus::Unresolved
}

/// `keep` when nothing worth the tolerance is missed, `prune` when a gain is likely and worth it,
/// `trial` when an obstacle stands in the way or the odds do not suffice.
pub(super) fn choose(
    evidence: &Evidences<'_>,
    explored: &Exploration,
    gains: &Gains,
    loss: f64,
) -> Verdict {
    let found = obstacles(evidence, explored);
    if !found.is_empty() {
        return Verdict::Trial;
    }
    let gain = gains.mean_net_gain();
    if gain <= loss && gains.p_net_gain_over(2.0 * loss) < P_MISSED {
        Verdict::Keep
    } else if gain > loss && gains.p_net_gain() >= P_CHANGE {
        Verdict::Prune
    } else {
        Verdict::Trial
    }
}

/// Whether the best supported practice should be followed until a trial has shown more: nothing but
/// the odds or a best intensity beyond what was tried stands in the way, and present practice
/// probably earns less. Trials take seasons, in which something has to be done.
pub(super) fn better_meanwhile(
    evidence: &Evidences<'_>,
    explored: &Exploration,
    gains: &Gains,
    loss: f64,
) -> bool {
    let found = obstacles(evidence, explored);
    found.iter().all(|o| matches!(o, Obstacle::UpperEdge(_) | Obstacle::LowerEdge(_)))
        && gains.mean_net_gain() > loss
        && gains.p_net_gain() >= P_MEANWHILE
}

/// One plain sentence for the chosen verdict.
pub(super) fn reason(
    evidence: &Evidences<'_>,
    advice: &RegionAdvice,
    explored: &Exploration,
    gains: &Gains,
) -> String {
    let said = match advice.verdict {
        Verdict::Prune => prune_reason(evidence, advice) + &later_seasons(advice),
        Verdict::Keep if advice.other_dates.is_some() => say!(
            "Present practice ({} of the canopy on average) is expected to earn within {} % of the best that the records support at the usual dates.",
            percent(advice.present.intensity),
            evidence.book.options.tolerance_pct
        ),
        Verdict::Keep => say!(
            "Present practice ({} of the canopy on average) is expected to earn within {} % of the best that the records support.",
            percent(advice.present.intensity),
            evidence.book.options.tolerance_pct
        ),
        Verdict::Trial => trial_reason(evidence, advice, explored),
    };
    let even = gains.mean_gain_of_evenness();
    let gain = gains.mean_net_gain();
    said + &from_evenness(advice, even, gain)
        + &from_dates(advice, gains.mean_gain_of_dates(), gain)
        + &from_wood(evidence, advice)
}

/// That the gain comes of other dates, where the advice moves them: the intensity alone would be credited with it.
fn from_dates(advice: &RegionAdvice, dates: f64, gain: f64) -> String {
    let is_advised = match advice.verdict {
        Verdict::Prune => advice.advised.is_some(),
        Verdict::Trial => advice.interim.is_some(),
        Verdict::Keep => false,
    };
    if !is_advised || advice.keeps_usual_dates || dates < MOST_OF_GAIN * gain {
        return String::new();
    }
    text!(" The gain comes mostly of the dates: trees pruned as hard as at present, but then, would bring most of it.")
        .to_owned()
}

/// Furthest of the advised intensity from the mean of present practice, and least share of the gain, for which
/// the gain is said to come of treating trees alike (ours: conventions).
const NEAR_MEAN: f64 = 0.05;
const MOST_OF_GAIN: f64 = 0.5;

/// That the gain comes of treating trees alike, where the advice is about the mean of a present practice that
/// is spread wide: the mean alone would look like no change.
fn from_evenness(advice: &RegionAdvice, even: Option<f64>, gain: f64) -> String {
    let advised = match advice.verdict {
        Verdict::Prune => advice.advised.as_ref(),
        Verdict::Trial => advice.interim.as_ref(),
        Verdict::Keep => None,
    };
    let present = &advice.present;
    let (Some(advised), Some([low, high]), Some(even)) = (advised, present.unlike(), even) else {
        return String::new();
    };
    if (advised.intensity - present.intensity).abs() > NEAR_MEAN || even < MOST_OF_GAIN * gain {
        return String::new();
    }
    say!(
        " The gain comes mostly of pruning every tree alike: present practice is near {} on average, but spread from {} to {}.",
        percent(advised.intensity),
        percent(low),
        percent(high)
    )
}

/// Share of the net gain from which cut wood is named beside it.
const MUCH_WOOD: f64 = 0.5;

/// That much of the gain is wood and not nuts, where it is.
fn from_wood(evidence: &Evidences<'_>, advice: &RegionAdvice) -> String {
    let (Some(returns), Some(best)) = (&advice.returns, &advice.yield_optimum) else {
        return String::new();
    };
    let gain = returns.mean_net_gain;
    if gain <= 0.0 || returns.wood_gain < MUCH_WOOD * gain {
        return String::new();
    }
    if returns.wood_gain > gain {
        return say!(
            " Wood, by its value less its haulage, makes {:.2} {} per tree of it, more than the whole of {:.2}: nuts less the work of pruning lose by it, and for yield alone {} looks best.",
            returns.wood_gain,
            evidence.book.economics.currency,
            gain,
            percent(best.median)
        );
    }
    say!(
        " Wood, by its value less its haulage, makes {:.2} of the {:.2} {} per tree by which the net return is expected to rise: for yield alone {} looks best.",
        returns.wood_gain,
        gain,
        evidence.book.economics.currency,
        percent(best.median)
    )
}

/// That the practice is expected to earn less when it is repeated, where it is.
fn later_seasons(advice: &RegionAdvice) -> String {
    match &advice.horizon {
        Some(over) if over.seasons > 1 && over.net_gain.median < 0.0 => say!(
            " Repeated over {} seasons it is expected to earn less than present practice, as a cut seems to lower the season after: decide anew each season.",
            over.seasons
        ),
        _ => String::new(),
    }
}

fn prune_reason(evidence: &Evidences<'_>, advice: &RegionAdvice) -> String {
    let intensity = advice.advised.as_ref().map_or(0.0, |advised| advised.intensity);
    let gain = advice.gain_over_present_kg.as_ref().map_or(f64::NAN, |gain| gain.median);
    let odds = odds(advice.p_gain.unwrap_or(f64::NAN));
    // An average of unlike trees says little of what a change from it would be.
    let present = match advice.present.unlike() {
        Some([low, high]) => say!(
            "{}, nine trees in ten from {} to {}",
            percent(advice.present.intensity),
            percent(low),
            percent(high)
        ),
        None => percent(advice.present.intensity),
    };
    let money = advice
        .net_gain_over_present
        .as_ref()
        .map_or_else(String::new, |net| say!("{:.2} {}", net.amount.median, net.currency));
    if intensity <= 0.0 {
        return say!(
            "Present practice (of the canopy, on average, {present}) costs more than it returns: leaving trees unpruned is expected to earn {money} more per tree, with a {odds} chance of earning more."
        );
    }
    let caution = if evidence.fit.fixed_lead.is_some() {
        text!(" The records do not show which date is best.")
    } else {
        ""
    };
    say!(
        "Removing {} of the canopy is expected to yield {gain:.2} kg per tree more than present practice (on average {present}), worth {money} per tree after cost, with a {odds} chance of earning more.{caution}",
        percent(intensity)
    )
}

fn trial_reason(evidence: &Evidences<'_>, advice: &RegionAdvice, explored: &Exploration) -> String {
    let found = obstacles(evidence, explored);
    let highest = advice.tested_intensity.map_or(0.0, |tested| tested[1]);
    let lowest = advice.tested_intensity.map_or(0.0, |tested| tested[0]);
    let parts: Vec<String> = found
        .iter()
        .map(|obstacle| match obstacle {
            Obstacle::UpperEdge(p) => say!(
                "the best intensity {} beyond the {} that was tried ({} chance), and no advice is given outside the tested range",
                lies(*p),
                percent(highest),
                odds(*p)
            ),
            Obstacle::LowerEdge(p) => say!(
                "the best intensity {} below the {} that was tried ({} chance)",
                lies(*p),
                percent(lowest),
                odds(*p)
            ),
            Obstacle::FewTrees(n) => {
                say!("only {} recorded", counted(*n, text!("tree is"), text!("trees are")))
            }
            Obstacle::FewSeasons(n) => say!(
                "only {} recorded",
                counted(u64::from(*n), text!("season is"), text!("seasons are"))
            ),
            Obstacle::FewPruned(n) => say!(
                "only {} recorded",
                counted(*n, text!("pruned tree-season is"), text!("pruned tree-seasons are"))
            ),
            Obstacle::NarrowRange => say!(
                "intensity hardly varies (from {} to {})",
                percent(lowest),
                percent(highest)
            ),
            Obstacle::NotConverged => {
                say!("the yield model found no optimum in these records")
            }
            Obstacle::FewLevels(0) => {
                say!("no intensity was tried often enough to show where the curve turns")
            }
            Obstacle::FewLevels(n) => say!(
                "only {} tried, which cannot show where the curve turns",
                counted(*n as u64, text!("intensity was"), text!("intensities were"))
            ),
            Obstacle::Seasons => {
                say!("what is compared was done in some seasons and hardly to trees beside others in one season, so the effect of pruning cannot be told from that of the season")
            }
            Obstacle::Habit => {
                say!("each tree was always pruned alike, so the effect of pruning cannot be told from the choice of trees")
            }
        })
        .collect();
    if parts.is_empty() {
        let p_gain = odds(advice.p_gain.unwrap_or(f64::NAN));
        return match &advice.interim {
            Some(interim) => say!(
                "{} has a {p_gain} chance of earning more than present practice: the better bet until a trial is read, too little for a change for good.",
                doing(interim.intensity)
            ),
            None => say!(
                "The best practice that the records support has a {p_gain} chance of earning more than present practice, too little for a change and too much to be sure that nothing is missed."
            ),
        };
    }
    let mut reason = sentence(&parts.join("; "));
    if let Some(interim) = &advice.interim {
        reason.push_str(&say!(
            " Within that range, {} has a {} chance of earning more than present practice.",
            doing(interim.intensity).to_lowercase(),
            odds(advice.p_gain.unwrap_or(f64::NAN))
        ));
    }
    reason
}

fn doing(intensity: f64) -> String {
    if intensity > 0.0 {
        say!("Removing {} of the canopy", percent(intensity))
    } else {
        say!("Leaving the trees unpruned")
    }
}

/// The sentence of a region whose records support no intensity at all.
pub(super) fn nothing_tested(name: &str) -> String {
    say!("The records of {name} support no intensity at all.")
}

/// The sentence of a region whose records leave the effect of pruning open altogether.
pub(super) fn nothing_told(name: &str) -> String {
    say!(
        "The records of {name} do not tell the effect of pruning at all: intensities were few, or differed between seasons alone."
    )
}

/// The sentence of a region whose expected yields are far from those on record.
pub(super) fn far_from_records(name: &str, expected: f64, [low, high]: [f64; 2]) -> String {
    say!(
        "The model expects {:.1} kg per tree of {name}, where seasons on record gave {:.1} to {:.1} kg on average: it takes one thing for another, most likely age, blocks and seasons that the records do not tell apart. Nothing is advised; leaving out planting dates that are guesses, or adding seasons, may help.",
        expected,
        low,
        high
    )
}

/// The sentence of a region without usable tree-seasons.
pub(super) fn no_records(name: &str) -> String {
    say!("No tree-season of {name} could be used.")
}

fn lies(probability: f64) -> &'static str {
    if probability > 0.5 { text!("probably lies") } else { text!("may lie") }
}

/// Capital letter first, full stop last.
fn sentence(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| {
        format!("{}{}.", first.to_uppercase(), characters.as_str())
    })
}

fn percent(fraction: f64) -> String {
    format!("{:.0} %", fraction * 100.0)
}

/// A probability for people: never 0 or 100 %, which draws cannot show.
fn odds(probability: f64) -> String {
    if probability > 0.99 {
        say!("more than 99 %")
    } else if probability < 0.01 {
        say!("less than 1 %")
    } else {
        percent(probability)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::Advised;

    /// Present practice of 30 % on average, spread from 10 to 60 %, beside an advice of 30 %: the gain is that of
    /// evenness, unless it comes of something else, the advice lies elsewhere, or trees are treated alike.
    #[test]
    fn a_gain_of_evenness_is_said_to_be_one() {
        let book = "[book]\nname = \"E\"\n[regions.coast]\nharvest = [\"02-01\", \"05-31\"]\n\
                    flush = [\"09-01\", \"11-30\"]\n[economics]\ncurrency = \"USD\"\n\
                    price_per_kg = 1\nwage_per_hour = 1\n";
        let book = records::Book::parse(book).unwrap();
        let practice = records::Practice::assumed("coast");
        let mut advice = crate::without_records(&book, "coast", &practice, 2026);
        advice.verdict = Verdict::Prune;
        (advice.present.intensity, advice.present.middle) = (0.3, Some([0.1, 0.6]));
        let to = |intensity| Some(Advised { intensity, lead_days: None, window: None });
        advice.advised = to(0.3);
        let said = from_evenness(&advice, Some(0.8), 1.0);
        assert!(said.contains("near 30 % on average, but spread from 10 % to 60 %"), "{said}");
        assert_eq!(from_evenness(&advice, Some(0.3), 1.0), "");
        assert_eq!(from_evenness(&advice, None, 1.0), "");
        advice.present.middle = Some([0.28, 0.32]);
        assert_eq!(from_evenness(&advice, Some(0.8), 1.0), "");
        (advice.present.middle, advice.advised) = (Some([0.1, 0.6]), to(0.4));
        assert_eq!(from_evenness(&advice, Some(0.8), 1.0), "");
        // Of other dates: where they are moved, and bring most of the gain.
        assert!(from_dates(&advice, 0.6, 1.0).contains("mostly of the dates"));
        assert_eq!(from_dates(&advice, 0.4, 1.0), "");
        advice.keeps_usual_dates = true;
        assert_eq!(from_dates(&advice, 0.6, 1.0), "");
    }

    #[test]
    fn odds_are_never_certain() {
        assert_eq!(odds(1.0), "more than 99 %");
        assert_eq!(odds(0.0), "less than 1 %");
        assert_eq!(odds(0.935), "94 %");
        assert_eq!(sentence("only 3 trees"), "Only 3 trees.");
    }
}
