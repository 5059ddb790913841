//! Products of long vectors, with the widest instructions of the machine.

use faer::traits::pulp::{Arch, Simd, WithSimd};

/// Independent partial sums: enough to keep two vector units busy.
const LANES: usize = 16;

/// Sum of products of two slices of one length.
pub(crate) fn long_dot(a: &[f64], b: &[f64]) -> f64 {
    debug_assert_eq!(a.len(), b.len());
    if a.len() < LANES { crate::small::dot(a, b) } else { Arch::new().dispatch(Dot(a, b)) }
}

/// Adds `factor` times `from` to `into`.
pub(crate) fn add_scaled(into: &mut [f64], factor: f64, from: &[f64]) {
    debug_assert_eq!(into.len(), from.len());
    if into.len() < LANES {
        add(into, factor, from);
    } else {
        Arch::new().dispatch(AddScaled(into, factor, from));
    }
}

/// Multiplies entry by entry.
pub(crate) fn multiply_each(into: &mut [f64], by: &[f64]) {
    for (a, b) in into.iter_mut().zip(by) {
        *a *= b;
    }
}

/// Compiled for each instruction set.
struct Dot<'a>(&'a [f64], &'a [f64]);

impl WithSimd for Dot<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> f64 {
        let mut sums = [0.0; LANES];
        let (x, y) = (self.0.chunks_exact(LANES), self.1.chunks_exact(LANES));
        let rest = crate::small::dot(x.remainder(), y.remainder());
        for (x, y) in x.zip(y) {
            for ((s, x), y) in sums.iter_mut().zip(x).zip(y) {
                *s += x * y;
            }
        }
        sums.iter().sum::<f64>() + rest
    }
}

/// Compiled for each instruction set.
struct AddScaled<'a>(&'a mut [f64], f64, &'a [f64]);

impl WithSimd for AddScaled<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        add(self.0, self.1, self.2);
    }
}

#[inline(always)]
fn add(into: &mut [f64], factor: f64, from: &[f64]) {
    for (a, b) in into.iter_mut().zip(from) {
        *a += factor * b;
    }
}
