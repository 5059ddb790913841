//! Kenward-Roger inference on linear variance parameters, from cross-products alone.

use crate::Error;
use crate::contrast::{Contrast, DfMethod, JointTest, f_tail, tabulate};
use crate::fit::Fit;
use crate::matrix::Matrix;
use crate::settings::Criterion;
use crate::small::dot;
use crate::system::System;
use faer::linalg::solvers::DenseSolveCore;
use faer::{Mat, Side};

/// Most random effects of the whole model for which the adjustment is computed.
const EFFECT_LIMIT: usize = 4_000;

/// Adjusted covariance and what F tests need (Kenward and Roger 1997;
/// Halekoh and Hojsgaard 2014, section 3). Relative to sigma^2, kept columns.
#[derive(Debug, Clone)]
pub struct KenwardRoger {
    fit: Fit,
    /// Phi = (X'V^-1X)^-1.
    phi: Matrix,
    /// Phi_A = Phi + 2 Phi U Phi.
    adjusted: Matrix,
    /// Phi P_i Phi by variance parameter.
    slopes: Vec<Matrix>,
    /// Covariance W of the variance parameters.
    information_inverse: Matrix,
}

impl Fit {
    /// Prepares Kenward-Roger inference. The variance parameters are the
    /// entries of the covariance of each factor and the residual variance, in
    /// which V is linear.
    ///
    /// # Errors
    /// [`Error::NeedsReml`] for a fit by ML; [`Error::TooLarge`] beyond 4000
    /// random effects; [`Error::Numerical`] for a singular information matrix.
    pub fn kenward_roger(&self) -> Result<KenwardRoger, Error> {
        let system = &self.system;
        if system.criterion != Criterion::Reml {
            return Err(Error::NeedsReml);
        }
        system.each_group()?;
        let parts = Parts::new(system, &self.solved.lambdas)?;
        let (phi, adjusted, slopes, information_inverse) = parts.adjust(system)?;
        Ok(KenwardRoger { fit: self.clone(), phi, adjusted, slopes, information_inverse })
    }
}

impl KenwardRoger {
    /// The contrast `l'b` with adjusted standard error and degrees of freedom.
    ///
    /// # Errors
    /// Wrong length or level.
    pub fn contrast(&self, l: &[f64], level: f64) -> Result<Contrast, Error> {
        crate::settings::check_level(level)?;
        self.fit.check_contrast(l)?;
        let Some((target, offset)) = self.fit.fixed_target(l) else {
            return Ok(Contrast::NotEstimable);
        };
        let row = &target.direct[self.fit.system.layout.q..];
        let (_, df) = self.scale_and_df(std::slice::from_ref(&row.to_vec()))?;
        let (estimate, _) = self.fit.read(&target);
        let std_error = self.fit.sigma * self.adjusted.quadratic(row, row).sqrt();
        Ok(Contrast::Estimated(tabulate(
            estimate + offset,
            std_error,
            df,
            DfMethod::KenwardRoger,
            level,
        )))
    }

    /// F test that all rows of `l` (linearly independent) times b are 0.
    ///
    /// # Errors
    /// Wrong length; dependent rows.
    pub fn joint_test(&self, l: &[Vec<f64>]) -> Result<JointTest, Error> {
        let mut rows = Vec::with_capacity(l.len());
        let mut estimates = Vec::with_capacity(l.len());
        for row in l {
            self.fit.check_contrast(row)?;
            let Some((target, offset)) = self.fit.fixed_target(row) else {
                return Ok(JointTest::NotEstimable);
            };
            estimates.push(self.fit.read(&target).0 + offset);
            rows.push(target.direct[self.fit.system.layout.q..].to_vec());
        }
        if rows.is_empty() {
            return Ok(JointTest::NotEstimable);
        }
        let (scale, df_denominator) = self.scale_and_df(&rows)?;
        let inverse = inverse(&sandwich(&rows, &self.adjusted))?;
        let q = rows.len() as f64;
        let wald = inverse.quadratic(&estimates, &estimates) / self.fit.sigma.powi(2);
        let statistic = scale * wald / q;
        Ok(JointTest::Tested {
            statistic,
            df_numerator: q,
            df_denominator,
            df_method: DfMethod::KenwardRoger,
            p_value: f_tail(statistic, q, df_denominator),
        })
    }

