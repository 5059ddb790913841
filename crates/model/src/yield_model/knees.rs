//! Where each region's plateau may begin, by what its records say.

use super::left_out::TreeSpread;
use super::shape_choice::unit;
use crate::curve::Knots;
use crate::support::UNPRUNED_BELOW;
use crate::table::TreeSeasons;
use linfa_rng::ChaCha8Rng;
use linfa_rng::rand_core::SeedableRng;

/// Knees tried: the least and the distance between them, as fractions of the canopy, and how many.
const FIRST: f64 = 0.10;
const STEP: f64 = 0.02;
const COUNT: usize = 26;

/// The knees tried.
pub(super) fn tried() -> impl Iterator<Item = f64> {
    (0..COUNT).map(|k| FIRST + STEP * k as f64)
}

/// Where the plateau of each region may begin: the knees tried with their posterior weights, for a
/// flat prior over those within the region's pruned intensities and normal errors.
pub(super) struct Knees {
    /// The likeliest knee of each region, by code.
    pub(super) best: Vec<f64>,
    /// Knees and weights of each region.
    weights: Vec<Vec<(f64, f64)>>,
}

impl Knees {
    pub(super) fn of(table: &TreeSeasons, levelled: &Levelled, knots: Knots) -> Self {
        let left: Vec<(f64, Vec<f64>)> =
            tried().map(|knee| (knee, levelled.unexplained(table, knee))).collect();
        let least =
            |region: usize| left.iter().map(|(_, own)| own[region]).fold(f64::INFINITY, f64::min);
        let weights: Vec<Vec<(f64, f64)>> = (0..table.region.len())
            .map(|region| {
                let own = (0..table.len())
                    .filter(|&row| table.region.codes[row] as usize == region)
                    .map(|row| table.intensity[row])
                    .filter(|intensity| *intensity >= UNPRUNED_BELOW);
                let (low, high) = own.fold((f64::INFINITY, 0.0_f64), |(low, high), intensity| {
                    (low.min(intensity), high.max(intensity))
                });
                let tried: Vec<(f64, f64)> = left
                    .iter()
                    .filter(|(knee, _)| (low..=high).contains(knee))
                    .map(|(knee, own)| {
                        let worse = (own[region] - least(region)) / levelled.variance;
                        (*knee, (-0.5 * worse).exp())
                    })
                    .collect();
                let sum: f64 = tried.iter().map(|(_, weight)| weight).sum();
                if sum > 0.0 {
                    tried.into_iter().map(|(knee, weight)| (knee, weight / sum)).collect()
                } else {
                    vec![(knots.knee, 1.0)]
                }
            })
            .collect();
        let best = weights
            .iter()
            .map(|own| {
                let best = own.iter().max_by(|a, b| a.1.total_cmp(&b.1));
                best.map_or(knots.knee, |(knee, _)| *knee)
            })
            .collect();
        Self { best, weights }
    }

    /// Knees of all regions from their weights, one vector for each of a number of fits, the likeliest first.
    /// Those of a region stand at evenly spaced probabilities, so that the few of them are its distribution as
    /// nearly as they can be and not as chance has it; which of them go together is drawn (Latin hypercube:
    /// McKay, Beckman and Conover 1979, Technometrics 21:239-245).
    pub(super) fn draws(&self, count: usize, seed: u64) -> Vec<Vec<f64>> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let others = count.saturating_sub(1);
        let mut all = vec![self.best.clone()];
        all.resize(count.max(1), Vec::with_capacity(self.weights.len()));
        for own in &self.weights {
            let mut places: Vec<usize> = (0..others).collect();
            for last in (1..others).rev() {
                places.swap(last, ((unit(&mut rng) * (last + 1) as f64) as usize).min(last));
            }
            for (fit, place) in all.iter_mut().skip(1).zip(places) {
                fit.push(at(own, (place as f64 + 0.5) / others as f64));
            }
        }
        all
    }
}

/// The knee at a probability of its weights, which add to 1.
fn at(own: &[(f64, f64)], probability: f64) -> f64 {
    let mut left = probability;
    let found = own.iter().find(|(_, weight)| {
        left -= weight;
        left <= 0.0
    });
    found.or(own.last()).map_or(0.0, |(knee, _)| *knee)
}

