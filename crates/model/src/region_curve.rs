//! A region's pruning surface as independent posterior draws, in kilograms per tree.

use crate::curve::{self, Knots, SHAPES};
use crate::scale::Scale;
use std::collections::BTreeMap;

/// Posterior draws of one region's expected yield as a function of intensity and lead.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionCurve {
    /// Region id.
    pub region: String,
    /// Scale on which the surface adds to the level.
    pub scale: Scale,
    /// Where the knotted curves among the draws bend.
    pub knots: Knots,
    /// Knee of each draw's plateau, which only draws of that family have a rise for.
    pub knees: Vec<f64>,
    /// Surface coefficients of each draw, in shape order, at the region's mean planting density;
    /// draws of different families are zero in one another's shapes.
    pub coefficients: Vec<[f64; SHAPES]>,
    /// Level of an unpruned average tree on the scale, one per draw.
    pub level: Vec<f64>,
    /// Variance around the level that enters the expected yield, one per draw.
    pub variance: Vec<f64>,
}

impl RegionCurve {
    /// Number of draws.
    #[must_use]
    pub fn draws(&self) -> usize {
        self.coefficients.len()
    }

    /// Expected yield, kg per tree, of each draw at an intensity (fraction) and lead (days).
    pub fn expected_kg(&self, intensity: f64, lead_days: f64) -> impl Iterator<Item = f64> + '_ {
        self.effects(intensity, lead_days).zip(self.level.iter().zip(&self.variance)).map(
            move |(effect, (level, variance))| self.scale.expected_kg(level + effect, *variance),
        )
    }

    /// Effect on the scale of each draw at a practice against an unpruned tree.
    fn effects(&self, intensity: f64, lead_days: f64) -> impl Iterator<Item = f64> + '_ {
        let shapes = curve::shapes(intensity, lead_days, self.knots);
        self.coefficients.iter().zip(&self.knees).map(move |(coefficients, &knee)| {
            if curve::has_rise(coefficients) {
                let own = curve::shapes(intensity, lead_days, self.knots.with_knee(knee));
                curve::combine(coefficients, &own)
            } else {
                curve::combine(coefficients, &shapes)
            }
        })
    }
}

impl RegionCurve {
    /// Expected yield, kg per tree, of each draw at a practice when something else moves the level
    /// by `shift` (one value per draw, on the curve's scale).
    pub fn expected_kg_shifted<'a>(
        &'a self,
        intensity: f64,
        lead_days: f64,
        shift: &'a [f64],
    ) -> impl Iterator<Item = f64> + 'a {
        let levels = self.level.iter().zip(&self.variance).zip(shift);
        self.effects(intensity, lead_days).zip(levels).map(
            move |(effect, ((level, variance), shift))| {
                self.scale.expected_kg(level + shift + effect, *variance)
            },
        )
    }

    /// Adds the draws of another curve of the same region with the same knots.
    pub(crate) fn append(&mut self, other: &Self) {
        self.coefficients.extend_from_slice(&other.coefficients);
        self.knees.extend_from_slice(&other.knees);
        self.level.extend_from_slice(&other.level);
        self.variance.extend_from_slice(&other.variance);
    }

    /// Keeps the first draws.
    pub(crate) fn truncate(&mut self, draws: usize) {
        self.coefficients.truncate(draws);
        self.knees.truncate(draws);
        self.level.truncate(draws);
        self.variance.truncate(draws);
    }

    /// Share of draws whose curve is less steep at the higher of two intensities.
    #[must_use]
    pub fn p_bends_down(&self, [low, high]: [f64; 2], lead_days: f64) -> f64 {
        let down = self.coefficients.iter().zip(&self.knees).filter(|(coefficients, knee)| {
            let slope = |intensity| {
                let knots = self.knots.with_knee(**knee);
                curve::combine(coefficients, &curve::shape_slopes(intensity, lead_days, knots))
            };
            slope(high) < slope(low)
        });
        down.count() as f64 / self.draws().max(1) as f64
    }
}

/// Mean of a region's posterior effect of pruning, on the model's scale: the draws collapsed once, so
/// that a value costs no more than a few sums however many draws there are.
#[derive(Debug, Clone, PartialEq)]
pub struct MeanEffect {
    knots: Knots,
    /// Summed coefficients of the draws without a plateau.
    smooth: [f64; SHAPES],
    /// Knee and summed coefficients of plateaus.
    plateaus: Vec<(f64, [f64; SHAPES])>,
    draws: f64,
}

