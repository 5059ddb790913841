//! What a trial says of the best intensity and date, beside the advice for its region.

use super::analysed::{AnalysedPart, AnalysedTrial};
use super::checks::standing_out;
use super::words::{decimals, first_comparison, main_effect_of, p_words};
use ::words::{counted, say, text};
use advise::{Advice, Evidence, Optimum, RegionAdvice, Verdict};
use records::TrialTrait;
use report::BesideTrial;
use std::collections::BTreeSet;
use trials::{Analysis, OptimumSet, Peak, amount_words};

/// Level at which a difference is called found.
const FOUND: f64 = 0.05;

/// For every trial of intensities or of dates: what each of the two rests on, how far apart they are and whether
/// their intervals overlap. A site stands beside the advice for its own region.
#[must_use]
pub fn beside(advice: &Advice, trials: &[AnalysedTrial]) -> Vec<BesideTrial> {
    trials
        .iter()
        .flat_map(|trial| {
            let regions: BTreeSet<&String> = trial.declared.region_of.values().collect();
            let advised = advice.regions.iter().filter(move |own| regions.contains(&own.region));
            advised.filter_map(move |region| in_region(trial, region))
        })
        .collect()
}

/// What the parts of a trial that lie in a region say beside its advice.
fn in_region(trial: &AnalysedTrial, region: &RegionAdvice) -> Option<BesideTrial> {
    let yields = super::counts::trait_of(TrialTrait::NutYield);
    let mut found = Vec::new();
    for part in trial.parts.iter().filter(|part| part.observed == yields) {
        let regions: BTreeSet<&String> =
            part.rows.tree.iter().filter_map(|tree| trial.declared.region_of.get(tree)).collect();
        if !regions.contains(&region.region) {
            continue;
        }
        let (intensity, dates) = (of_part(trial, part, region), of_dates(trial, part, region));
        if regions.len() == 1 {
            let is_said = intensity.is_some() || dates.is_some();
            found.extend(intensity.into_iter().chain(dates));
            // A finding that one plot may have made is not quoted without it.
            let analysis = part.outcome.as_ref().ok().filter(|_| is_said);
            found.extend(analysis.and_then(|own| standing_out(own, &part.rows)));
        } else if intensity.or(dates).is_some() {
            found.push(say!(
                "Of {} trees of several regions are analysed together, so that it stands beside no region's advice: name its sites by roles = {{ site = \"COLUMN\" }} to have each beside the advice for its region.",
                named(trial, part)
            ));
        }
    }
    if found.is_empty() {
        return None;
    }
    let unsettled = trial.declared.doubts.len() + trial.slips().len();
    if unsettled > 0 {
        found.push(say!(
            "{} of trial {}, listed under Data quality, should be settled before that is used.",
            counted(unsettled as u64, text!("finding on rows"), text!("findings on rows")),
            trial.declared.id
        ));
    }
    let together = match region.evidence {
        Evidence::Trial => Some(say!(
            "Those records are the rows of randomised trials alone, so that the two are not independent."
        )),
        Evidence::Mixed => Some(say!(
            "The rows of randomised trials already count as evidence in the yield model, so that the two are not independent."
        )),
        Evidence::Routine => None,
    };
    Some(BesideTrial {
        region: region.region.clone(),
        trial: trial.declared.id.clone(),
        basis: basis(region),
        words: found.join(" "),
        together: together.unwrap_or_default(),
    })
}

/// A part of a trial with its trees.
fn named(trial: &AnalysedTrial, part: &AnalysedPart) -> String {
    let id = &trial.declared.id;
    let trees: BTreeSet<&String> = part.rows.tree.iter().collect();
    let trees = counted(trees.len() as u64, text!("tree"), text!("trees"));
    match &part.site {
        Some(site) => say!("trial {id} at {site} ({trees})"),
        None => say!("trial {id} ({trees})"),
    }
}

/// A canopy fraction as per cent, without decimals.
fn whole(intensity: f64) -> String {
    amount_words((100.0 * intensity).round() / 100.0, "fraction")
}

