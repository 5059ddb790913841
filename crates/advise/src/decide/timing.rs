//! The practice to advise: the best supported one, at the usual dates unless others are shown to pay.

use super::{Evidences, gains};
use crate::outcome::OtherDates;
use model::{Exploration, Practice, Summary};

/// Advised intensities are rounded to this many steps of the canopy, 5 % each, when it costs next
/// to nothing.
const ROUND_STEPS: f64 = 20.0;
/// Probability of earning more that moving the pruning to other dates needs (ours: a convention). The best
/// of many dates looks better than it is, the usual ones do not.
const P_OTHER_DATES: f64 = 0.975;

/// The practice whose gains are reckoned.
pub(super) struct Candidate {
    /// It.
    pub(super) practice: Practice,
    /// Whether it is at the region's usual lead.
    pub(super) keeps_usual_dates: bool,
    /// Other dates that are expected to earn more than it by over the tolerated loss.
    pub(super) other_dates: Option<OtherDates>,
}

/// The best supported practice; at the region's usual lead unless another lead very likely earns
/// more, by more than the tolerated loss.
pub(super) fn candidate(evidence: &Evidences<'_>, explored: &Exploration, loss: f64) -> Candidate {
    let best = rounded(explored, explored.best, loss);
    let usual = evidence
        .fit
        .usual_lead
        .filter(|_| evidence.fit.fixed_lead.is_none() && best.intensity > 0.0)
        .and_then(|lead| explored.best_near(lead))
        .filter(|usual| usual.intensity > 0.0)
        .map(|usual| rounded(explored, usual, loss));
    let moved = Candidate { practice: best, keeps_usual_dates: false, other_dates: None };
    let Some(usual) = usual else { return moved };
    let gains = gains_of_moving(evidence, best, usual);
    let count = gains.len().max(1) as f64;
    let chance = gains.iter().filter(|gain| **gain > 0.0).count() as f64 / count;
    let pays = gains.iter().sum::<f64>() / count > loss;
    if pays && chance >= P_OTHER_DATES {
        return moved;
    }
    let level = evidence.book.options.level;
    let other_dates = pays.then(|| OtherDates {
        lead_days: best.lead_days,
        net_gain: gains::interval(Summary::of(gains.into_iter(), level), level),
        chance,
    });
    Candidate { practice: usual, keeps_usual_dates: true, other_dates }
}

/// What the best practice earns more than that at the usual dates, draw by draw.
fn gains_of_moving(evidence: &Evidences<'_>, best: Practice, usual: Practice) -> Vec<f64> {
    let curve = &evidence.fit.curve;
    let objective = evidence.cost.objective();
    let nets = |practice: Practice| {
        curve
            .expected_kg(practice.intensity, practice.lead_days)
            .map(move |kg| objective.net(kg, practice.intensity))
    };
    nets(best).zip(nets(usual)).map(|(best, usual)| best - usual).collect()
}

/// A practice at a round intensity where that loses next to nothing.
fn rounded(explored: &Exploration, practice: Practice, loss: f64) -> Practice {
    let round = Practice {
        intensity: (practice.intensity * ROUND_STEPS).round() / ROUND_STEPS,
        ..practice
    };
    match (explored.net_of(round), explored.net_of(practice)) {
        (Some(net), Some(own)) if own - net <= loss / 4.0 => round,
        _ => practice,
    }
}
