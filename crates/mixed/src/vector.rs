//! Products of long vectors, with the widest instructions of the machine.

use faer::traits::pulp::Arch;

/// Independent partial sums: enough to keep two vector units busy.
const LANES: usize = 16;

/// Sum of products of two slices of one length.
pub(crate) fn long_dot(a: &[f64], b: &[f64]) -> f64 {
    debug_assert_eq!(a.len(), b.len());
    if a.len() < LANES {
        return crate::small::dot(a, b);
    }
    Arch::new().dispatch(
        #[inline(always)]
        || {
            let mut sums = [0.0; LANES];
            let (x, y) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
            let rest = crate::small::dot(x.remainder(), y.remainder());
            for (x, y) in x.zip(y) {
                for ((s, x), y) in sums.iter_mut().zip(x).zip(y) {
                    *s += x * y;
                }
            }
            sums.iter().sum::<f64>() + rest
        },
    )
}

/// Adds `factor` times `from` to `into`.
pub(crate) fn add_scaled(into: &mut [f64], factor: f64, from: &[f64]) {
    debug_assert_eq!(into.len(), from.len());
    Arch::new().dispatch(
        #[inline(always)]
        || {
            for (a, b) in into.iter_mut().zip(from) {
                *a += factor * b;
            }
        },
    );
}

/// Multiplies entry by entry.
pub(crate) fn multiply_each(into: &mut [f64], by: &[f64]) {
    for (a, b) in into.iter_mut().zip(by) {
        *a *= b;
    }
}
