//! Cholesky factor of a block-arrow matrix: blocks first, then the border that they share.

use crate::dense::{cholesky, inverse};
use crate::matrix::Matrix;
use crate::scratch::Buffer;
use crate::shape::{Part, Shape};
use crate::vector::{add_scaled, long_dot};
use faer::linalg::matmul::{self, triangular};
use faer::linalg::triangular_inverse::invert_lower_triangular;
use faer::linalg::triangular_solve::solve_lower_triangular_in_place;
use faer::reborrow::{Reborrow, ReborrowMut};
use faer::{Accum, Mat, MatMut, MatRef, Par};
use std::sync::Arc;
use triangular::BlockStructure::{Rectangular, TriangularLower, TriangularUpper};

/// L with LL' = M in panels. The response's row holds L^-1 of the right-hand side.
#[derive(Debug, Clone)]
pub(crate) struct Factor {
    shape: Arc<Shape>,
    panels: Buffer,
}

fn panel<'a>(part: &Part, panels: &'a [f64]) -> MatRef<'a, f64> {
    MatRef::from_column_major_slice(&panels[part.range()], part.height, part.size)
}

/// C = B L^-T in the rows of the border that a block meets; those rows and columns of the border
/// lose C C'.
fn eliminate_met(part: &Part, met: &[usize], mine: &mut [f64], border: &mut [f64]) {
    let mut c = gathered(part, met, mine);
    let top = MatRef::from_column_major_slice(mine, part.height, part.size);
    let top = top.subrows(0, part.size);
    solve_lower_triangular_in_place(top, c.as_mut().transpose_mut(), Par::Seq);
    scatter(part, met, &c, mine);
    let mut product = Mat::<f64>::zeros(met.len(), met.len());
    triangular::matmul(
        product.as_mut(),
        TriangularLower,
        Accum::Replace,
        c.as_ref(),
        Rectangular,
        c.transpose(),
        Rectangular,
        1.0,
        Par::Seq,
    );
    let size = part.height - part.size;
    for (j, column) in met.iter().enumerate() {
        let to = &mut border[column * size..(column + 1) * size];
        for (row, x) in met[j..].iter().zip(&product.col_as_slice(j)[j..]) {
            to[*row] -= x;
        }
    }
}

/// Some rows of the border in a block's panel.
fn gathered(part: &Part, rows: &[usize], panel: &[f64]) -> Mat<f64> {
    let mut out = Mat::zeros(rows.len(), part.size);
    for (j, column) in panel.chunks_exact(part.height).enumerate() {
        let below = &column[part.size..];
        for (to, row) in out.col_as_slice_mut(j).iter_mut().zip(rows) {
            *to = below[*row];
        }
    }
    out
}

/// Puts values into some rows of the border in a block's panel.
fn scatter(part: &Part, rows: &[usize], values: &Mat<f64>, panel: &mut [f64]) {
    for (j, column) in panel.chunks_exact_mut(part.height).enumerate() {
        let below = &mut column[part.size..];
        for (row, x) in rows.iter().zip(values.col_as_slice(j)) {
            below[*row] = *x;
        }
    }
}

impl Factor {
    /// Factors the panels of M bordered by the right-hand side as the row of
    /// the response; `None` when M is not positive definite to rounding.
    pub fn new(shape: &Arc<Shape>, mut panels: Buffer) -> Option<Factor> {
        let edge = shape.border();
        let (blocks, last) = panels.split_at_mut(edge.panel);
        for part in shape.blocks() {
            let mine = &mut blocks[part.range()];
            let view = MatMut::from_column_major_slice_mut(&mut *mine, part.height, part.size);
            let (mut top, mut bottom) = view.split_at_row_mut(part.size);
            cholesky(top.rb_mut())?;
            // C = B L^-T, and the border loses C C'.
            if let Some(met) = &part.met {
                eliminate_met(part, met, mine, last);
                continue;
            }
            let mut border = MatMut::from_column_major_slice_mut(&mut *last, edge.size, edge.size);
            solve_lower_triangular_in_place(top.rb(), bottom.rb_mut().transpose_mut(), Par::Seq);
            triangular::matmul(
                border.rb_mut(),
                TriangularLower,
                Accum::Add,
                bottom.rb(),
                Rectangular,
                bottom.rb().transpose(),
                Rectangular,
                -1.0,
                Par::Seq,
            );
        }
        let inner = edge.size - 1;
        let border = MatMut::from_column_major_slice_mut(last, edge.size, edge.size);
        let (top, bottom) = border.split_at_row_mut(inner);
        let mut top = top.subcols_mut(0, inner);
        cholesky(top.rb_mut())?;
        let right = bottom.subcols_mut(0, inner);
        solve_lower_triangular_in_place(top.rb(), right.transpose_mut(), Par::Seq);
        Some(Factor { shape: Arc::clone(shape), panels })
    }

