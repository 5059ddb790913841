//! The profiled REML or ML criterion at one theta, from the reduced system.

use crate::Error;
use crate::arrow::Factor;
use crate::matrix::Matrix;
use crate::scratch::Buffer;
use crate::settings::Criterion;
use crate::small::{inverse, product, transpose};
use crate::spread::Spread;
use crate::system::System;

/// The penalised system, factored at one theta (Bates et al. 2015, section 3).
#[derive(Debug, Clone)]
pub(crate) struct Solved {
    pub theta: Vec<f64>,
    /// Relative covariance factor of one level, by factor.
    pub lambdas: Vec<Vec<f64>>,
    /// Cross-products B after elimination of the groups, unscaled and packed.
    pub reduced: Buffer,
    /// Cholesky factor of M = T'BT + I_z over [Z_other | X].
    pub factor: Factor,
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

    /// M^-1 in full.
    pub fn inverse(&self) -> Matrix {
        self.factor.inverse()
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
        let (reduced, eliminated) = self.eliminate(&lambdas);
        let factor = Factor::new(&self.shape, self.scaled_panels(&reduced, &lambdas))
            .ok_or(Error::Numerical { what: "the penalised system is not positive definite" })?;
        let (random, log_det_x) = factor.log_determinants();
        let spherical = factor.solution();
        let mut residual: Vec<f64> = spherical.iter().map(|x| -x).collect();
        Spread::forward(&self.shape, &lambdas).vector(&self.shape, &mut residual);
        residual.push(1.0);
        // w'Bw + |u|^2 is a sum of the squares at the solution: errors of the
        // solution enter only to second order, unlike y'y - b'M^-1 b.
        let spherical = self.shape.restored(&spherical);
        let u = &spherical[..self.layout.q];
        let rss = self.shape.quadratic(&reduced, &residual) + crate::small::dot(u, u);
        if rss.is_nan() || rss <= 0.0 {
            return Err(Error::Numerical { what: "the residual sum of squares vanished" });
        }
        Ok(Solved {
            theta: theta.to_vec(),
            lambdas,
            reduced,
            factor,
            residual: self.shape.restored(&residual),
            spherical,
            log_det_z: eliminated + random,
            log_det_x,
            rss,
        })
    }

    fn eliminate(&self, lambdas: &[Vec<f64>]) -> (Buffer, f64) {
        let mut reduced = self.scratch.copy(&self.packed);
        let mut log_det = 0.0;
        if let Some(f) = self.layout.eliminated {
            let k = self.layout.k();
            let mut weights = Vec::with_capacity(self.pools.len());
            for pool in self.pools.iter() {
                let (d, _, ld) = shrinkage(&lambdas[f], &pool.zz, k);
                log_det += pool.count as f64 * ld;
                weights.push(d);
            }
            self.pools.subtract(&weights, k, &self.shape, &mut reduced);
        }
        (reduced, log_det)
    }

    /// Panels of T'BT + I_z, bordered by T'Z'Wy and X'Wy.
    fn scaled_panels(&self, reduced: &[f64], lambdas: &[Vec<f64>]) -> Buffer {
        let shape = &self.shape;
        let mut panels = self.scratch.take(shape.panels_len);
        shape.unpack(reduced, &mut panels);
        let spread = Spread::transposed(shape, lambdas);
        let edge = shape.border().start;
        for part in &shape.parts {
            let panel = &mut panels[part.range()];
            // Rows and columns of a level mix: its block is needed in full.
            for (first, factor) in &part.wide {
                let k = lambdas[*factor].len().isqrt();
                for j in *first..first + k {
                    for i in j + 1..first + k {
                        panel[i * part.height + j] = panel[j * part.height + i];
                    }
                }
            }
            spread.columns(part, panel);
            for (j, column) in panel.chunks_exact_mut(part.height).enumerate() {
                spread.rows(shape, part, column);
                if part.start < edge || j < shape.border_random {
                    column[j] += 1.0;
                }
            }
        }
        panels
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
                let turned = self.units.basis.as_ref().map_or(0.0, |b| 2.0 * b.log_det);
                response + self.screen.kept.iter().map(fixed).sum::<f64>() - turned
            }
        }
    }
}
