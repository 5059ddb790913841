//! Satterthwaite degrees of freedom from the curvature in (theta, sigma).

use crate::Error;
use crate::criterion::Solved;
use crate::gradient::eigen;
use crate::matrix::Matrix;
use crate::quasi_newton::{Evaluation, hessian};
use crate::settings::Criterion;
use crate::system::System;
use crate::target::Target;

/// Asymptotic covariance of the free variance parameters, and the system
/// factored at nearby theta so that any variance can be differentiated.
#[derive(Debug, Clone)]
pub(crate) struct VarianceParameters {
    /// Covariance of (free theta, sigma); 2 x inverse Hessian of the deviance.
    covariance: Matrix,
    sigma: f64,
    nearby: Vec<Nearby>,
}

/// Solutions at theta_i +- h and +- h/2.
#[derive(Debug, Clone)]
struct Nearby {
    step: f64,
    wide: [Solved; 2],
    narrow: [Solved; 2],
}

impl VarianceParameters {
    /// Entries of theta held at 0 carry no information and are left out: the
    /// criterion is even in them, so they neither covary with the others nor
    /// move a variance to first order.
    pub fn new(system: &System, at: &Solved, sigma: f64, free: &[usize]) -> Result<Self, Error> {
        let n = free.len();
        let mut x: Vec<f64> = free.iter().map(|i| at.theta[*i] * system.column_rms[*i]).collect();
        x.push(1.0);
        let mut deviance = |x: &[f64]| -> Evaluation {
            let mut theta = at.theta.clone();
            for (i, v) in free.iter().zip(x) {
                theta[*i] = v / system.column_rms[*i];
            }
            let s = system.solve(&theta).ok()?;
            let sd = sigma * x[n];
            let g = system.gradient(&s);
            let mut gradient: Vec<f64> = free
                .iter()
                .map(|i| (g.log_det[*i] + g.rss[*i] / (sd * sd)) / system.column_rms[*i])
                .collect();
            gradient.push(sigma * (2.0 * system.divisor() / sd - 2.0 * s.rss / sd.powi(3)));
            Some((unprofiled(system, &s, sd), gradient))
        };
        let failed =
            Error::Numerical { what: "the deviance has no usable curvature at the estimate" };
        let h = hessian(&mut deviance, &x).ok_or(failed.clone())?;
        let mut covariance = twice_pseudo_inverse(&h).ok_or(failed)?;
        let size: Vec<f64> =
            free.iter().map(|i| 1.0 / system.column_rms[*i]).chain([sigma]).collect();
        for i in 0..=n {
            for j in 0..=n {
                covariance[(i, j)] *= size[i] * size[j];
            }
        }
        let mut nearby = Vec::with_capacity(n);
        for (i, rms) in free.iter().map(|i| (*i, system.column_rms[*i])) {
            let step = 2e-3 * at.theta[i].abs().max(0.1 / rms);
            let shifted = |by: f64| {
                let mut theta = at.theta.clone();
                theta[i] += by;
                system.solve(&theta)
            };
            nearby.push(Nearby {
                step,
                wide: [shifted(step)?, shifted(-step)?],
                narrow: [shifted(0.5 * step)?, shifted(-0.5 * step)?],
            });
        }
        Ok(VarianceParameters { covariance, sigma, nearby })
    }

    /// df = 2 v^2 / (g'Ag) for v = sigma^2 h(theta) (Satterthwaite 1946; as in
    /// Kuznetsova et al. 2017), where `relative` = h at the estimate.
    pub fn degrees_of_freedom(&self, system: &System, target: &Target, relative: f64) -> f64 {
        let s2 = self.sigma * self.sigma;
        let h = |s: &Solved| target.relative_variance(system, s);
        let mut gradient: Vec<f64> = self
            .nearby
            .iter()
            .map(|near| {
                let wide = (h(&near.wide[0]) - h(&near.wide[1])) / (2.0 * near.step);
                let narrow = (h(&near.narrow[0]) - h(&near.narrow[1])) / near.step;
                s2 * (4.0 * narrow - wide) / 3.0
            })
            .collect();
        gradient.push(2.0 * self.sigma * relative);
        let v = s2 * relative;
        2.0 * v * v / self.covariance.quadratic(&gradient, &gradient)
    }
}

/// Deviance as a function of theta and sigma (not profiled), up to constants.
pub(crate) fn unprofiled(system: &System, s: &Solved, sigma: f64) -> f64 {
    let log_det = match system.criterion {
        Criterion::Reml => s.log_det_z + s.log_det_x,
        Criterion::Ml => s.log_det_z,
    };
    let s2 = sigma * sigma;
    log_det + system.divisor() * (2.0 * std::f64::consts::PI * s2).ln() + s.rss / s2
}

/// 2 H^+ over the positive eigenvalues of H.
fn twice_pseudo_inverse(h: &Matrix) -> Option<Matrix> {
    let (values, vectors) = eigen(h)?;
    let n = h.n_rows();
    let largest = *values.last()?;
    let mut out = Matrix::zeros(n, n);
    for (c, value) in values.iter().enumerate() {
        if *value > 1e-8 * largest {
            for i in 0..n {
                for j in 0..n {
                    out[(i, j)] += 2.0 * vectors[(i, c)] * vectors[(j, c)] / value;
                }
            }
        }
    }
    Some(out)
}