    /// Log-determinants of the random and of the fixed part.
    pub fn log_determinants(&self) -> (f64, f64) {
        let (mut random, mut fixed) = (0.0, 0.0);
        let edge = self.shape.border();
        for part in &self.shape.parts {
            for j in 0..part.size {
                let x = 2.0 * self.panels[part.panel + j * part.height + j].ln();
                if part.start < edge.start || j < self.shape.border_random {
                    random += x;
                } else if j + 1 < edge.size {
                    fixed += x;
                }
            }
        }
        (random, fixed)
    }

    /// Solution for the right-hand side given with the panels, by position.
    pub fn solution(&self) -> Vec<f64> {
        let mut z = Vec::with_capacity(self.shape.width());
        for part in &self.shape.parts {
            z.extend((0..part.size).map(|j| self.panels[part.panel + (j + 1) * part.height - 1]));
        }
        z.pop();
        self.back(&mut z);
        z
    }

    /// v -> L^-T v, by position (without the response).
    pub fn back(&self, v: &mut [f64]) {
        let edge = self.shape.border();
        for part in self.shape.parts.iter().rev() {
            let (own, border) = v.split_at_mut(edge.start);
            let (own, border): (&mut [f64], &[f64]) = if part.start == edge.start {
                (border, &[])
            } else {
                (&mut own[part.start..part.start + part.size], border)
            };
            for j in (0..own.len()).rev() {
                let column = &self.panels[part.panel + j * part.height..][..part.height];
                let mut x = own[j] - long_dot(&column[j + 1..own.len()], &own[j + 1..]);
                if !border.is_empty() {
                    x -= long_dot(&column[part.size..part.size + border.len()], border);
                }
                own[j] = x / column[j];
            }
        }
    }

    /// v -> L^-1 v, by position (without the response).
    pub fn forward(&self, v: &mut [f64]) {
        let edge = self.shape.border();
        for part in &self.shape.parts {
            let (own, border) = v.split_at_mut(edge.start);
            let (own, border): (&mut [f64], &mut [f64]) = if part.start == edge.start {
                (border, &mut [])
            } else {
                (&mut own[part.start..part.start + part.size], border)
            };
            for j in 0..own.len() {
                let column = &self.panels[part.panel + j * part.height..][..part.height];
                let x = own[j] / column[j];
                own[j] = x;
                let (_, later) = own.split_at_mut(j + 1);
                add_scaled(later, -x, &column[j + 1..j + 1 + later.len()]);
                let length = border.len();
                add_scaled(border, -x, &column[part.size.min(part.height - length)..][..length]);
            }
        }
    }