    /// Factor lambda and denominator m of the scaled F, for q rows.
    fn scale_and_df(&self, rows: &[Vec<f64>]) -> Result<(f64, f64), Error> {
        let q = rows.len() as f64;
        let middle = inverse(&sandwich(rows, &self.phi))?;
        // (L Phi L')^-1 L Phi P_i Phi L' by parameter.
        let terms: Vec<Matrix> =
            self.slopes.iter().map(|s| multiply(&middle, &sandwich(rows, s))).collect();
        let (mut a1, mut a2) = (0.0, 0.0);
        for (i, a) in terms.iter().enumerate() {
            for (j, b) in terms.iter().enumerate() {
                let w = self.information_inverse[(i, j)];
                a1 += w * trace(a) * trace(b);
                a2 += w * trace_product(a, b);
            }
        }
        if rows.len() == 1 {
            // The formulas below reduce to this; as they stand they divide 0 by 0 at 2 degrees of
            // freedom, which small split plots have.
            return Ok((1.0, 2.0 / a2));
        }
        let b = (a1 + 6.0 * a2) / (2.0 * q);
        let g = ((q + 1.0) * a1 - (q + 4.0) * a2) / ((q + 2.0) * a2);
        let d = 3.0 * q + 2.0 * (1.0 - g);
        let (c1, c2, c3) = (g / d, (q - g) / d, (q + 2.0 - g) / d);
        // One over the mean of F, and the factor of its variance that vanishes with it: both are 0
        // at 2 degrees of freedom, where their ratio is 1.
        let (inverse_mean, twin) = (1.0 - a2 / q, 1.0 - c2 * b);
        let vanishing = inverse_mean.abs() < 1e-10 && twin.abs() < 1e-10;
        let ratio = if vanishing { 1.0 } else { inverse_mean / twin };
        let rho = ratio * ratio * (1.0 + c1 * b) / (q * (1.0 - c3 * b));
        let m = 4.0 + (q + 2.0) / (q * rho - 1.0);
        let scale = if (m - 2.0).abs() < 1e-6 { 1.0 } else { m * inverse_mean / (m - 2.0) };
        Ok((scale, m))
    }
}

/// Cross-products with V^-1 in the middle, over all random effects.
struct Parts {
    /// Z'V^-1Z.
    zz: Matrix,
    /// Z'V^-1X.
    zx: Matrix,
    /// X'V^-1X.
    xx: Matrix,
    /// By covariance parameter: pairs (row, column) of Z'V^-1Z that it touches.
    patterns: Vec<Vec<(usize, usize)>>,
}

impl Parts {
    fn new(system: &System, lambdas: &[Vec<f64>]) -> Result<Parts, Error> {
        let (q, k, rank) = (system.layout.q, system.layout.k(), system.rank());
        let first_other = k * system.groups.len();
        let size = first_other + q;
        if size > EFFECT_LIMIT {
            return Err(Error::TooLarge { columns: size, limit: EFFECT_LIMIT });
        }
        // Z'W[Z | X] over all effects, the eliminated factor's first.
        let mut zz = Matrix::zeros(size, size);
        let mut zx = Matrix::zeros(size, rank);
        for (g, group) in system.groups.iter().enumerate() {
            for a in 0..k {
                let row = g * k + a;
                for b in 0..k {
                    zz[(row, g * k + b)] = group.zz[a * k + b];
                }
                for (place, column) in group.columns.iter().enumerate() {
                    let (column, x) = (*column as usize, group.cross[place * k + a]);
                    if column < q {
                        zz[(row, first_other + column)] = x;
                        zz[(first_other + column, row)] = x;
                    } else if column < q + rank {
                        zx[(row, column - q)] = x;
                    }
                }
            }
        }
        let mut xx = Matrix::zeros(rank, rank);
        let gram = system.gram.full();
        for i in 0..q + rank {
            for j in 0..q + rank {
                let x = gram[(i, j)];
                match (i < q, j < q) {
                    (true, true) => zz[(first_other + i, first_other + j)] = x,
                    (true, false) => zx[(first_other + i, j - q)] = x,
                    (false, false) => xx[(i - q, j - q)] = x,
                    (false, true) => {}
                }
            }
        }
        let blocks = blocks(system, first_other);
        let lambda = spread(&blocks, lambdas, size);
        let patterns = patterns(system, &blocks);
        let (zz, zx, xx) = through_inverse(&zz, &zx, &xx, &lambda)?;
        Ok(Parts { zz, zx, xx, patterns })
    }

