//! Seeded draws.

use rand::{RngExt, SeedableRng, seq::SliceRandom};
use rand_chacha::ChaCha8Rng;

/// Generator named in every layout.
pub(super) const GENERATOR: &str = "ChaCha8";

/// A seeded generator.
#[derive(Debug, Clone)]
pub(super) struct Draw(ChaCha8Rng);

impl Draw {
    /// One independent stream of a seed.
    pub(super) fn stream(seed: u64, stream: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(stream);
        Self(rng)
    }

    /// Whole number from 0 to `below - 1`; 0 when `below` is 0.
    pub(super) fn index(&mut self, below: usize) -> usize {
        if below == 0 { 0 } else { self.0.random_range(0..below) }
    }

    /// Random order of 0 to `n - 1`, all equally likely.
    pub(super) fn permutation(&mut self, n: usize) -> Vec<usize> {
        let mut items: Vec<usize> = (0..n).collect();
        items.shuffle(&mut self.0);
        items
    }
}
