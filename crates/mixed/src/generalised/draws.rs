//! Parameters drawn from their normal approximation, each with the modes that it implies.

use super::result::GeneralisedFit;
use crate::small::{cholesky, dot};
use crate::{Error, Matrix};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};

/// Draws that fail to give modes, per draw wanted, before giving up.
const FAILURES: usize = 10;

/// Draws of a generalised model's parameters with their modes.
#[derive(Debug, Clone, PartialEq)]
pub struct GeneralisedDraws {
    /// Coefficients in user units, draws x columns.
    pub coefficients: Matrix,
    /// Standard deviations of the effects, draws x effects, in the order of
    /// [`GeneralisedFit::spreads`].
    pub spreads: Matrix,
    /// Size of the negative binomial by draw; empty for other families.
    pub size: Vec<f64>,
    /// By draw and chosen factor: modes, levels x effects.
    pub modes: Vec<Vec<Matrix>>,
}

impl GeneralisedFit {
    /// Draws all parameters (theta, coefficients, the family's) jointly from
    /// the normal distribution with the inverse Hessian as covariance, and
    /// finds the conditional modes of the chosen factors at each draw: what an
    /// analysis that builds on the modes needs to carry their uncertainty on
    /// (estimation in two stages; Murphy and Topel 1985). Parameters at a
    /// boundary stay there. The same seed gives the same draws.
    ///
    /// # Errors
    /// Unknown factors; draws at which the modes do not settle.
    pub fn draws(&self, n: usize, seed: u64, factors: &[&str]) -> Result<GeneralisedDraws, Error> {
        let width = self.model.width();
        let (t, p) = (self.model.entries.len(), self.model.design.p);
        let root = cholesky(self.estimated.covariance.values(), width, 1e-12);
        let contrasts: Vec<(Vec<f64>, f64)> = (0..p)
            .map(|j| {
                let mut unit = vec![0.0; p];
                unit[j] = 1.0;
                self.units.contrast(&unit)
            })
            .collect();
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let mut coefficients = Vec::with_capacity(n * p);
        let (mut spreads, mut size, mut modes) = (Vec::new(), Vec::new(), Vec::new());
        let mut effects = 0;
        let mut failures = 0;
        let mut state = self.state.clone();
        while modes.len() < n {
            let z: Vec<f64> = (0..width).map(|_| StandardNormal.sample(&mut rng)).collect();
            let x: Vec<f64> = (0..width)
                .map(|i| {
                    let by = dot(&root[i * width..=i * width + i], &z[..=i]);
                    self.estimated.found.x[i] + by
                })
                .collect();
            if let Err(error) = self.model.deviance(&mut state, &x) {
                failures += 1;
                if failures > FAILURES * n {
                    return Err(error);
                }
                continue;
            }
            let values = self.model.effects(&state, &x);
            let by_factor = factors.iter().map(|f| self.modes_of(&values, f));
            modes.push(by_factor.collect::<Result<Vec<_>, Error>>()?);
            let b = &x[t..t + p];
            coefficients.extend(contrasts.iter().map(|(inner, shift)| shift + dot(inner, b)));
            let sds = self.effect_sds(&x);
            effects = sds.len();
            spreads.extend(sds);
            if let super::family::Law::NegativeBinomial { size: s } = self.model.law(&x) {
                size.push(s);
            }
        }
        Ok(GeneralisedDraws {
            coefficients: Matrix::from_values(n, p, coefficients),
            spreads: Matrix::from_values(n, effects, spreads),
            size,
            modes,
        })
    }

    /// Standard deviation of every effect of every factor at x.
    fn effect_sds(&self, x: &[f64]) -> Vec<f64> {
        let mut out = Vec::new();
        for factor in &self.model.layout.factors {
            let (lambda, k) = (factor.lambda(x), factor.k());
            out.extend((0..k).map(|r| {
                let row = &lambda[r * k..(r + 1) * k];
                dot(row, row).sqrt()
            }));
        }
        out
    }
}