    /// The entries of M^-1 in the pattern of M, in panels, lower triangles
    /// alone or mirrored; zero in the response's row, in rows of the border that
    /// a block is noted not to meet, and from position `border` of the border on
    /// (the inverse of the leading part alone).
    pub fn inverse_in_pattern(&self, border: usize, mirrored: bool) -> Buffer {
        let shape = &self.shape;
        let edge = shape.border();
        let scratch = self.panels.home();
        let mut out = scratch.zeros(shape.panels_len);
        let (blocks, last) = out.split_at_mut(edge.panel);
        let l = panel(edge, &self.panels).submatrix(0, 0, border, border);
        let mut inner = MatMut::from_column_major_slice_mut(&mut *last, edge.size, edge.size);
        inverse(l, inner.rb_mut().submatrix_mut(0, 0, border, border), scratch);
        if mirrored || !shape.blocks().is_empty() {
            shape.mirror(edge, last);
        }
        let inner = MatRef::from_column_major_slice(last, edge.size, edge.size);
        let inner = inner.submatrix(0, 0, border, border);
        for part in shape.blocks() {
            let (top, bottom) = panel(part, &self.panels).split_at_row(part.size);
            // Rows that a block does not meet are 0 in C and W, and not asked for.
            let met = part.met.as_ref().map(|met| {
                let rows = &met[..met.partition_point(|row| *row < border)];
                let mut among = Mat::zeros(rows.len(), rows.len());
                for (j, column) in rows.iter().enumerate() {
                    let from = &last[column * edge.size..(column + 1) * edge.size];
                    for (to, row) in among.col_as_slice_mut(j).iter_mut().zip(rows) {
                        *to = from[*row];
                    }
                }
                (rows, gathered(part, rows, &self.panels[part.range()]), among)
            });
            let (c, inner) = match &met {
                Some((_, c, among)) => (c.as_ref(), among.as_ref()),
                None => (bottom.subrows(0, border), inner),
            };
            let mut g = Mat::<f64>::zeros(part.size, part.size);
            invert_lower_triangular(g.as_mut(), top, Par::Seq);
            // W = C L^-1; the blocks are -P W and L^-T L^-1 + W'P W.
            let mut w = Mat::<f64>::zeros(c.nrows(), part.size);
            triangular::matmul(
                w.as_mut(),
                Rectangular,
                Accum::Replace,
                c,
                Rectangular,
                g.as_ref(),
                TriangularLower,
                1.0,
                Par::Seq,
            );
            let mine = &mut blocks[part.range()];
            let few = met.as_ref().map(|(rows, ..)| {
                let mut few = Mat::zeros(rows.len(), part.size);
                matmul::matmul(&mut few, Accum::Replace, inner, w.as_ref(), -1.0, Par::Seq);
                scatter(part, rows, &few, mine);
                few
            });
            let view = MatMut::from_column_major_slice_mut(mine, part.height, part.size);
            let (mut own, below) = view.split_at_row_mut(part.size);
            let mut below = below.subrows_mut(0, border);
            let below = match &few {
                Some(few) => few.as_ref(),
                None => {
                    let whole = below.rb_mut();
                    matmul::matmul(whole, Accum::Replace, inner, w.as_ref(), -1.0, Par::Seq);
                    below.rb()
                }
            };
            triangular::matmul(
                own.rb_mut(),
                TriangularLower,
                Accum::Replace,
                g.transpose(),
                TriangularUpper,
                g.as_ref(),
                TriangularLower,
                1.0,
                Par::Seq,
            );
            triangular::matmul(
                own.rb_mut(),
                TriangularLower,
                Accum::Add,
                w.transpose(),
                Rectangular,
                below,
                Rectangular,
                -1.0,
                Par::Seq,
            );
            if mirrored {
                shape.mirror(part, mine);
            }
        }
        out
    }

    /// The whole of M^-1, by column of the system.
    pub fn inverse(&self) -> Matrix {
        let m = self.shape.width() - 1;
        let place = &self.shape.place;
        let mut out = Matrix::zeros(m, m);
        if self.shape.blocks().is_empty() {
            let edge = self.shape.border();
            let all = self.inverse_in_pattern(m, true);
            for i in 0..m {
                for j in 0..m {
                    out[(i, j)] = all[place[j] * edge.height + place[i]];
                }
            }
            return out;
        }
        for i in 0..m {
            let mut unit = vec![0.0; m];
            unit[place[i]] = 1.0;
            self.forward(&mut unit);
            self.back(&mut unit);
            out.row_mut(i).copy_from_slice(&self.shape.restored(&unit));
        }
        out
    }

    /// M^-1 among the fixed columns.
    pub fn fixed_inverse(&self) -> Matrix {
        let edge = self.shape.border();
        let first = self.shape.border_random;
        let p = edge.size - 1 - first;
        // The trailing block of the inverse is the inverse of the trailing factor.
        let l = panel(edge, &self.panels).submatrix(first, first, p, p);
        let mut out = Mat::<f64>::zeros(p, p);
        inverse(l, out.as_mut(), self.panels.home());
        let mut out = Matrix::from_dense(out.as_ref());
        out.mirror();
        out
    }
}
