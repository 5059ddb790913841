//! The exact gradient of the criterion with respect to theta.

use crate::criterion::{Solved, shrinkage};
use crate::layout::FactorLayout;
use crate::matrix::Matrix;
use crate::settings::Criterion;
use crate::small::{product, transpose};
use crate::spread::Spread;
use crate::system::System;
use crate::vector::long_dot;
use faer::Side;

/// Derivatives by theta entry.
#[derive(Debug, Clone)]
pub(crate) struct Gradient {
    /// Of the log-determinant part.
    pub log_det: Vec<f64>,
    /// Of the penalised residual sum of squares.
    pub rss: Vec<f64>,
}

/// Two columns of equal length that belong together.
type ColumnPair = (Vec<f64>, Vec<f64>);

impl System {
    /// Gradient parts at a factored theta.
    ///
    /// d log|M| = tr(M^-1 dM) and, by the envelope theorem, d r^2 is the
    /// derivative with the solution held fixed; with B = R'R - sum_g S_g'DS_g
    /// both reduce to k x k contractions of pooled cross-products. Only the
    /// entries of M^-1 in the pattern of M are needed.
    pub fn gradient(&self, s: &Solved) -> Gradient {
        let shape = &self.shape;
        // P with d log-determinant = tr(P dM): M^-1 under REML, the inverse of
        // the random block alone under ML.
        let border = match self.criterion {
            Criterion::Reml => shape.border().size - 1,
            Criterion::Ml => shape.border_random,
        };
        let p = s.factor.inverse_in_pattern(border);
        let (u, mut by_factor) = self.other_part(s, p);
        if let Some(f) = self.layout.eliminated {
            by_factor[f] = self.eliminated_part(s, f, &u);
        }
        let mut out = Gradient { log_det: Vec::new(), rss: Vec::new() };
        for e in &self.entries {
            let (log_det, rss) = &by_factor[e.factor];
            let k = self.layout.factors[e.factor].k();
            out.log_det.push(log_det[e.row * k + e.column]);
            out.rss.push(rss[e.row * k + e.column]);
        }
        out
    }

    /// Gradient of the profiled criterion.
    pub fn criterion_gradient(&self, s: &Solved) -> Vec<f64> {
        let g = self.gradient(s);
        let weight = self.divisor() / s.rss;
        g.log_det.iter().zip(&g.rss).map(|(a, b)| a + weight * b).collect()
    }

    /// Derivatives by the entries of Lambda (row, column) of the eliminated factor.
    fn eliminated_part(&self, s: &Solved, f: usize, u: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let k = self.layout.k();
        let lambda = &s.lambdas[f];
        let w = self.shape.ordered(&s.residual);
        let ww = self.shape.doubled_square(&w);
        let sums = self.pools.contract(k, &self.shape, u, &ww, &w);
        let (mut by_log_det, mut by_rss) = (vec![0.0; k * k], vec![0.0; k * k]);
        for (pool, (trace, square)) in self.pools.iter().zip(&sums) {
            let (d, h, _) = shrinkage(lambda, &pool.zz, k);
            // H Lambda', then (I - D ZZ) on the right.
            let hl = product(&h, &transpose(lambda, k), k);
            let mut keep = product(&d, &pool.zz, k);
            for x in &mut keep {
                *x = -*x;
            }
            for j in 0..k {
                keep[j * k + j] += 1.0;
            }
            let own = product(&hl, &pool.zz, k);
            let t = product(&product(&hl, trace, k), &keep, k);
            let r = product(&product(&hl, square, k), &keep, k);
            for x in 0..k * k {
                by_log_det[x] += 2.0 * (pool.count as f64 * own[x] - t[x]);
                by_rss[x] -= 2.0 * r[x];
            }
        }
        (transpose(&by_log_det, k), transpose(&by_rss, k))
    }

    /// Derivatives by the entries of Lambda (row, column) of every factor but
    /// the eliminated one; and T P T', packed with doubled off-diagonal entries.
    ///
    /// With dT = E at (row, column), tr(P dM) = 2 (B T P)[row, column].
    fn other_part(&self, s: &Solved, mut p: Vec<f64>) -> (Vec<f64>, Vec<ColumnPair>) {
        let shape = &self.shape;
        let forward = Spread::forward(shape, &s.lambdas);
        let zeros = |f: &FactorLayout| (vec![0.0; f.k() * f.k()], vec![0.0; f.k() * f.k()]);
        let mut out: Vec<(Vec<f64>, Vec<f64>)> = self.layout.factors.iter().map(zeros).collect();
        let cross = shape.times(&s.reduced, &shape.ordered(&s.residual));
        let spherical = shape.ordered(&s.spherical);
        let mut b = shape.unpack(&s.reduced);
        let edge = shape.border();
        let edge_levels = shape.levels(edge);
        for part in &shape.parts {
            let (b, p) = (&mut b[part.range()], &mut p[part.range()]);
            shape.mirror(part, b);
            let h = part.height;
            let mut v = vec![0.0; h];
            for (first, f) in shape.levels(part) {
                let k = self.layout.factors[f].k();
                for c in 0..k {
                    let column = first + c;
                    v.copy_from_slice(&p[column * h..(column + 1) * h]);
                    forward.rows(shape, part, &mut v);
                    for r in c..k {
                        let row = first + r;
                        out[f].0[r * k + c] += 2.0 * long_dot(&b[row * h..(row + 1) * h], &v);
                        out[f].1[r * k + c] -=
                            2.0 * spherical[part.start + column] * cross[part.start + row];
                    }
                }
            }
            forward.columns(part, p);
            for (b, p) in b.chunks_exact(h).zip(p.chunks_exact_mut(h)) {
                if part.start < edge.start {
                    // What the border's levels meet in this block.
                    let (b, p) = (&b[part.size..], &p[part.size..]);
                    for (first, f) in &edge_levels {
                        let k = self.layout.factors[*f].k();
                        for r in 0..k {
                            for c in 0..=r {
                                out[*f].0[r * k + c] += 2.0 * b[first + r] * p[first + c];
                            }
                        }
                    }
                }
                forward.rows(shape, part, p);
            }
        }
        (shape.pack_doubled(&p), out)
    }
}

/// Eigenvalues and eigenvectors (in columns) of a symmetric matrix, ascending.
pub(crate) fn eigen(a: &Matrix) -> Option<(Vec<f64>, Matrix)> {
    if a.n_rows() == 0 {
        return Some((Vec::new(), Matrix::zeros(0, 0)));
    }
    if a.values().iter().any(|x| !x.is_finite()) {
        return None;
    }
    let e = a.dense().self_adjoint_eigen(Side::Lower).ok()?;
    let values = (0..a.n_rows()).map(|i| e.S()[i]).collect();
    Some((values, Matrix::from_dense(e.U())))
}