/// What stands to be compared: the intensity advised, or kept.
fn advised(region: &RegionAdvice) -> Option<f64> {
    match region.verdict {
        Verdict::Prune => region.advised.as_ref().map(|advised| advised.intensity),
        Verdict::Keep => Some(region.present.intensity),
        Verdict::Trial => region.interim.as_ref().map(|interim| interim.intensity),
    }
}

/// What the advice rests on.
fn basis(region: &RegionAdvice) -> String {
    let name = &region.name;
    let records = counted(region.rows, text!("tree-season"), text!("tree-seasons"));
    let highest = match &region.yield_optimum {
        Some(best) => say!(
            "yield there is highest at {} ({} to {}, {} interval)",
            whole(best.median),
            whole(best.low),
            whole(best.high),
            whole(best.level)
        ),
        None => say!("they locate no highest yield"),
    };
    match (region.verdict, advised(region)) {
        (Verdict::Keep, Some(kept)) => say!(
            "For {name} the practice kept, {kept} of the canopy, rests on net return by all records of the region ({records}); {highest}.",
            kept = whole(kept)
        ),
        (_, Some(advised)) => say!(
            "For {name} the advice of {advised} rests on net return by all records of the region ({records}); {highest}.",
            advised = whole(advised)
        ),
        (_, None) => {
            say!(
                "For {name} no intensity is advised by all records of the region ({records}); {highest}."
            )
        }
    }
}

/// What a part of a trial says by itself; `None` where it compares no intensities.
fn of_part(trial: &AnalysedTrial, part: &AnalysedPart, region: &RegionAdvice) -> Option<String> {
    let analysis = part.outcome.as_ref().ok()?;
    let amounts = &trial.declared.declaration.amounts;
    let (factor, _) = amounts.iter().find(|(_, unit)| *unit == "fraction")?;
    let p = main_effect_of(analysis, factor)?;
    let named = named(trial, part);
    if p >= FOUND {
        return Some(say!(
            "By itself {named} found no difference in yield between intensities {}({}): it neither supports nor contradicts that.",
            tested(analysis, factor),
            p_words(p)
        ));
    }
    let curve =
        analysis.curves.iter().find(|curve| curve.factor == *factor && curve.within.is_none());
    let (best, how) = match curve.map(|curve| (curve, curve.maximum.peak)) {
        Some((curve, Peak::Inside { amount, .. })) => (amount, set_in_words(curve.maximum.set)),
        Some(_) => {
            (highest(analysis, factor)?, say!("highest mean; its curve has no best level inside"))
        }
        None => (highest(analysis, factor)?, say!("highest mean")),
    };
    let beside = advised(region).or(region.yield_optimum.as_ref().map(|best| best.median));
    let apart = beside.map_or_else(String::new, |beside| apart(best, beside));
    let overlap = region
        .yield_optimum
        .as_ref()
        .zip(curve.filter(|curve| matches!(curve.maximum.peak, Peak::Inside { .. })))
        .and_then(|(all, curve)| overlaps(all, curve.maximum.set?))
        .map_or("", |overlap| {
            if overlap {
                text!("; the two intervals overlap")
            } else {
                text!("; the two intervals do not overlap")
            }
        });
    Some(say!(
        "By itself {named} puts the highest yield at {best} ({how}){apart}{overlap}.",
        best = whole(best)
    ))
}