impl MeanEffect {
    /// Mean over draws of the effect of a practice against an unpruned tree, on the model's scale.
    #[must_use]
    pub fn at(&self, intensity: f64, lead_days: f64) -> f64 {
        let of = |coefficients: &[f64; SHAPES], knots: Knots| {
            curve::combine(coefficients, &curve::shapes(intensity, lead_days, knots))
        };
        let plateaus: f64 =
            self.plateaus.iter().map(|(knee, sums)| of(sums, self.knots.with_knee(*knee))).sum();
        (of(&self.smooth, self.knots) + plateaus) / self.draws
    }
}

impl RegionCurve {
    /// The mean effect of its draws. A draw's effect is linear in its coefficients, so draws that share
    /// a knee collapse into their sum.
    #[must_use]
    pub fn mean_effect(&self) -> MeanEffect {
        let mut smooth = [0.0; SHAPES];
        let mut plateaus: BTreeMap<u64, [f64; SHAPES]> = BTreeMap::new();
        for (coefficients, knee) in self.coefficients.iter().zip(&self.knees) {
            let sums = if curve::has_rise(coefficients) {
                plateaus.entry(knee.to_bits()).or_insert([0.0; SHAPES])
            } else {
                &mut smooth
            };
            sums.iter_mut().zip(coefficients).for_each(|(sum, value)| *sum += value);
        }
        MeanEffect {
            knots: self.knots,
            smooth,
            plateaus: plateaus.into_iter().map(|(knee, s)| (f64::from_bits(knee), s)).collect(),
            draws: self.draws().max(1) as f64,
        }
    }
}

/// Quantile of values by linear interpolation between order statistics (type 7 of Hyndman and Fan,
/// 1996, Am. Stat. 50(4):361-365); NaN without values.
#[must_use]
pub fn quantile(sorted: &[f64], probability: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let position = probability.clamp(0.0, 1.0) * last as f64;
    let below = position.floor() as usize;
    let above = (below + 1).min(last);
    match (sorted.get(below), sorted.get(above)) {
        (Some(low), Some(high)) => low + (high - low) * (position - below as f64),
        _ => f64::NAN,
    }
}

/// Median and equal-tailed limits of draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// Median.
    pub median: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Mean.
    pub mean: f64,
}

impl Summary {
    /// Summarises draws with limits of the given probability content.
    #[must_use]
    pub fn of(draws: impl Iterator<Item = f64>, level: f64) -> Self {
        let mut sorted: Vec<f64> = draws.collect();
        sorted.sort_unstable_by(f64::total_cmp);
        Self {
            median: quantile(&sorted, 0.5),
            low: quantile(&sorted, (1.0 - level) / 2.0),
            high: quantile(&sorted, (1.0 + level) / 2.0),
            mean: sorted.iter().sum::<f64>() / sorted.len().max(1) as f64,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_effect_is_the_mean_over_draws() {
        let own = |place: usize, value: f64| {
            let mut coefficients = [0.0; SHAPES];
            coefficients[place] = value;
            coefficients
        };
        let coefficients = vec![
            own(0, 1.5),
            own(1, -0.4),
            own(SHAPES - 1, 0.2),
            own(2, 0.3),
            own(SHAPES - 1, 0.1),
        ];
        let curve = RegionCurve {
            region: "r".to_owned(),
            scale: Scale::Identity,
            knots: Knots::default(),
            knees: vec![0.3, 0.3, 0.25, 0.3, 0.4],
            level: vec![0.0; coefficients.len()],
            variance: vec![0.0; coefficients.len()],
            coefficients,
        };
        for (intensity, lead) in [(0.0, 40.0), (0.2, 30.0), (0.35, 70.0), (0.6, -5.0)] {
            let mean = curve.effects(intensity, lead).sum::<f64>() / curve.draws() as f64;
            assert!((curve.mean_effect().at(intensity, lead) - mean).abs() < 1e-14);
        }
    }

    #[test]
    fn quantiles_follow_type_7() {
        // R: quantile(c(1, 2, 4, 8), c(0.1, 0.5, 0.9)) gives 1.3, 3.0, 6.8 (from memory of type 7:
        // position 0.3, 1.5, 2.7).
        let sorted = [1.0, 2.0, 4.0, 8.0];
        for (probability, expected) in [(0.1, 1.3), (0.5, 3.0), (0.9, 6.8)] {
            assert!((quantile(&sorted, probability) - expected).abs() < 1e-12);
        }
        assert!(quantile(&[], 0.5).is_nan());
    }
}
