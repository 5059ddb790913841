//! The profiled REML or ML criterion at one theta, from the reduced system.

use crate::Error;
use crate::matrix::Matrix;
use crate::settings::Criterion;
use crate::small::{inverse, product, transpose};
use crate::system::System;
use faer::Side;
use faer::linalg::solvers::{DenseSolveCore, Llt};

/// The penalised system, factored at one theta (Bates et al. 2015, section 3).
#[derive(Debug, Clone)]
pub(crate) struct Solved {
    pub theta: Vec<f64>,
    /// Relative covariance factor of one level, by factor.
    pub lambdas: Vec<Vec<f64>>,
    /// Reduced cross-products B after elimination of the groups, unscaled.
    pub reduced: Matrix,
    /// Cholesky factor of M = T'BT + I_z over [Z_other | X]; `None` when empty.
    pub factor: Option<Llt<f64>>,
    /// Solution in spherical random effects and coefficients.
    pub spherical: Vec<f64>,
    /// (-T spherical, 1): residual direction over all columns.
    pub residual: Vec<f64>,
    /// log|I + Lambda'Z'WZ Lambda| over all random effects.
    pub log_det_z: f64,
    /// log of the determinant of the fixed block of M.
    pub log_det_x: f64,
    /// Penalised weighted residual sum of squares r^2.
    pub rss: f64,
}

impl Solved {
    /// Solution over [b_other | coefficients], internal units.
    pub fn solution(&self) -> Vec<f64> {
        let m = self.residual.len() - 1;
        self.residual[..m].iter().map(|x| -x).collect()
    }

    /// M^-1, or an empty matrix.
    pub fn inverse(&self) -> Matrix {
        self.factor
            .as_ref()
            .map_or_else(|| Matrix::zeros(0, 0), |l| Matrix::from_dense(l.inverse().as_ref()))
    }
}

/// D = Lambda H Lambda' and H = (I + Lambda'ZZ Lambda)^-1 with log|H^-1|.
pub(crate) fn shrinkage(lambda: &[f64], zz: &[f64], k: usize) -> (Vec<f64>, Vec<f64>, f64) {
    let lt = transpose(lambda, k);
    let mut inner = product(&product(&lt, zz, k), lambda, k);
    for j in 0..k {
        inner[j * k + j] += 1.0;
    }
    let (h, log_det) = inverse(&inner, k);
    let d = product(&product(lambda, &h, k), &lt, k);
    (d, h, log_det)
}

impl System {
    /// Factors the system at `theta`.
    ///
    /// # Errors
    /// [`Error::Numerical`] when the penalised matrix is not positive definite
    /// to rounding, or theta is not finite.
    pub fn solve(&self, theta: &[f64]) -> Result<Solved, Error> {
        if theta.iter().any(|t| !t.is_finite()) {
            return Err(Error::Numerical { what: "theta is not finite" });
        }
        let lambdas: Vec<Vec<f64>> = self.layout.factors.iter().map(|f| f.lambda(theta)).collect();
        let (mut reduced, mut log_det_z) = self.eliminate(&lambdas);
        reduced.mirror();
        let (q, m) = (self.layout.q, self.m());
        let scaled = self.scale(&reduced, &lambdas);
        let right: Vec<f64> = scaled.row(m)[..m].to_vec();
        let mut spherical = right.clone();
        let mut factor = None;
        let mut log_det_x = 0.0;
        if m > 0 {
            let view = scaled.dense().submatrix(0, 0, m, m);
            let llt = view.llt(Side::Lower).map_err(|_| Error::Numerical {
                what: "the penalised system is not positive definite",
            })?;
            for i in 0..m {
                let x = 2.0 * llt.L()[(i, i)].ln();
                if i < q {
                    log_det_z += x;
                } else {
                    log_det_x += x;
                }
            }
            let column = faer::ColMut::from_slice_mut(&mut spherical);
            faer::linalg::solvers::Solve::solve_in_place(&llt, column.as_mat_mut());
            factor = Some(llt);
        }
        let mut residual: Vec<f64> =
            self.unscale(&spherical, &lambdas).iter().map(|x| -x).collect();
        residual.push(1.0);
        let rss = self.penalised_rss(&reduced, &residual, &spherical);
        if rss.is_nan() || rss <= 0.0 {
            return Err(Error::Numerical { what: "the residual sum of squares vanished" });
        }
        Ok(Solved {
            theta: theta.to_vec(),
            lambdas,
            reduced,
            factor,
            spherical,
            residual,
            log_det_z,
            log_det_x,
            rss,
        })
    }

