//! Odds of loss, break-even values and what-if of a practice beside present practice.

use super::gains::Gains;
use super::{Evidences, horizon};
use crate::outcome::{Interval, RegionReturns};
use crate::picture::AsPlanned;
use model::{Exploration, Practice};
use workplan::economics::{BreakEven, Change, PracticeCost, Prices, Scenario, WhatIf};

/// Hours and other money of one tree at an intensity.
fn cost_at(evidence: &Evidences<'_>, intensity: f64) -> PracticeCost {
    let cost = evidence.cost;
    let materials = if intensity > 0.0 { cost.materials } else { 0.0 };
    PracticeCost {
        hours: cost.rate.minutes(intensity) / 60.0,
        other: materials + cost.wood_full_canopy * intensity,
    }
}

fn present_cost(evidence: &Evidences<'_>) -> PracticeCost {
    let none = PracticeCost { hours: 0.0, other: 0.0 };
    evidence.practice.points.iter().fold(none, |sum, point| {
        let own = cost_at(evidence, point.intensity);
        PracticeCost {
            hours: sum.hours + point.weight * own.hours,
            other: sum.other + point.weight * own.other,
        }
    })
}

/// Returns of the candidate; `None` without draws.
pub(super) fn returns(
    evidence: &Evidences<'_>,
    gains: &Gains,
    level: f64,
) -> Option<RegionReturns> {
    let cost = evidence.cost;
    let prices =
        Prices { per_kg: cost.price_per_kg * cost.price_factor, per_hour: cost.wage_per_hour };
    let (own, present) = (cost_at(evidence, gains.intensity), present_cost(evidence));
    let over = |other: &[f64], hours: f64, money: f64| Change {
        gain_kg: gains.candidate.iter().zip(other).map(|(own, other)| own - other).collect(),
        hours,
        other: money,
        trees_per_ha: evidence.trees_per_ha,
    };
    let points = evidence.practice.points.iter();
    let wood_at_present: f64 = points.map(|point| point.weight * point.intensity).sum();
    let found = over(&gains.present, own.hours - present.hours, own.other - present.other)
        .returns(prices, level)?;
    // Without unpruned trees the comparison would be an extrapolation.
    let has_unpruned = evidence.fit.support.as_ref().is_some_and(|s| s.includes_unpruned());
    let unpruned = has_unpruned
        .then(|| over(&gains.unpruned, own.hours, own.other).returns(prices, level))
        .flatten();
    let quoted = |price: Option<f64>| price.map(|price| price / cost.price_factor);
    Some(RegionReturns {
        mean_net_gain: found.mean_per_tree,
        // Of no wood the gain is 0, without the sign that a product with 0 may have.
        wood_gain: cost.wood_full_canopy * (wood_at_present - gains.intensity) + 0.0,
        mean_net_over_unpruned: unpruned.map(|found| found.mean_per_tree),
        net_gain_per_ha: found.per_ha.map(|band| Interval {
            median: band.median,
            low: band.low,
            high: band.high,
            level: band.level,
        }),
        odds_of_loss: found.odds_of_loss,
        break_even_price: BreakEven {
            median: quoted(found.price.median),
            low: quoted(found.price.low),
            high: quoted(found.price.high),
            ..found.price
        },
        break_even_wage: found.wage,
    })
}

/// Everything that the page and the command need to ask what if.
pub(super) fn what_if(
    evidence: &Evidences<'_>,
    explored: &Exploration,
    gains: &Gains,
    candidate: Practice,
) -> Option<AsPlanned> {
    let cost = evidence.cost;
    let mut what_if = WhatIf {
        region: evidence.fit.region.clone(),
        price_factor: cost.price_factor,
        trees_per_ha: evidence.trees_per_ha,
        advised: cost_at(evidence, gains.intensity),
        present: present_cost(evidence),
        seasons: Vec::new(),
    };
    let as_planned = |seasons: usize| Scenario {
        price_per_kg: cost.price_per_kg,
        wage_per_hour: cost.wage_per_hour,
        yield_level: 1.0,
        seasons,
    };
    what_if.seasons = horizon::season_sums(evidence, explored, candidate, |seasons| {
        what_if.break_even_kg(&as_planned(seasons))
    });
    (!what_if.seasons.is_empty()).then_some(AsPlanned {
        price_per_kg: cost.price_per_kg,
        wage_per_hour: cost.wage_per_hour,
        what_if,
    })
}