/// What a part of a trial says of dates by itself; `None` where it compares none.
fn of_dates(trial: &AnalysedTrial, part: &AnalysedPart, region: &RegionAdvice) -> Option<String> {
    let analysis = part.outcome.as_ref().ok()?;
    let mut amounts = trial.declared.declaration.amounts.iter();
    // As for the prunings on record: days may be of something else.
    let (factor, unit) =
        amounts.find(|(factor, unit)| *unit == "days" && factor.contains("lead"))?;
    let p = main_effect_of(analysis, factor)?;
    let own = analysis.plan.factors.iter().find(|own| own.name == *factor)?;
    let levels = &own.amounts.as_ref()?.values;
    let (low, high) = levels.first().zip(levels.last())?;
    let (low, high) = (amount_words(*low, unit), amount_words(*high, unit));
    let named = named(trial, part);
    let stated = region.advised.as_ref().or(region.interim.as_ref());
    let lead = match region.verdict {
        Verdict::Keep => region.present.lead_days,
        Verdict::Prune | Verdict::Trial => {
            stated.and_then(|own| region.gains_lead_days.or(own.lead_days))
        }
    };
    let days = |days: f64| amount_words(days.round(), unit);
    if p >= FOUND {
        let means = analysis.means.iter().find(|of| of.parts == [factor.as_str()]);
        let cd = means.and_then(first_comparison).and_then(|own| own.cd5);
        let digits = decimals(analysis.grand_mean);
        let (p, weight) = (p_words(p), &analysis.plan.observed.unit);
        let found = cd.map_or_else(|| p.clone(), |cd| say!("{p}; CD 5 % {cd:.digits$} {weight}"));
        return Some(match lead {
            Some(lead) => say!(
                "Of dates {named} by itself found no difference in yield between {low} and {high} before the flush ({found}): it neither supports nor contradicts the dates of about {} before it.",
                days(lead)
            ),
            None => say!(
                "Of dates {named} by itself found no difference in yield between {low} and {high} before the flush ({found})."
            ),
        });
    }
    let best = highest(analysis, factor)?;
    let p = p_words(p);
    let Some(lead) = lead else {
        return Some(say!(
            "Of dates {named} by itself puts the highest mean yield at {} before the flush ({p}).",
            days(best)
        ));
    };
    let nearest = levels.iter().min_by(|a, b| (*a - lead).abs().total_cmp(&(*b - lead).abs()))?;
    Some(if (nearest - best).abs() < 0.5 {
        say!(
            "Of dates {named} by itself puts the highest mean yield at {} before the flush ({p}), the nearest that it tried to the dates of about {} before it: it supports them.",
            days(best),
            days(lead)
        )
    } else {
        say!(
            "Of dates {named} by itself puts the highest mean yield at {} before the flush ({p}), not at {}, the nearest that it tried to the dates of about {} before it: it contradicts them.",
            days(best),
            days(*nearest),
            days(lead)
        )
    })
}

/// The least and the greatest intensity that were compared, before what follows; empty where they
/// are not known.
fn tested(analysis: &Analysis, factor: &str) -> String {
    let own = analysis.plan.factors.iter().find(|own| own.name == factor);
    let amounts = own.and_then(|own| own.amounts.as_ref());
    let ends = amounts.and_then(|amounts| amounts.values.first().zip(amounts.values.last()));
    ends.map_or_else(String::new, |(low, high)| {
        say!("from {} to {} ", amount_words(*low, "fraction"), amount_words(*high, "fraction"))
    })
}

/// How the curve of a trial tells its best level.
fn set_in_words(set: Option<OptimumSet>) -> String {
    match set {
        Some(OptimumSet::Interval { low, high, open_below: true, open_above: false }) => {
            say!("up to {} with 95 % confidence, open below the tested {}", whole(high), whole(low))
        }
        Some(OptimumSet::Interval { low, high, open_below: false, open_above: true }) => {
            say!("from {} with 95 % confidence, open above the tested {}", whole(low), whole(high))
        }
        Some(OptimumSet::Interval { open_below: true, open_above: true, .. })
        | Some(OptimumSet::WholeRange) => say!("by its curve, which excludes no tested level"),
        Some(OptimumSet::Interval { low, high, .. }) => {
            say!("{} to {} with 95 % confidence", whole(low), whole(high))
        }
        _ => say!("by its curve"),
    }
}

/// Level with the highest mean.
fn highest(analysis: &Analysis, factor: &str) -> Option<f64> {
    let means = analysis.means.iter().find(|of| of.parts == [factor])?;
    let known = means.means.iter().filter_map(|mean| Some((mean.levels.first()?, mean.mean?)));
    known.max_by(|a, b| a.1.total_cmp(&b.1))?.0.parse().ok()
}

