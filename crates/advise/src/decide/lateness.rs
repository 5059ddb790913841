//! What it costs to prune later than the advised date.

use super::Evidences;
use super::gains::interval;
use crate::outcome::Lateness;
use model::{Practice, Summary};

/// Delays reported, days.
const DELAYS: [i32; 2] = [14, 28];

/// Loss of each delay against the practice on its date; nothing where timing is not part of the
/// model or nothing is pruned.
pub(super) fn lateness(evidence: &Evidences<'_>, practice: Practice, level: f64) -> Vec<Lateness> {
    let fit = evidence.fit;
    let Some(support) = fit.support.as_ref().filter(|_| fit.fixed_lead.is_none()) else {
        return Vec::new();
    };
    if practice.intensity <= 0.0 {
        return Vec::new();
    }
    let price = evidence.cost.objective().price_per_kg;
    DELAYS
        .into_iter()
        .map(|days| {
            let lead = practice.lead_days - f64::from(days);
            let supported = support.contains(practice.intensity, lead);
            let losses: Vec<f64> = fit
                .curve
                .expected_kg(practice.intensity, practice.lead_days)
                .zip(fit.curve.expected_kg(practice.intensity, lead))
                .map(|(on_time, late)| on_time - late)
                .collect();
            let summary = |factor: f64| {
                let values = losses.iter().map(|loss| factor * loss);
                supported.then(|| interval(Summary::of(values, level), level))
            };
            Lateness { days, loss_kg: summary(1.0), net_loss: summary(price) }
        })
        .collect()
}