    /// Phi, Phi_A, Phi P_i Phi and W. The parameters are V itself (a change of
    /// basis from the residual variance, under which all results are
    /// invariant) and the covariance entries.
    fn adjust(&self, system: &System) -> Result<(Matrix, Matrix, Vec<Matrix>, Matrix), Error> {
        let rank = system.rank();
        let phi = inverse(&self.xx)?;
        let count = self.patterns.len() + 1;
        // E_i Z'V^-1X and E_i Z'V^-1Z for the covariance entries.
        let ex: Vec<Matrix> = self.patterns.iter().map(|p| pick(p, &self.zx)).collect();
        let ez: Vec<Matrix> = self.patterns.iter().map(|p| pick(p, &self.zz)).collect();
        let zxt = transposed(&self.zx);
        let mut p = vec![negated(&self.xx)];
        p.extend(ex.iter().map(|e| negated(&multiply(&zxt, e))));
        let mut information = Matrix::zeros(count, count);
        let mut q = Vec::with_capacity(count * count);
        for i in 0..count {
            for j in 0..count {
                let (k, q_ij) = match (i, j) {
                    (0, 0) => (system.rows.used as f64, self.xx.clone()),
                    (0, o) | (o, 0) => (trace(&ez[o - 1]), negated(&p[o])),
                    (a, b) => (
                        trace_product(&ez[a - 1], &ez[b - 1]),
                        multiply(&transposed(&ex[a - 1]), &multiply(&self.zz, &ex[b - 1])),
                    ),
                };
                let pp = trace_product(&multiply(&phi, &p[i]), &multiply(&phi, &p[j]));
                information[(i, j)] = 0.5 * (k - 2.0 * trace_product(&phi, &q_ij) + pp);
                q.push(q_ij);
            }
        }
        let w = inverse(&information)?;
        let mut u = Matrix::zeros(rank, rank);
        for i in 0..count {
            for j in 0..count {
                let pfp = multiply(&p[i], &multiply(&phi, &p[j]));
                for a in 0..rank {
                    for b in 0..rank {
                        u[(a, b)] += w[(i, j)] * (q[i * count + j][(a, b)] - pfp[(a, b)]);
                    }
                }
            }
        }
        let correction = multiply(&phi, &multiply(&u, &phi));
        let mut adjusted = phi.clone();
        for a in 0..rank {
            for b in 0..rank {
                adjusted[(a, b)] += correction[(a, b)] + correction[(b, a)];
            }
        }
        let slopes = p.iter().map(|p| multiply(&phi, &multiply(p, &phi))).collect();
        Ok((phi, adjusted, slopes, w))
    }
}

/// First column of each level's block: (factor, column).
fn blocks(system: &System, first_other: usize) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    for (f, factor) in system.layout.factors.iter().enumerate() {
        let k = factor.k();
        match factor.column_start {
            None => out.extend((0..system.groups.len()).map(|g| (f, g * k))),
            Some(start) => {
                out.extend((0..factor.levels).map(|l| (f, first_other + start + l * k)));
            }
        }
    }
    out
}

/// Block-diagonal Lambda over all effects.
fn spread(blocks: &[(usize, usize)], lambdas: &[Vec<f64>], size: usize) -> Matrix {
    let mut out = Matrix::zeros(size, size);
    for (f, o) in blocks {
        let lambda = &lambdas[*f];
        let k = lambda.len().isqrt();
        for a in 0..k {
            for b in 0..k {
                out[(o + a, o + b)] = lambda[a * k + b];
            }
        }
    }
    out
}