    /// w'Bw + |u|^2. A sum of the squares at the solution: errors of the
    /// solution enter only to second order, unlike y'y - b'M^-1 b.
    fn penalised_rss(&self, reduced: &Matrix, residual: &[f64], spherical: &[f64]) -> f64 {
        let u = &spherical[..self.layout.q];
        reduced.quadratic(residual, residual) + crate::small::dot(u, u)
    }

    fn eliminate(&self, lambdas: &[Vec<f64>]) -> (Matrix, f64) {
        let mut reduced = self.gram.clone();
        let mut log_det = 0.0;
        if let Some(f) = self.layout.eliminated {
            let k = self.layout.k();
            for pool in &self.pools {
                let (d, _, ld) = shrinkage(&lambdas[f], &pool.zz, k);
                log_det += pool.count as f64 * ld;
                pool.subtract(&d, k, &self.groups, &mut reduced);
            }
        }
        (reduced, log_det)
    }

    /// T'BT + I_z with T = blockdiag(Lambda of the other factors, I).
    fn scale(&self, reduced: &Matrix, lambdas: &[Vec<f64>]) -> Matrix {
        let mut out = reduced.clone();
        let width = out.n_rows();
        for (factor, lambda) in self.layout.factors.iter().zip(lambdas) {
            let (Some(start), k) = (factor.column_start, factor.k()) else {
                continue;
            };
            for level in 0..factor.levels {
                let o = start + level * k;
                // Lambda is lower triangular: ascending order reads only
                // entries that are not yet overwritten.
                for c in 0..k {
                    for j in 0..width {
                        out[(o + c, j)] = (c..k).map(|a| lambda[a * k + c] * out[(o + a, j)]).sum();
                    }
                }
            }
            for i in 0..width {
                for level in 0..factor.levels {
                    let o = start + level * k;
                    for c in 0..k {
                        out[(i, o + c)] = (c..k).map(|a| lambda[a * k + c] * out[(i, o + a)]).sum();
                    }
                }
            }
        }
        for i in 0..self.layout.q {
            out[(i, i)] += 1.0;
        }
        out
    }

    /// T v for a vector over [Z_other | X].
    pub fn unscale(&self, v: &[f64], lambdas: &[Vec<f64>]) -> Vec<f64> {
        let mut out = v.to_vec();
        for (factor, lambda) in self.layout.factors.iter().zip(lambdas) {
            let (Some(start), k) = (factor.column_start, factor.k()) else {
                continue;
            };
            for level in 0..factor.levels {
                let o = start + level * k;
                for r in 0..k {
                    out[o + r] = (0..=r).map(|c| lambda[r * k + c] * v[o + c]).sum();
                }
            }
        }
        out
    }

    /// T P T' for a symmetric matrix over [Z_other | X].
    pub fn unscale_both(&self, p: &Matrix, lambdas: &[Vec<f64>]) -> Matrix {
        let m = p.n_rows();
        let mut half = Matrix::zeros(m, m);
        for i in 0..m {
            half.row_mut(i).copy_from_slice(&self.unscale(p.row(i), lambdas));
        }
        // half = P T'; its transpose is T P, whose rows are unscaled again.
        let mut out = Matrix::zeros(m, m);
        for i in 0..m {
            let row = self.unscale(&half.column(i), lambdas);
            out.row_mut(i).copy_from_slice(&row);
        }
        out
    }

    /// Criterion in user units: lme4's REMLcrit or ML deviance.
    pub fn criterion(&self, s: &Solved) -> f64 {
        let d = self.divisor();
        let log_det = match self.criterion {
            Criterion::Reml => s.log_det_z + s.log_det_x,
            Criterion::Ml => s.log_det_z,
        };
        log_det + d * (1.0 + (2.0 * std::f64::consts::PI * s.rss / d).ln()) - self.sum_log_weight
            + self.unit_shift()
    }

    /// What declared scales add to the criterion in user units.
    pub fn unit_shift(&self) -> f64 {
        let response = 2.0 * self.divisor() * self.units.response_scale.ln();
        match self.criterion {
            Criterion::Ml => response,
            Criterion::Reml => {
                let fixed = |j: &usize| 2.0 * self.layout.fixed[*j].scale.ln();
                response + self.screen.kept.iter().map(fixed).sum::<f64>()
            }
        }
    }
}
