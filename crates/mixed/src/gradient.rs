//! The exact gradient of the criterion with respect to theta.

use crate::criterion::{Solved, shrinkage};
use crate::matrix::Matrix;
use crate::settings::Criterion;
use crate::small::{dot, product, transpose};
use crate::system::System;
use faer::Side;

/// Derivatives by theta entry.
#[derive(Debug, Clone)]
pub(crate) struct Gradient {
    /// Of the log-determinant part.
    pub log_det: Vec<f64>,
    /// Of the penalised residual sum of squares.
    pub rss: Vec<f64>,
}

impl System {
    /// Gradient parts at a factored theta.
    ///
    /// d log|M| = tr(M^-1 dM) and, by the envelope theorem, d r^2 is the
    /// derivative with the solution held fixed; with B = R'R - sum_g S_g'DS_g
    /// both reduce to k x k contractions of pooled cross-products.
    pub fn gradient(&self, s: &Solved) -> Gradient {
        let p = self.trace_weights(s);
        let mut out =
            Gradient { log_det: vec![0.0; self.entries.len()], rss: vec![0.0; self.entries.len()] };
        self.eliminated_part(s, &p, &mut out);
        self.other_part(s, &p, &mut out);
        out
    }

    /// Gradient of the profiled criterion.
    pub fn criterion_gradient(&self, s: &Solved) -> Vec<f64> {
        let g = self.gradient(s);
        let weight = self.divisor() / s.rss;
        g.log_det.iter().zip(&g.rss).map(|(a, b)| a + weight * b).collect()
    }

    /// P with d log-determinant = tr(P dM): M^-1 under REML, its random block
    /// alone under ML.
    fn trace_weights(&self, s: &Solved) -> Matrix {
        let (m, q) = (self.m(), self.layout.q);
        match (self.criterion, &s.factor) {
            (_, None) => Matrix::zeros(0, 0),
            (Criterion::Reml, Some(_)) => s.inverse(),
            (Criterion::Ml, Some(llt)) => {
                let mut out = Matrix::zeros(m, m);
                if q > 0 {
                    let l = llt.L().submatrix(0, 0, q, q);
                    let mut half = faer::Mat::<f64>::identity(q, q);
                    l.solve_lower_triangular_in_place(half.as_mut());
                    let block = half.transpose() * &half;
                    for i in 0..q {
                        for j in 0..q {
                            out[(i, j)] = block[(i, j)];
                        }
                    }
                }
                out
            }
        }
    }

    fn eliminated_part(&self, s: &Solved, p: &Matrix, out: &mut Gradient) {
        let Some(f) = self.layout.eliminated else {
            return;
        };
        let k = self.layout.k();
        let lambda = &s.lambdas[f];
        let u = self.unscale_both(p, &s.lambdas);
        let (mut by_log_det, mut by_rss) = (vec![0.0; k * k], vec![0.0; k * k]);
        for pool in &self.pools {
            let (d, h, _) = shrinkage(lambda, &pool.zz, k);
            let (trace, square) = pool.contract(k, &self.groups, &u, &s.residual);
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
            let t = product(&product(&hl, &trace, k), &keep, k);
            let r = product(&product(&hl, &square, k), &keep, k);
            for x in 0..k * k {
                by_log_det[x] += 2.0 * (pool.count as f64 * own[x] - t[x]);
                by_rss[x] -= 2.0 * r[x];
            }
        }
        for (at, e) in self.entries.iter().enumerate() {
            if e.factor == f {
                out.log_det[at] += by_log_det[e.column * k + e.row];
                out.rss[at] += by_rss[e.column * k + e.row];
            }
        }
    }

    fn other_part(&self, s: &Solved, p: &Matrix, out: &mut Gradient) {
        let m = self.m();
        // T P: column j of P unscaled; P is symmetric, so its rows serve.
        let tp: Vec<Vec<f64>> =
            (0..self.layout.q).map(|j| self.unscale(p.row(j), &s.lambdas)).collect();
        let cross: Vec<f64> = (0..m).map(|i| dot(s.reduced.row(i), &s.residual)).collect();
        for (at, e) in self.entries.iter().enumerate() {
            let factor = &self.layout.factors[e.factor];
            let Some(start) = factor.column_start else {
                continue;
            };
            for level in 0..factor.levels {
                let (row, column) =
                    (start + level * factor.k() + e.row, start + level * factor.k() + e.column);
                out.log_det[at] += 2.0 * dot(&s.reduced.row(row)[..m], &tp[column]);
                out.rss[at] -= 2.0 * s.spherical[column] * cross[row];
            }
        }
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
