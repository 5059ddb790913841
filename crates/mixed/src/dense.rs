//! Cholesky factor and inverse of large dense blocks, halved so that two threads share the work.

use crate::scratch::Scratch;
use crate::threads::join;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt;
use faer::linalg::matmul::matmul;
use faer::linalg::matmul::triangular::{self, BlockStructure};
use faer::linalg::triangular_inverse::invert_lower_triangular;
use faer::linalg::triangular_solve::solve_lower_triangular_in_place;
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

/// Lower triangle of (LL')^-1.
pub(crate) fn inverse(l: MatRef<'_, f64>, out: MatMut<'_, f64>, scratch: &Scratch) {
    let n = l.nrows();
    let mut memory = scratch.take(n * n);
    let mut x = MatMut::from_column_major_slice_mut(&mut memory, n, n);
    if n < HALVE {
        invert_lower_triangular(x.rb_mut(), l, Par::Seq);
        gram(out, x.rb(), TriangularLower, Accum::Replace);
        return;
    }
    invert_lower(l, x.rb_mut(), scratch);
    // X'X by halves: X11'X11 + X21'X21, X22'X21 and X22'X22.
    let half = n / 2;
    let x = x.rb();
    let (x11, x21) = (x.submatrix(0, 0, half, half), x.submatrix(half, 0, n - half, half));
    let x22 = x.submatrix(half, half, n - half, n - half);
    let (mut o11, _, o21, o22) = out.split_at_mut(half, half);
    join(
        || {
            gram(o11.rb_mut(), x11, TriangularLower, Accum::Replace);
            gram(o11, x21, Rectangular, Accum::Add);
        },
        || {
            triangular::matmul(
                o21,
                Rectangular,
                Accum::Replace,
                x22.transpose(),
                TriangularUpper,
                x21,
                Rectangular,
                1.0,
                Par::Seq,
            );
            gram(o22, x22, TriangularLower, Accum::Replace);
        },
    );
}

/// Lower triangle of X'X, added or in place.
fn gram(out: MatMut<'_, f64>, x: MatRef<'_, f64>, shape: BlockStructure, add: Accum) {
    let turned = if shape == TriangularLower { TriangularUpper } else { Rectangular };
    let t = x.transpose();
    triangular::matmul(out, TriangularLower, add, t, turned, x, shape, 1.0, Par::Seq);
}

/// L^-1 by halves: X11, X22 and X21 = -X22 L21 X11.
fn invert_lower(l: MatRef<'_, f64>, x: MatMut<'_, f64>, scratch: &Scratch) {
    let n = l.nrows();
    let half = n / 2;
    let (mut x11, _, x21, mut x22) = x.split_at_mut(half, half);
    join(
        || invert_lower_triangular(x11.rb_mut(), l.submatrix(0, 0, half, half), Par::Seq),
        || {
            let l22 = l.submatrix(half, half, n - half, n - half);
            invert_lower_triangular(x22.rb_mut(), l22, Par::Seq);
        },
    );
    // Columns of X11 are taken with their zeros.
    for j in 1..half {
        x11.rb_mut().col_mut(j).subrows_mut(0, j).fill(0.0);
    }
    let (x11, x22) = (x11.rb(), x22.rb());
    let mut memory = scratch.take((n - half) * half);
    let middle = MatMut::from_column_major_slice_mut(&mut memory, n - half, half);
    let (left, right) = middle.split_at_col_mut(half / 2);
    let l21 = l.submatrix(half, 0, n - half, half);
    // L21 X11 and then -X22 times it, each thread its columns.
    let (x_left, x_right) = x21.split_at_col_mut(half / 2);
    let columns = |mut middle: MatMut<'_, f64>, out: MatMut<'_, f64>, first: usize| {
        let from = x11.submatrix(first, first, half - first, middle.ncols());
        let l21 = l21.subcols(first, half - first);
        matmul(middle.rb_mut(), Accum::Replace, l21, from, 1.0, Par::Seq);
        triangular::matmul(
            out,
            Rectangular,
            Accum::Replace,
            x22,
            TriangularLower,
            middle.rb(),
            Rectangular,
            -1.0,
            Par::Seq,
        );
    };
    join(|| columns(left, x_left, 0), || columns(right, x_right, half / 2));
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
