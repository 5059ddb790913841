//! Shapley values of additive parts under a link, against a background of earlier tree-seasons.

use super::{PARTS, Part};
use crate::scale::Scale;

const SETS: usize = 1 << PARTS;

/// Values of every set of known parts, kg, for rows against one background.
pub(super) struct Values {
    scale: Scale,
    constant: f64,
    /// Mean over the background of the link's moments in the sum of the parts outside a set.
    outside: [[f64; 2]; SETS],
}

impl Values {
    /// For every set, the moments of the parts outside it that the link needs: mean exp(b) for the
    /// logarithm, mean b and mean b^2 for the others. A background of n rows then costs n x 64 once
    /// and a row 64, whatever n.
    pub(super) fn new(scale: Scale, constant: f64, background: &[[f64; PARTS]]) -> Self {
        let mut outside = [[0.0; 2]; SETS];
        for parts in background {
            for (set, moments) in outside.iter_mut().enumerate() {
                let b = sum(parts, !set);
                let terms = match scale {
                    Scale::Log => [b.exp(), 0.0],
                    Scale::SquareRoot | Scale::Identity => [b, b * b],
                };
                moments[0] += terms[0];
                moments[1] += terms[1];
            }
        }
        let rows = background.len() as f64;
        outside.iter_mut().flatten().for_each(|moment| *moment /= rows);
        Self { scale, constant, outside }
    }

    /// Value of each set of parts of a row, the set as the bits of [`Part`].
    pub(super) fn of(&self, parts: &[f64; PARTS]) -> [f64; SETS] {
        std::array::from_fn(|set| {
            let a = self.constant + sum(parts, set);
            let [first, second] = self.outside[set];
            match self.scale {
                Scale::Log => a.exp() * first,
                Scale::SquareRoot => a * a + 2.0 * a * first + second,
                Scale::Identity => a + first,
            }
        })
    }
}

/// The set of all parts but these.
pub(super) fn all_but(left_out: &[Part]) -> usize {
    left_out.iter().fold(SETS - 1, |set, part| set & !(1 << *part as usize))
}

fn sum(parts: &[f64; PARTS], set: usize) -> f64 {
    parts.iter().enumerate().filter(|(k, _)| set >> k & 1 == 1).map(|(_, part)| part).sum()
}

/// Shapley values: for part k the sum over sets S without k of
/// |S|! (K - |S| - 1)! / K! (v(S with k) - v(S)) (Shapley 1953).
pub(super) fn shares(values: &[f64; SETS]) -> [f64; PARTS] {
    let factorial = |n: usize| (1..=n).product::<usize>() as f64;
    std::array::from_fn(|k| {
        (0..SETS)
            .filter(|set| set >> k & 1 == 0)
            .map(|set| {
                let size = set.count_ones() as usize;
                let weight = factorial(size) * factorial(PARTS - size - 1) / factorial(PARTS);
                weight * (values[set | 1 << k] - values[set])
            })
            .sum()
    })
}

/// Parts in kg of one row: its additive parts and those of a background, in the order of
/// [`Part::ALL`] on the model's scale, on top of `constant`. Returns the mean of the background in
/// kg and the six parts that lead from it to the row's value. An empty background gives NaN.
#[must_use]
pub fn attribute(
    scale: Scale,
    constant: f64,
    parts: &[f64; PARTS],
    background: &[[f64; PARTS]],
) -> (f64, [f64; PARTS]) {
    let values = Values::new(scale, constant, background).of(parts);
    (values[0], shares(&values))
}
