//! A multivariate t folded at 0 in the spread coordinates.

use crate::gradient::eigen;
use crate::matrix::Matrix;
use crate::small::{cholesky, dot};
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};
use statrs::function::gamma::ln_gamma;

/// Degrees of freedom: tails heavier than the posterior's.
const DF: f64 = 5.0;
/// Spread of the proposal relative to the posterior's own.
const INFLATION: f64 = 1.2;

/// Folded multivariate t: |x| in the coordinates marked, x elsewhere.
pub(crate) struct Proposal {
    centre: Vec<f64>,
    factor: Vec<f64>,
    folded: Vec<bool>,
    log_constant: f64,
    normal: Normal,
    chi_squared: ChiSquared,
}

impl Proposal {
    /// From the centre and covariance of the posterior.
    pub fn new(centre: Vec<f64>, covariance: &Matrix, folded: Vec<bool>) -> Option<Proposal> {
        let n = centre.len();
        let mut factor = cholesky(covariance.values(), n, 0.0);
        if !(0..n).all(|i| factor[i * n + i] > 0.0) {
            return None;
        }
        factor.iter_mut().for_each(|x| *x *= INFLATION);
        let log_det: f64 = (0..n).map(|i| factor[i * n + i].ln()).sum();
        let d = n as f64;
        Some(Proposal {
            centre,
            factor,
            folded,
            log_constant: ln_gamma(0.5 * (DF + d))
                - ln_gamma(0.5 * DF)
                - 0.5 * d * (DF * std::f64::consts::PI).ln()
                - log_det,
            normal: Normal::new(0.0, 1.0).ok()?,
            chi_squared: ChiSquared::new(DF).ok()?,
        })
    }

    /// Covariance from a Hessian of the negative log posterior; directions
    /// flatter than `floor` get the spread 1 / sqrt(floor).
    pub fn covariance(hessian: &Matrix, floor: f64) -> Option<Matrix> {
        let (values, vectors) = eigen(hessian)?;
        let n = values.len();
        let mut out = Matrix::zeros(n, n);
        for (c, value) in values.iter().enumerate() {
            for i in 0..n {
                for j in 0..n {
                    out[(i, j)] += vectors[(i, c)] * vectors[(j, c)] / value.max(floor);
                }
            }
        }
        Some(out)
    }

    /// The point of a uniform vector with one more coordinate than theta.
    pub fn point(&self, u: &[f64]) -> Vec<f64> {
        let n = self.centre.len();
        let z: Vec<f64> = u[..n].iter().map(|u| self.normal.inverse_cdf(*u)).collect();
        let stretch = (DF / self.chi_squared.inverse_cdf(u[n])).sqrt();
        (0..n)
            .map(|i| {
                let x = self.centre[i] + stretch * dot(&self.factor[i * n..i * n + i + 1], &z);
                if self.folded[i] { x.abs() } else { x }
            })
            .collect()
    }

    /// Log density of the folded distribution: a sum over the signs of the
    /// folded coordinates.
    pub fn log_density(&self, x: &[f64]) -> f64 {
        let folds: Vec<usize> = (0..x.len()).filter(|i| self.folded[*i]).collect();
        let mut terms = Vec::with_capacity(1 << folds.len());
        for pattern in 0..1_usize << folds.len() {
            let mut y = x.to_vec();
            for (bit, i) in folds.iter().enumerate() {
                if pattern >> bit & 1 == 1 {
                    y[*i] = -y[*i];
                }
            }
            terms.push(self.log_unfolded(&y));
        }
        let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        top + terms.iter().map(|t| (t - top).exp()).sum::<f64>().ln()
    }

    fn log_unfolded(&self, x: &[f64]) -> f64 {
        let n = x.len();
        let mut z = vec![0.0; n];
        for i in 0..n {
            let rest = x[i] - self.centre[i] - dot(&self.factor[i * n..i * n + i], &z[..i]);
            z[i] = rest / self.factor[i * n + i];
        }
        self.log_constant - 0.5 * (DF + n as f64) * (dot(&z, &z) / DF).ln_1p()
    }
}
