//! Cholesky factor and inverse of large dense blocks, halved so that two threads share the work.

use crate::scratch::Scratch;
use crate::threads::join;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt;
use faer::linalg::matmul::matmul;
use faer::linalg::matmul::triangular::{self, BlockStructure};
use faer::linalg::triangular_inverse::invert_lower_triangular;
use faer::linalg::triangular_solve::{
    solve_lower_triangular_in_place, solve_upper_triangular_in_place,
};
use faer::reborrow::{Reborrow, ReborrowMut};
use faer::{Accum, MatMut, MatRef, Par, Spec};
use triangular::BlockStructure::{Rectangular, TriangularLower, TriangularUpper};

/// Sizes from which a block is halved. The halves are the same on any number
/// of threads, and so are the results.
const HALVE: usize = 256;

/// Replaces the lower triangle of a positive definite matrix by its Cholesky
/// factor; `None` when it is not positive definite to rounding.
pub(crate) fn cholesky(a: MatMut<'_, f64>) -> Option<()> {
    let n = a.nrows();
    if n < HALVE {
        return small_cholesky(a);
    }
    let half = n / 2;
    let (mut top, _, mut below, mut rest) = a.split_at_mut(half, half);
    cholesky(top.rb_mut())?;
    // A21 L11^-T, each thread its rows.
    let (upper, lower) = below.rb_mut().split_at_row_mut((n - half) / 2);
    let solve = |rows: MatMut<'_, f64>| {
        solve_lower_triangular_in_place(top.rb(), rows.transpose_mut(), Par::Seq);
    };
    join(|| solve(upper), || solve(lower));
    // A22 - A21 A21': columns so that both threads have like areas.
    let below = below.rb();
    let at = (n - half) * 3 / 10;
    let (left, right) = rest.rb_mut().split_at_col_mut(at);
    let (corner, side) = left.split_at_row_mut(at);
    let (head, tail) = (below.subrows(0, at), below.subrows(at, n - half - at));
    join(
        || {
            subtract(corner, TriangularLower, head, head);
            subtract(side, Rectangular, tail, head);
        },
        || {
            let (_, corner) = right.split_at_row_mut(at);
            subtract(corner, TriangularLower, tail, tail);
        },
    );
    cholesky(rest)
}

fn small_cholesky(a: MatMut<'_, f64>) -> Option<()> {
    let params: Spec<llt::factor::LltParams, f64> = Spec::default();
    let scratch = llt::factor::cholesky_in_place_scratch::<f64>(a.nrows(), Par::Seq, params);
    let mut memory = MemBuffer::new(scratch);
    let stack = MemStack::new(&mut memory);
    llt::factor::cholesky_in_place(a, Default::default(), Par::Seq, stack, params).ok().map(|_| ())
}

/// C - A B'.
fn subtract(c: MatMut<'_, f64>, shape: BlockStructure, a: MatRef<'_, f64>, b: MatRef<'_, f64>) {
    let b = b.transpose();
    triangular::matmul(c, shape, Accum::Add, a, Rectangular, b, Rectangular, -1.0, Par::Seq);
}