/// A response without everything but pruning and the trees' own levels, those taken out by as much
/// as their spread allows (quasi-demeaning, which turns generalised least squares with a random
/// level into ordinary ones: Fuller and Battese, 1973, J. Am. Stat. Assoc. 68:626-632). A tree that
/// keeps its intensity keeps the effect of it in its level, which must not be taken for the tree's.
pub(super) struct Levelled {
    /// Trees with their rows and the share of their mean that is taken out.
    trees: Vec<(Vec<usize>, f64)>,
    /// Transformed response.
    response: Vec<f64>,
    /// Residual variance.
    variance: f64,
}

impl Levelled {
    /// Of a response by row, for the spread of trees that a fit found.
    pub(super) fn new(table: &TreeSeasons, mut response: Vec<f64>, spread: TreeSpread) -> Self {
        let mut rows = vec![Vec::new(); table.tree.len()];
        for (row, &code) in table.tree.codes.iter().enumerate() {
            rows[code as usize].push(row);
        }
        let trees: Vec<(Vec<usize>, f64)> = rows
            .into_iter()
            .map(|rows| {
                let share = 1.0 - 1.0 / (1.0 + rows.len() as f64 * spread.ratio).sqrt();
                (rows, share)
            })
            .collect();
        demean(&trees, &mut response);
        Self { trees, response, variance: spread.residual }
    }

    /// Sum of squares that a plateau with a level and a rise of its own leaves in each region.
    pub(super) fn unexplained(&self, table: &TreeSeasons, knee: f64) -> Vec<f64> {
        let mut level = vec![1.0; table.len()];
        let mut rise: Vec<f64> = table
            .intensity
            .iter()
            .map(|intensity| {
                let x = (intensity / knee).min(1.0);
                x * (2.0 - x)
            })
            .collect();
        demean(&self.trees, &mut level);
        demean(&self.trees, &mut rise);
        let mut sums = vec![[0.0; 6]; table.region.len()];
        for (row, &y) in self.response.iter().enumerate() {
            let (c, x) = (level[row], rise[row]);
            let own = &mut sums[table.region.codes[row] as usize];
            for (sum, term) in own.iter_mut().zip([c * c, c * x, x * x, c * y, x * y, y * y]) {
                *sum += term;
            }
        }
        sums.iter()
            .map(|[cc, cx, xx, cy, xy, yy]| {
                if *cc == 0.0 {
                    return 0.0;
                }
                let (sxx, sxy, syy) = (xx - cx * cx / cc, xy - cx * cy / cc, yy - cy * cy / cc);
                if sxx > 1e-12 { syy - sxy * sxy / sxx } else { syy }
            })
            .collect()
    }
}

/// Takes a share of each tree's mean out of its rows.
fn demean(trees: &[(Vec<usize>, f64)], values: &mut [f64]) {
    for (rows, share) in trees {
        let sum: f64 = rows.iter().map(|&row| values[row]).sum();
        for &row in rows {
            values[row] -= share * sum / rows.len() as f64;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: algebra. Quasi-demeaned squares are the quadratic form in the inverse of
    /// sigma^2 (I + ratio J), times sigma^2: y'y - ratio / (1 + n ratio) (sum y)^2.
    #[test]
    fn quasi_demeaning_whitens_a_random_level() {
        let (ratio, rows) = (0.7_f64, vec![0, 1, 2]);
        let mut values = [1.0, -2.5, 0.4];
        let sum: f64 = values.iter().sum();
        let squares: f64 = values.iter().map(|y| y * y).sum();
        let expected = squares - ratio / (1.0 + 3.0 * ratio) * sum * sum;
        demean(&[(rows, 1.0 - 1.0 / (1.0 + 3.0 * ratio).sqrt())], &mut values);
        let found: f64 = values.iter().map(|y| y * y).sum();
        assert!((found - expected).abs() < 1e-12);
    }

    /// A quarter and three quarters: whatever the seed, four and twelve of sixteen fits beside the likeliest; which
    /// knees of two regions go together differs.
    #[test]
    fn knees_are_as_frequent_as_their_weights_say() {
        let own = vec![(0.2, 0.25), (0.3, 0.75)];
        let knees = Knees { best: vec![0.3, 0.3], weights: vec![own.clone(), own] };
        let mut together = Vec::new();
        for seed in 1..6 {
            let all = knees.draws(17, seed);
            assert_eq!((all.len(), &all[0]), (17, &knees.best));
            for region in 0..2 {
                let low = all.iter().skip(1).filter(|fit| fit[region] == 0.2).count();
                assert_eq!(low, 4);
            }
            together.push(all);
        }
        assert!(together.iter().any(|all| *all != together[0]));
    }
}
