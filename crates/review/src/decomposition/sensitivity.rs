//! How parts move with the effects of age, pruning and earlier crop, which are known with error.

use super::shapley::{Values, shares};
use super::{PARTS, Part};
use crate::scale::Scale;

/// Uncertain effects of the model.
pub(super) struct Effects {
    /// What a unit of each effect adds to the parts of each row.
    pub(super) columns: Vec<Vec<[f64; PARTS]>>,
    /// Covariance of the effects.
    pub(super) covariance: Vec<Vec<f64>>,
}

impl Effects {
    /// A unit of an effect with these values by row: it moves its own part; what the rows of a region
    /// and season share of it is taken from the season, the rest from the level if the effect stays
    /// with the tree (age) and from the unexplained if it comes and goes.
    pub(super) fn column(part: Part, values: &[f64], season: &[u32]) -> Vec<[f64; PARTS]> {
        let mut sums = vec![(0.0, 0.0); season.iter().max().map_or(0, |most| *most as usize + 1)];
        for (value, &season) in values.iter().zip(season) {
            let own = &mut sums[season as usize];
            *own = (own.0 + value, own.1 + 1.0);
        }
        let rest = if part == Part::Age { Part::Level } else { Part::Unexplained };
        let row = |(value, &season): (&f64, &u32)| {
            let (sum, n) = sums[season as usize];
            let mut parts = [0.0; PARTS];
            parts[part as usize] += value;
            parts[Part::Season as usize] -= sum / n;
            parts[rest as usize] -= value - sum / n;
            parts
        };
        values.iter().zip(season).map(row).collect()
    }

    /// Derivatives of the parts in kg of the closed rows of a region with respect to each effect, as
    /// differences over one standard error to either side; one list by effect for each row.
    pub(super) fn slopes(
        &self,
        (scale, constant): (Scale, f64),
        parts: &[[f64; PARTS]],
        (closed, earlier): (&[usize], &[usize]),
    ) -> Vec<Vec<[f64; PARTS]>> {
        let mut slopes = vec![Vec::with_capacity(self.columns.len()); closed.len()];
        for (effect, column) in self.columns.iter().enumerate() {
            let step = self.covariance[effect][effect].sqrt();
            let moved = |place: usize, step: f64| -> [f64; PARTS] {
                std::array::from_fn(|k| parts[place][k] + step * column[place][k])
            };
            let at = |step: f64| -> Vec<[f64; PARTS]> {
                let background: Vec<_> = earlier.iter().map(|&p| moved(p, step)).collect();
                let values = Values::new(scale, constant, &background);
                closed.iter().map(|&p| shares(&values.of(&moved(p, step)))).collect()
            };
            let (high, low) = (at(step), at(-step));
            for ((own, high), low) in slopes.iter_mut().zip(high).zip(low) {
                own.push(std::array::from_fn(|k| (high[k] - low[k]) / (2.0 * step)));
            }
        }
        slopes
    }
}

/// Derivatives by tree and effect, with the covariance of the effects.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Sensitivity {
    pub(super) slopes: Vec<Vec<[f64; PARTS]>>,
    pub(super) covariance: Vec<Vec<f64>>,
}

impl Sensitivity {
    /// Standard error of the mean of a part over trees, kg, by the delta method.
    pub(super) fn std_error(&self, part: Part, places: &[usize]) -> Option<f64> {
        if matches!(part, Part::Level | Part::Unexplained) || self.covariance.is_empty() {
            return None;
        }
        let mut gradient = vec![0.0; self.covariance.len()];
        for &place in places {
            for (sum, slope) in gradient.iter_mut().zip(self.slopes.get(place)?) {
                *sum += slope[part as usize] / places.len() as f64;
            }
        }
        let rows = self.covariance.iter().zip(&gradient);
        let variance: f64 = rows
            .map(|(row, a)| a * row.iter().zip(&gradient).map(|(v, b)| v * b).sum::<f64>())
            .sum();
        Some(variance.max(0.0).sqrt())
    }
}
