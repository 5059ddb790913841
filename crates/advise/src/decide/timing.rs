//! The practice to advise: the best supported one, at the usual dates unless others are shown to pay.

use super::Evidences;
use model::{Exploration, Practice};

/// Advised intensities are rounded to this many steps of the canopy, 5 % each, when it costs next
/// to nothing.
const ROUND_STEPS: f64 = 20.0;
/// Probability of earning more that moving the pruning to other dates needs (ours: a convention). The best
/// of many dates looks better than it is, the usual ones do not.
const P_OTHER_DATES: f64 = 0.975;

/// The best supported practice; at the region's usual lead unless another lead very likely earns
/// more, by more than the tolerated loss; and whether it is at the usual one.
pub(super) fn candidate(
    evidence: &Evidences<'_>,
    explored: &Exploration,
    loss: f64,
) -> (Practice, bool) {
    let best = rounded(explored, explored.best, loss);
    let usual = evidence
        .fit
        .usual_lead
        .filter(|_| evidence.fit.fixed_lead.is_none() && best.intensity > 0.0)
        .and_then(|lead| explored.best_near(lead))
        .filter(|usual| usual.intensity > 0.0)
        .map(|usual| rounded(explored, usual, loss));
    match usual {
        Some(usual) if !moving_pays(evidence, best, usual, loss) => (usual, true),
        _ => (best, false),
    }
}

fn moving_pays(evidence: &Evidences<'_>, best: Practice, usual: Practice, loss: f64) -> bool {
    let curve = &evidence.fit.curve;
    let objective = evidence.cost.objective();
    let nets = |practice: Practice| {
        curve
            .expected_kg(practice.intensity, practice.lead_days)
            .map(move |kg| objective.net(kg, practice.intensity))
    };
    let gains: Vec<f64> = nets(best).zip(nets(usual)).map(|(best, usual)| best - usual).collect();
    let count = gains.len().max(1) as f64;
    let likely = gains.iter().filter(|gain| **gain > 0.0).count() as f64 / count;
    gains.iter().sum::<f64>() / count > loss && likely >= P_OTHER_DATES
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
