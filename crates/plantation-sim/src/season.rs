//! One tree in one season: visits, counts and picks from what happened to it.

use crate::dice::{Dice, log_sd};
use crate::rows::{FrameRow, PickRow, VisitRow, Work};
use crate::{Moisture, Plantation, RegionPlan};
use jiff::ToSpan;
use jiff::civil::Date;
use records::{RawIntensity, combine_prunings};

/// Elasticity of yield to flowering laterals, and the season's own spread of log laterals.
const ELASTICITY: f64 = 0.4;
const LATERALS_SD: f64 = 0.20;
/// Size of the negative binomial of frame counts: what a frame sees beyond the tree's mean.
const FRAME_SIZE: f64 = 15.0;
const FRAME_M2: f64 = 0.5;
const FLOWERING_SHARE: f64 = 0.62;

/// A tree-season's pruning: its visits and what they amount to.
pub(crate) struct Pruned {
    pub(crate) visits: Vec<VisitRow>,
    pub(crate) intensity: f64,
    pub(crate) lead_days: Option<f64>,
}

/// Turns an intended intensity and lead into recorded visits. The effect follows what is
/// recorded, so the records carry no error of measurement.
pub(crate) fn prune(
    (plantation, region): (&Plantation, &RegionPlan),
    (tree, season): (usize, i16),
    (intensity, lead_days): (f64, f64),
    counts_shoots: bool,
    dice: &mut Dice,
) -> Pruned {
    let mut intended = vec![(intensity, lead_days)];
    if dice.chance(region.second_visits) && intensity > 0.15 {
        // Two visits that together remove the same: 1 - (1 - a)(1 - b) = intensity.
        let second = 0.05;
        let earlier = (lead_days + 14.0).min(region.leads.1);
        intended = vec![(1.0 - (1.0 - intensity) / (1.0 - second), earlier), (second, lead_days)];
    }
    let visits: Vec<VisitRow> = intended
        .into_iter()
        .map(|(part, lead)| VisitRow {
            tree,
            date: region.calendar.date_of_lead(lead.round() as i32, season),
            intensity: recorded(part, counts_shoots, dice),
            work: region.work_recorded.then(|| work(plantation, part, dice)),
        })
        .collect();
    let pairs: Vec<(f64, f64)> = visits
        .iter()
        .map(|visit| {
            let lead = region.calendar.lead_days(visit.date, season);
            (visit.intensity.fraction().unwrap_or(0.0), f64::from(lead))
        })
        .collect();
    let (intensity, lead) = combine_prunings(&pairs).unwrap_or((0.0, 0.0));
    Pruned { visits, intensity, lead_days: (intensity > 0.0).then_some(lead) }
}

fn recorded(intensity: f64, counts_shoots: bool, dice: &mut Dice) -> RawIntensity {
    if counts_shoots {
        let total = f64::from(60 + dice.poisson(60.0));
        RawIntensity::Shoots { cut: (intensity * total).round().max(1.0), total }
    } else {
        RawIntensity::Fraction(((intensity * 100.0).round() / 100.0).max(0.01))
    }
}

fn work(plantation: &Plantation, intensity: f64, dice: &mut Dice) -> Work {
    let time = plantation.pruning_time();
    let mean = time.minutes_full_canopy.mul_add(intensity, time.minutes_per_tree);
    let minutes = (mean * dice.unit_log_normal(log_sd(0.2)) * 10.0).round() / 10.0;
    let per_canopy = [60.0, 24.0, 9.0, 1.5];
    let cuts = per_canopy.map(|cuts| dice.poisson(cuts * intensity));
    let large = cuts[2] + cuts[3];
    let tool = match cuts {
        [_, _, _, over_10] if over_10 > 0 => "power saw",
        [_, 0, 0, _] => "secateurs",
        _ => "pruning saw",
    };
    Work { minutes, cuts, tool, dressed: large > 0 && dice.chance(0.8) }
}

/// The season's own deviation of log laterals, and the factor it brings to yield (mean 1).
pub(crate) fn laterals_luck(dice: &mut Dice) -> (f64, f64) {
    let luck = LATERALS_SD * dice.normal();
    let sd = ELASTICITY * LATERALS_SD;
    (luck, (ELASTICITY * luck - sd * sd / 2.0).exp())
}

/// Frame counts on two sides of a tree, some weeks before harvest opens. Flowering laterals
/// follow the pruning ratio to the power share / elasticity, so that the stated share of the
/// pruning effect runs through them.
pub(crate) fn frames(
    region: &RegionPlan,
    (tree, season): (usize, i16),
    (intensity, ratio): (f64, f64),
    luck: f64,
    dice: &mut Dice,
) -> Vec<FrameRow> {
    let laterals = region.laterals_per_m2 * region.laterals_gain.mul_add(intensity, 1.0);
    let flowering = region.laterals_per_m2
        * FLOWERING_SHARE
        * ratio.max(0.0).powf(region.through_laterals / ELASTICITY);
    let share = (flowering / laterals).min(0.98);
    let opens = region.calendar.harvest_opens(season);
    let date = opens.saturating_sub((40 + dice.index(20) as i32).days());
    ["north", "south"]
        .into_iter()
        .map(|side| {
            let mean = FRAME_M2 * laterals * luck.exp();
            let count = dice.negative_binomial(mean, FRAME_SIZE);
            let flowering = (0..count).filter(|_| dice.chance(share)).count() as u32;
            FrameRow { tree, date, frame_m2: FRAME_M2, laterals: count, flowering, side }
        })
        .collect()
}

/// Three to five picks over the harvest window that add up to the yield, as weighed.
pub(crate) fn picks(
    region: &RegionPlan,
    reference_pct: f64,
    (tree, season): (usize, i16),
    yield_kg: f64,
    dice: &mut Dice,
) -> Vec<PickRow> {
    let opens = region.calendar.harvest_opens(season);
    let closes = region.calendar.harvest.close_of(season);
    let length = opens.until(closes).map_or(90, |span| span.get_days());
    let count = 3 + dice.index(3);
    let shares: Vec<f64> = (0..count).map(|_| dice.gamma(4.0, 1.0)).collect();
    let sum: f64 = shares.iter().sum();
    let part = f64::from(length) / count as f64;
    (0..count)
        .zip(shares)
        .map(|(pick, share)| {
            let day = (pick as f64 + dice.uniform((0.1, 0.9))) * part;
            let date: Date = opens.saturating_add((day as i32).days());
            let moisture_pct = match region.moisture {
                Moisture::Dry => None,
                Moisture::Wet { low, high } => {
                    Some((dice.uniform((low, high)) * 10.0).round() / 10.0)
                }
            };
            let moisture = moisture_pct.unwrap_or(reference_pct);
            let weighed = yield_kg * share / sum * (100.0 - reference_pct) / (100.0 - moisture);
            PickRow { tree, date, nut_kg: (weighed * 100.0).round() / 100.0, moisture_pct }
        })
        .collect()
}
