//! What it costs to prune later than the advised date.

use super::Evidences;
use super::gains::interval;
use crate::outcome::{Interval, Lateness};
use model::{Practice, Summary};

/// Delays reported, days.
const DELAYS: [i32; 2] = [14, 28];

/// Loss of each delay against the practice on its date, and the net return lost per day: the slope, in each
/// draw, of the least-squares line through no loss at no delay. Nothing where timing is not part of the
/// model or nothing is pruned.
pub(super) fn lateness(
    evidence: &Evidences<'_>,
    practice: Practice,
    level: f64,
) -> (Vec<Lateness>, Option<Interval>) {
    let fit = evidence.fit;
    let Some(support) = fit.support.as_ref().filter(|_| fit.fixed_lead.is_none()) else {
        return (Vec::new(), None);
    };
    if practice.intensity <= 0.0 {
        return (Vec::new(), None);
    }
    let price = evidence.cost.objective().price_per_kg;
    let mut products = vec![0.0; fit.curve.draws()];
    let mut squares = 0.0;
    let lateness = DELAYS
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
            if supported {
                squares += f64::from(days * days);
                for (sum, loss) in products.iter_mut().zip(&losses) {
                    *sum += f64::from(days) * loss;
                }
            }
            let summary = |factor: f64| {
                let values = losses.iter().map(|loss| factor * loss);
                supported.then(|| interval(Summary::of(values, level), level))
            };
            Lateness { days, loss_kg: summary(1.0), net_loss: summary(price) }
        })
        .collect();
    let slopes = products.iter().map(|sum| price * sum / squares);
    let per_day = (squares > 0.0).then(|| interval(Summary::of(slopes, level), level));
    (lateness, per_day)
}
