//! Stability of groups under resampling.

use super::ZoneSettings;
use super::k_means::k_means;
use crate::error::ReviewError;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use std::collections::BTreeSet;

/// Mean Jaccard similarity of each group with the most similar group of a bootstrap sample, over the
/// points that the sample holds (Hennig 2007, Comput. Stat. Data Anal. 52:258-271); NaN for a group
/// that no sample held.
pub(super) fn jaccard(
    points: &[Vec<f64>],
    codes: &[usize],
    groups: usize,
    settings: &ZoneSettings,
) -> Result<Vec<f64>, ReviewError> {
    let mut rng = ChaCha12Rng::seed_from_u64(settings.seed.wrapping_add(1));
    let mut sums = vec![(0.0, 0.0); groups];
    for _ in 0..settings.resamples {
        let sample: Vec<usize> =
            (0..points.len()).map(|_| rng.random_range(0..points.len())).collect();
        let drawn: Vec<Vec<f64>> = sample.iter().map(|&place| points[place].clone()).collect();
        let again = k_means(&drawn, groups, settings.starts, settings.seed)?.codes;
        let mut others: Vec<BTreeSet<usize>> = vec![BTreeSet::new(); groups];
        for (&place, &code) in sample.iter().zip(&again) {
            others[code].insert(place);
        }
        let held: BTreeSet<usize> = sample.into_iter().collect();
        for (group, sum) in sums.iter_mut().enumerate() {
            let own: BTreeSet<usize> =
                held.iter().copied().filter(|&place| codes[place] == group).collect();
            if own.is_empty() {
                continue;
            }
            let similarity = |other: &BTreeSet<usize>| {
                own.intersection(other).count() as f64 / own.union(other).count() as f64
            };
            sum.0 += others.iter().map(similarity).fold(0.0, f64::max);
            sum.1 += 1.0;
        }
    }
    Ok(sums.into_iter().map(|(sum, n)| sum / n).collect())
}
