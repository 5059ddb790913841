//! The exact gradient of the criterion with respect to theta.

use crate::criterion::{Solved, shrinkage};
use crate::layout::FactorLayout;
use crate::matrix::Matrix;
use crate::scratch::Buffer;
use crate::settings::Criterion;
use crate::small::{product, transpose};
use crate::spread::Spread;
use crate::system::System;
use crate::vector::long_dot;
use faer::Side;
use faer::traits::pulp::{Arch, Simd, WithSimd};

/// Derivatives by theta entry.
#[derive(Debug, Clone)]
pub(crate) struct Gradient {
    /// Of the log-determinant part.
    pub log_det: Vec<f64>,
    /// Of the penalised residual sum of squares.
    pub rss: Vec<f64>,
}

/// Two columns of equal length that belong together.
type ByEntry = (Vec<f64>, Vec<f64>);

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
        let diagonal = shape.is_diagonal();
        let p = s.factor.inverse_in_pattern(border, !diagonal);
        let (u, mut by_factor) =
            if diagonal { self.diagonal_part(s, &p) } else { self.other_part(s, p) };
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
        let sums = self.pools.contract(k, &self.shape, u, &w, &self.scratch);
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
    fn other_part(&self, s: &Solved, mut p: Buffer) -> (Buffer, Vec<ByEntry>) {
        let shape = &self.shape;
        let forward = Spread::forward(shape, &s.lambdas);
        let zeros = |f: &FactorLayout| (vec![0.0; f.k() * f.k()], vec![0.0; f.k() * f.k()]);
        let mut out: Vec<(Vec<f64>, Vec<f64>)> = self.layout.factors.iter().map(zeros).collect();
        let cross = shape.times(&s.reduced, &shape.ordered(&s.residual));
        let spherical = shape.ordered(&s.spherical);
        let mut b = self.scratch.take(shape.panels_len);
        shape.unpack(&s.reduced, &mut b);
        let edge = shape.border();
        let edge_levels = shape.levels(edge, &self.layout);
        for part in &shape.parts {
            let (b, p) = (&mut b[part.range()], &mut p[part.range()]);
            shape.mirror(part, b);
            let h = part.height;
            let mut v = vec![0.0; h];
            for (first, f, effect, count) in shape.levels(part, &self.layout) {
                let k = self.layout.factors[f].k();
                for c in 0..count {
                    let column = first + c;
                    v.copy_from_slice(&p[column * h..(column + 1) * h]);
                    forward.rows(shape, part, &mut v);
                    for r in c..count {
                        let row = first + r;
                        let entry = (effect + r) * k + effect + c;
                        out[f].0[entry] += 2.0 * long_dot(&b[row * h..(row + 1) * h], &v);
                        out[f].1[entry] -=
                            2.0 * spherical[part.start + column] * cross[part.start + row];
                    }
                }
            }
            forward.columns(part, p);
            for (b, p) in b.chunks_exact(h).zip(p.chunks_exact_mut(h)) {
                if part.start < edge.start {
                    // What the border's levels meet in this block.
                    let (b, p) = (&b[part.size..], &p[part.size..]);
                    for (first, f, effect, count) in &edge_levels {
                        let k = self.layout.factors[*f].k();
                        for r in 0..*count {
                            for c in 0..=r {
                                out[*f].0[(effect + r) * k + effect + c] +=
                                    2.0 * b[first + r] * p[first + c];
                            }
                        }
                    }
                }
                forward.rows(shape, part, p);
            }
        }
        let mut u = self.scratch.take(shape.packed_len);
        shape.pack_doubled(&p, &mut u);
        (u, out)
    }

    /// The same where T is diagonal: one pass over the lower triangles, because
    /// (B T P)[l, l] = sum_j t_j B[l, j] P[l, j] for symmetric B and P.
    fn diagonal_part(&self, s: &Solved, p: &[f64]) -> (Buffer, Vec<ByEntry>) {
        let shape = &self.shape;
        let forward = Spread::forward(shape, &s.lambdas);
        let t = forward.diagonal();
        let mut traces = vec![0.0; shape.width()];
        let mut u = self.scratch.take(shape.packed_len);
        let border = shape.border().start;
        for part in &shape.parts {
            let end = part.start + part.size;
            for j in 0..part.size {
                let (at, length) = (part.diagonal(j), part.height - j);
                let b = &s.reduced[at..at + length];
                let p = &p[part.panel + j * part.height + j..][..length];
                let u = &mut u[at..at + length];
                let position = part.start + j;
                let tj = t[position];
                let own = part.size - j;
                u[0] = tj * tj * p[0];
                let mut sum = tj * b[0] * p[0];
                let later = &mut traces[position + 1..end];
                sum += column_products(
                    tj,
                    (&b[1..own], &p[1..own], &t[position + 1..end]),
                    (later, &mut u[1..own]),
                );
                if length > own {
                    let edge = &mut traces[border..];
                    sum += column_products(
                        tj,
                        (&b[own..], &p[own..], &t[border..]),
                        (edge, &mut u[own..]),
                    );
                }
                traces[position] += sum;
            }
        }
        let zeros = |f: &FactorLayout| (vec![0.0; f.k() * f.k()], vec![0.0; f.k() * f.k()]);
        let mut out: Vec<ByEntry> = self.layout.factors.iter().map(zeros).collect();
        let cross = shape.times(&s.reduced, &shape.ordered(&s.residual));
        let spherical = shape.ordered(&s.spherical);
        for (position, single) in shape.single.iter().enumerate() {
            if let Some((f, e)) = single {
                let entry = e * (self.layout.factors[*f].k() + 1);
                out[*f].0[entry] += 2.0 * traces[position];
                out[*f].1[entry] -= 2.0 * spherical[position] * cross[position];
            }
        }
        (u, out)
    }
}

/// For one column of B, P and t: adds t_j B_ij P_ij to the traces of the rows,
/// sets U_ij = 2 t_i t_j P_ij, and returns sum_i t_i B_ij P_ij.
fn column_products(
    tj: f64,
    (b, p, t): (&[f64], &[f64], &[f64]),
    (traces, u): (&mut [f64], &mut [f64]),
) -> f64 {
    Arch::new().dispatch(Column { tj, b, p, t, traces, u })
}

/// Compiled for each instruction set.
struct Column<'a> {
    tj: f64,
    b: &'a [f64],
    p: &'a [f64],
    t: &'a [f64],
    traces: &'a mut [f64],
    u: &'a mut [f64],
}

impl WithSimd for Column<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> f64 {
        const LANES: usize = 8;
        let n = self.b.len();
        let (b, p, t) = (&self.b[..n], &self.p[..n], &self.t[..n]);
        let (traces, u) = (&mut self.traces[..n], &mut self.u[..n]);
        let mut sums = [0.0; LANES];
        for i in 0..n {
            let product = b[i] * p[i];
            traces[i] += self.tj * product;
            u[i] = 2.0 * self.tj * t[i] * p[i];
        }
        let whole = n / LANES * LANES;
        for i in (0..whole).step_by(LANES) {
            for (lane, s) in sums.iter_mut().enumerate() {
                *s += t[i + lane] * (b[i + lane] * p[i + lane]);
            }
        }
        let rest: f64 = (whole..n).map(|i| t[i] * (b[i] * p[i])).sum();
        sums.iter().sum::<f64>() + rest
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
