//! A packed matrix that is mostly zero, as its stretches of other entries.

use crate::vector::{add_scaled, long_dot};

/// Zeros between two stretches below which they are kept as one: to skip them costs more.
const JOINED: usize = 16;

/// The stretches of a packed matrix that hold something: trees of one region meet neither the
/// columns nor the levels of another.
#[derive(Debug, Clone, Default)]
pub(super) struct Stripes {
    /// Packed place of the first entry of each stretch, and the end of its values.
    stretches: Vec<(usize, usize)>,
    values: Vec<f64>,
}

impl Stripes {
    /// Of a packed matrix.
    pub fn of(packed: &[f64]) -> Stripes {
        let mut out = Stripes::default();
        let mut at = 0;
        while let Some(first) = packed[at..].iter().position(|x| *x != 0.0) {
            let start = at + first;
            let mut end = start + 1;
            // On to the next zeros that are many, or to the end.
            while let Some(gap) = packed[end..].iter().take(JOINED).position(|x| *x != 0.0) {
                end += gap + 1;
            }
            out.values.extend_from_slice(&packed[start..end]);
            out.stretches.push((start, out.values.len()));
            at = end;
        }
        out.values.shrink_to_fit();
        out
    }

    /// Entries kept.
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Calls `f` with the packed place and the values of each stretch.
    fn each<'s>(&'s self, mut f: impl FnMut(usize, &'s [f64])) {
        let mut begin = 0;
        for (start, end) in &self.stretches {
            f(*start, &self.values[begin..*end]);
            begin = *end;
        }
    }

    /// Adds the matrix times a factor to a packed one.
    pub fn add_to(&self, target: &mut [f64], factor: f64) {
        self.each(|start, values| {
            add_scaled(&mut target[start..start + values.len()], factor, values);
        });
    }

    /// Sum of products with a packed matrix.
    pub fn product(&self, packed: &[f64]) -> f64 {
        let mut sum = 0.0;
        self.each(|start, values| sum += long_dot(values, &packed[start..start + values.len()]));
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_give_the_sums_of_the_whole() {
        // Zeros in runs of every length about that which parts stretches, at the ends too.
        let mut packed = vec![0.0; 5];
        for run in 1..3 * JOINED {
            packed.push(run as f64);
            packed.extend(vec![0.0; run]);
        }
        for packed in [packed.clone(), packed.iter().rev().copied().collect(), vec![0.0; 40]] {
            let stripes = Stripes::of(&packed);
            let other: Vec<f64> = (0..packed.len()).map(|i| (i as f64).sin()).collect();
            let expected: f64 = packed.iter().zip(&other).map(|(a, b)| a * b).sum();
            assert!((stripes.product(&other) - expected).abs() < 1e-10);
            let mut sum = other.clone();
            stripes.add_to(&mut sum, -0.5);
            for ((found, x), y) in sum.iter().zip(&other).zip(&packed) {
                assert!((found - (x - 0.5 * y)).abs() < 1e-12);
            }
            assert!(stripes.values.len() <= packed.len());
        }
        assert!(Stripes::of(&packed).values.len() < packed.len() / 2);
    }
}