/// The positions of each covariance entry, in order of theta.
fn patterns(system: &System, blocks: &[(usize, usize)]) -> Vec<Vec<(usize, usize)>> {
    system
        .entries
        .iter()
        .map(|e| {
            let mine = blocks.iter().filter(|(f, _)| *f == e.factor);
            let mut out = Vec::new();
            for (_, o) in mine {
                out.push((o + e.row, o + e.column));
                if !e.is_diagonal() {
                    out.push((o + e.column, o + e.row));
                }
            }
            out
        })
        .collect()
}

/// Puts V^-1 = W - W Z Lambda M^-1 Lambda'Z'W in place of W.
fn through_inverse(
    zz: &Matrix,
    zx: &Matrix,
    xx: &Matrix,
    lambda: &Matrix,
) -> Result<(Matrix, Matrix, Matrix), Error> {
    let size = zz.n_rows();
    if size == 0 {
        return Ok((zz.clone(), zx.clone(), xx.clone()));
    }
    let kl = zz.dense() * lambda.dense();
    let mut m: Mat<f64> = lambda.dense().transpose() * &kl;
    for i in 0..size {
        m[(i, i)] += 1.0;
    }
    let llt = m
        .llt(Side::Lower)
        .map_err(|_| Error::Numerical { what: "the penalised random-effect system" })?;
    let l = llt.L();
    // Half-solves keep the results symmetric.
    let mut hz: Mat<f64> = kl.transpose().to_owned();
    l.solve_lower_triangular_in_place(hz.as_mut());
    let mut hx: Mat<f64> = lambda.dense().transpose() * zx.dense();
    l.solve_lower_triangular_in_place(hx.as_mut());
    let zz: Mat<f64> = zz.dense() - hz.transpose() * &hz;
    let zx: Mat<f64> = zx.dense() - hz.transpose() * &hx;
    let xx: Mat<f64> = xx.dense() - hx.transpose() * &hx;
    Ok((
        Matrix::from_dense(zz.as_ref()),
        Matrix::from_dense(zx.as_ref()),
        Matrix::from_dense(xx.as_ref()),
    ))
}

/// E M for a 0/1 pattern E.
fn pick(pattern: &[(usize, usize)], m: &Matrix) -> Matrix {
    let mut out = Matrix::zeros(m.n_rows(), m.n_columns());
    for (row, column) in pattern {
        let source = m.row(*column).to_vec();
        for (o, x) in out.row_mut(*row).iter_mut().zip(&source) {
            *o += x;
        }
    }
    out
}

fn multiply(a: &Matrix, b: &Matrix) -> Matrix {
    let out: Mat<f64> = a.dense() * b.dense();
    Matrix::from_dense(out.as_ref())
}

fn transposed(a: &Matrix) -> Matrix {
    Matrix::from_dense(a.dense().transpose())
}

fn negated(a: &Matrix) -> Matrix {
    let values = a.values().iter().map(|x| -x).collect();
    Matrix::from_values(a.n_rows(), a.n_columns(), values)
}

fn trace(a: &Matrix) -> f64 {
    (0..a.n_rows()).map(|i| a[(i, i)]).sum()
}

/// tr(A B).
fn trace_product(a: &Matrix, b: &Matrix) -> f64 {
    (0..a.n_rows()).map(|i| dot(a.row(i), &b.column(i))).sum()
}

/// L M L' for rows of L.
fn sandwich(rows: &[Vec<f64>], m: &Matrix) -> Matrix {
    let mut out = Matrix::zeros(rows.len(), rows.len());
    for (i, a) in rows.iter().enumerate() {
        for (j, b) in rows.iter().enumerate() {
            out[(i, j)] = m.quadratic(a, b);
        }
    }
    out
}

fn inverse(a: &Matrix) -> Result<Matrix, Error> {
    let llt = a.dense().llt(Side::Lower).map_err(|_| Error::Numerical {
        what: "a singular matrix in the Kenward-Roger adjustment",
    })?;
    Ok(Matrix::from_dense(llt.inverse().as_ref()))
}
