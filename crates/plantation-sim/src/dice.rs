//! Seeded random draws of the distributions that the simulation uses.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, Poisson, StandardNormal};

/// A seeded generator.
pub(crate) struct Dice(ChaCha8Rng);

impl Dice {
    /// One independent stream of a seed, so that a region's draws do not depend on its neighbours.
    pub(crate) fn stream(seed: u64, stream: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(stream);
        Self(rng)
    }

    /// Standard normal.
    pub(crate) fn normal(&mut self) -> f64 {
        self.0.sample(StandardNormal)
    }

    /// Uniform between two bounds.
    pub(crate) fn uniform(&mut self, (low, high): (f64, f64)) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// True with a probability.
    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        self.0.random::<f64>() < probability
    }

    /// Whole number from 0 to `below - 1`; 0 when `below` is 0.
    pub(crate) fn index(&mut self, below: usize) -> usize {
        if below == 0 { 0 } else { self.0.random_range(0..below) }
    }

    /// Log-normal with mean 1 and the given standard deviation of its logarithm.
    pub(crate) fn unit_log_normal(&mut self, log_sd: f64) -> f64 {
        (log_sd * self.normal() - log_sd * log_sd / 2.0).exp()
    }

    /// Gamma with the given shape and mean.
    pub(crate) fn gamma(&mut self, shape: f64, mean: f64) -> f64 {
        Gamma::new(shape, mean / shape).map_or(mean, |gamma| gamma.sample(&mut self.0))
    }

    /// Poisson count; 0 when the mean is not positive.
    pub(crate) fn poisson(&mut self, mean: f64) -> u32 {
        // The result is a whole number held in a float.
        Poisson::new(mean).map_or(0, |poisson| poisson.sample(&mut self.0) as u32)
    }

    /// Negative binomial count with variance mean + mean^2 / size.
    pub(crate) fn negative_binomial(&mut self, mean: f64, size: f64) -> u32 {
        let rate = self.gamma(size, mean);
        self.poisson(rate)
    }

    /// Puts the items of a slice in random order.
    pub(crate) fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            let other = self.index(last + 1);
            items.swap(last, other);
        }
    }
}

/// Standard deviation of the logarithm of a log-normal with a coefficient of variation:
/// sqrt(ln(1 + cv^2)).
pub(crate) fn log_sd(cv: f64) -> f64 {
    cv.mul_add(cv, 1.0).ln().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: mean m and variance m + m^2/k of the negative binomial, within five standard
    /// errors (those of the variance from its fourth moment, bounded by 3 %).
    #[test]
    fn negative_binomial_moments() {
        let mut dice = Dice::stream(1, 0);
        let n = 40_000;
        let draws: Vec<f64> = (0..n).map(|_| f64::from(dice.negative_binomial(8.0, 4.0))).collect();
        let mean = draws.iter().sum::<f64>() / f64::from(n);
        let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (f64::from(n) - 1.0);
        assert!((mean - 8.0).abs() < 5.0 * (24.0 / f64::from(n)).sqrt(), "{mean}");
        assert!((variance / 24.0 - 1.0).abs() < 0.06, "{variance}");
    }

    #[test]
    fn log_normal_has_mean_one_and_the_stated_cv() {
        let mut dice = Dice::stream(2, 0);
        let n = 40_000;
        let sd = log_sd(0.35);
        let draws: Vec<f64> = (0..n).map(|_| dice.unit_log_normal(sd)).collect();
        let mean = draws.iter().sum::<f64>() / f64::from(n);
        let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(n);
        assert!((mean - 1.0).abs() < 5.0 * 0.35 / f64::from(n).sqrt(), "{mean}");
        assert!((variance.sqrt() / mean / 0.35 - 1.0).abs() < 0.04, "{variance}");
    }
}