/// How far the best level of a trial lies from the advice.
fn apart(best: f64, advised: f64) -> String {
    let points = (100.0 * best).round() - (100.0 * advised).round();
    // Whole and at most 100.
    let counted =
        counted(points.abs() as u64, text!("percentage point"), text!("percentage points"));
    if points > 0.0 {
        say!(", {counted} above it")
    } else if points < 0.0 {
        say!(", {counted} below it")
    } else {
        say!(", the same")
    }
}

/// Whether the interval of all records and the set of a trial have an intensity in common; `None`
/// where the set has no ends to compare.
fn overlaps(all: &Optimum, set: OptimumSet) -> Option<bool> {
    match set {
        OptimumSet::Interval { low, high, open_below, open_above } => {
            Some((open_above || all.low <= high) && (open_below || low <= all.high))
        }
        OptimumSet::TwoPieces { lower_end, upper_begin } => {
            Some(all.low <= lower_end || all.high >= upper_begin)
        }
        OptimumSet::WholeRange => Some(true),
        OptimumSet::Below | OptimumSet::Above | OptimumSet::Nowhere => None,
    }
}

#[cfg(test)]
mod tests {
    use super::{apart, overlaps};
    use advise::Optimum;
    use trials::OptimumSet;

    fn all(low: f64, high: f64) -> Optimum {
        Optimum {
            median: f64::midpoint(low, high),
            low,
            high,
            level: 0.95,
            p_lower_edge: 0.0,
            p_inside: 1.0,
            p_upper_edge: 0.0,
            p_bends_down: 1.0,
        }
    }

    #[test]
    fn intervals_overlap_when_they_share_an_intensity() {
        let set =
            |low, high| OptimumSet::Interval { low, high, open_below: false, open_above: false };
        assert_eq!(overlaps(&all(0.24, 0.30), set(0.28, 0.35)), Some(true));
        assert_eq!(overlaps(&all(0.24, 0.30), set(0.30, 0.35)), Some(true));
        assert_eq!(overlaps(&all(0.08, 0.12), set(0.28, 0.35)), Some(false));
        assert_eq!(overlaps(&all(0.40, 0.45), set(0.28, 0.35)), Some(false));
        // A set that is open goes on beyond what was tested.
        let open =
            OptimumSet::Interval { low: 0.25, high: 0.4, open_below: false, open_above: true };
        assert_eq!(overlaps(&all(0.42, 0.45), open), Some(true));
        assert_eq!(overlaps(&all(0.1, 0.2), open), Some(false));
        let pieces = OptimumSet::TwoPieces { lower_end: 0.1, upper_begin: 0.4 };
        assert_eq!(overlaps(&all(0.2, 0.3), pieces), Some(false));
        assert_eq!(overlaps(&all(0.2, 0.45), pieces), Some(true));
        assert_eq!(overlaps(&all(0.2, 0.3), OptimumSet::Above), None);
    }

    #[test]
    fn a_set_that_is_open_is_told_by_its_closed_end() {
        let curve = |open_below, open_above| {
            let set = OptimumSet::Interval { low: 0.25, high: 0.4, open_below, open_above };
            super::set_in_words(Some(set))
        };
        assert_eq!(curve(false, false), "25 % to 40 % with 95 % confidence");
        let above = "from 25 % with 95 % confidence, open above the tested 40 %";
        assert_eq!(curve(false, true), above);
        let below = "up to 40 % with 95 % confidence, open below the tested 25 %";
        assert_eq!(curve(true, false), below);
        assert_eq!(curve(true, true), super::set_in_words(Some(OptimumSet::WholeRange)));
    }

    #[test]
    fn distances_are_those_of_the_figures_shown() {
        assert_eq!(apart(0.3, 0.1), ", 20 percentage points above it");
        assert_eq!(apart(0.296, 0.31), ", 1 percentage point below it");
        assert_eq!(apart(0.304, 0.296), ", the same");
    }
}