/// Lower triangle of (LL')^-1; parts of the upper one are overwritten.
///
/// By halves, with W = L21 L11^-1 and P22 = (L22 L22')^-1: the blocks of the
/// inverse are (L11 L11')^-1 + W' P22 W, -P22 W and P22.
pub(crate) fn inverse(l: MatRef<'_, f64>, out: MatMut<'_, f64>, scratch: &Scratch) {
    let n = l.nrows();
    if n < HALVE {
        small_inverse(l, out, scratch);
        return;
    }
    let half = n / 2;
    let l11 = l.submatrix(0, 0, half, half);
    let l22 = l.submatrix(half, half, n - half, n - half);
    let (mut o11, _, mut o21, mut o22) = out.split_at_mut(half, half);
    join(|| inverse(l11, o11.rb_mut(), scratch), || inverse(l22, o22.rb_mut(), scratch));
    mirror(o22.rb_mut());
    let mut memory = scratch.take((n - half) * half);
    let mut w = MatMut::from_column_major_slice_mut(&mut memory, n - half, half);
    w.copy_from(l.submatrix(half, 0, n - half, half));
    // Each thread its rows of W, its columns of -P22 W, its columns of the sum.
    let (upper, lower) = w.rb_mut().split_at_row_mut((n - half) / 2);
    let solve = |rows: MatMut<'_, f64>| {
        solve_upper_triangular_in_place(l11.transpose(), rows.transpose_mut(), Par::Seq);
    };
    join(|| solve(upper), || solve(lower));
    let (w, p22) = (w.rb(), o22.rb());
    let (left, right) = o21.rb_mut().split_at_col_mut(half / 2);
    let times = |out: MatMut<'_, f64>, w: MatRef<'_, f64>| {
        matmul(out, Accum::Replace, p22, w, -1.0, Par::Seq);
    };
    let (w_left, w_right) = w.split_at_col(half / 2);
    join(|| times(left, w_left), || times(right, w_right));
    let at = half * 3 / 10;
    let (left, right) = o11.split_at_col_mut(at);
    let (corner, side) = left.split_at_row_mut(at);
    let (head, tail) = (w.subcols(0, at).transpose(), w.subcols(at, half - at).transpose());
    let (p_head, p_tail) = (o21.rb().subcols(0, at), o21.rb().subcols(at, half - at));
    join(
        || {
            subtract(corner, TriangularLower, head, p_head.transpose());
            subtract(side, Rectangular, tail, p_head.transpose());
        },
        || {
            let (_, corner) = right.split_at_row_mut(at);
            subtract(corner, TriangularLower, tail, p_tail.transpose());
        },
    );
}

/// The same as X'X for X = L^-1.
fn small_inverse(l: MatRef<'_, f64>, out: MatMut<'_, f64>, scratch: &Scratch) {
    let n = l.nrows();
    let mut memory = scratch.take(n * n);
    let mut x = MatMut::from_column_major_slice_mut(&mut memory, n, n);
    invert_lower_triangular(x.rb_mut(), l, Par::Seq);
    triangular::matmul(
        out,
        TriangularLower,
        Accum::Replace,
        x.rb().transpose(),
        TriangularUpper,
        x.rb(),
        TriangularLower,
        1.0,
        Par::Seq,
    );
}

/// Copies the lower triangle onto the upper one.
fn mirror(mut a: MatMut<'_, f64>) {
    const TILE: usize = 16;
    let n = a.nrows();
    for j0 in (0..n).step_by(TILE) {
        for i0 in (j0..n).step_by(TILE) {
            for j in j0..(j0 + TILE).min(n) {
                for i in i0.max(j + 1)..(i0 + TILE).min(n) {
                    a[(j, i)] = a[(i, j)];
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use faer::Mat;
    use rand::{RngExt, SeedableRng};

    /// L L' is the matrix, and the inverse times it the identity.
    #[test]
    fn halves_factor_and_invert() {
        [37, 2 * HALVE + 37].into_iter().for_each(factors_and_inverts);
    }

    fn factors_and_inverts(n: usize) {
        let mut rng = rand_chacha::ChaCha12Rng::seed_from_u64(5);
        let root = Mat::<f64>::from_fn(n, n, |_, _| rng.random::<f64>() - 0.5);
        let a = &root * root.transpose() + Mat::<f64>::identity(n, n) * faer::Scale(1.0);
        let mut l = a.clone();
        cholesky(l.as_mut()).unwrap();
        for j in 0..n {
            for i in 0..j {
                l[(i, j)] = 0.0;
            }
        }
        // Nothing of what used memory holds may be read.
        let scratch = Scratch::default();
        scratch.soil(&[n * n, n * n]);
        let mut inverted = Mat::<f64>::from_fn(n, n, |_, _| f64::NAN);
        inverse(l.as_ref(), inverted.as_mut(), &scratch);
        for j in 0..n {
            for i in 0..j {
                inverted[(i, j)] = inverted[(j, i)];
            }
        }
        let (back, one) = (&l * l.transpose(), &inverted * &a);
        for j in 0..n {
            for i in 0..n {
                assert!((back[(i, j)] - a[(i, j)]).abs() < 1e-11);
                let expected = if i == j { 1.0 } else { 0.0 };
                assert!((one[(i, j)] - expected).abs() < 1e-9);
            }
        }
        let mut indefinite = a.clone();
        indefinite[(n - 1, n - 1)] = -1.0;
        assert!(cholesky(indefinite.as_mut()).is_none());
    }
}
