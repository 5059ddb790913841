//! The Halton sequence with a seeded shift.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

const PRIMES: [u32; 16] = [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53];

/// Most dimensions.
pub(crate) const MOST: usize = PRIMES.len();

/// Points 1, 2, ... of the sequence (Halton 1960), shifted modulo 1.
pub(crate) struct Halton {
    shift: Vec<f64>,
}

impl Halton {
    pub fn new(dimensions: usize, seed: u64) -> Halton {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        Halton { shift: (0..dimensions).map(|_| rng.random::<f64>()).collect() }
    }

    /// Point `index`, each coordinate strictly inside (0, 1).
    pub fn point(&self, index: usize) -> Vec<f64> {
        self.shift
            .iter()
            .zip(PRIMES)
            .map(|(shift, base)| {
                let u = (radical_inverse(index + 1, base as usize) + shift).fract();
                u.clamp(1e-12, 1.0 - 1e-12)
            })
            .collect()
    }
}

fn radical_inverse(mut index: usize, base: usize) -> f64 {
    let (mut value, mut digit) = (0.0, 1.0 / base as f64);
    while index > 0 {
        value += (index % base) as f64 * digit;
        index /= base;
        digit /= base as f64;
    }
    value
}
