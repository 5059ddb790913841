//! Draws from a fitted generalised model, and its distribution functions.

use super::approximation::Model;
use super::family::Law;
use super::modes::State;
use super::tweedie;
use rand::Rng;
use rand_distr::{Binomial, Distribution, Gamma, Poisson, StandardNormal};
use statrs::function::beta::beta_reg;
use statrs::function::gamma::gamma_ur;

impl Law {
    /// One response with mean `mu`; `trials` matters for shares alone.
    pub fn draw(self, mu: f64, trials: f64, rng: &mut impl Rng) -> f64 {
        match self {
            Law::Poisson => poisson(mu, rng),
            Law::NegativeBinomial { size } => {
                let mean = gamma(size, mu / size, rng);
                poisson(mean, rng)
            }
            Law::Tweedie { dispersion, power } => {
                let (rate, shape, scale) = tweedie::parts(mu, dispersion, power);
                let parts = poisson(rate, rng);
                // A sum of gamma parts is gamma.
                if parts > 0.0 { gamma(parts * shape, scale, rng) } else { 0.0 }
            }
            // Fails for a mean that is no probability.
            Law::Binomial => Binomial::new(trials.round() as u64, mu)
                .map_or(0.0, |d| d.sample(rng) as f64 / trials),
        }
    }

    /// P(Y < y) and P(Y <= y); `trials` matters for shares alone.
    pub fn distribution(self, y: f64, mu: f64, trials: f64) -> (f64, f64) {
        match self {
            Law::Poisson => {
                let up_to = |y: f64| if y < 0.0 { 0.0 } else { gamma_ur(y + 1.0, mu) };
                (up_to(y - 1.0), up_to(y))
            }
            Law::NegativeBinomial { size } => {
                let up_to = |y: f64| {
                    if y < 0.0 { 0.0 } else { beta_reg(size, y + 1.0, size / (size + mu)) }
                };
                (up_to(y - 1.0), up_to(y))
            }
            Law::Tweedie { dispersion, power } => {
                let here = tweedie::distribution(y, mu, dispersion, power);
                (if y == 0.0 { 0.0 } else { here }, here)
            }
            Law::Binomial => {
                // Successes up to k of n: I_{1 - mu}(n - k, k + 1).
                let up_to = |k: f64| match k {
                    k if k < 0.0 => 0.0,
                    k if k >= trials => 1.0,
                    k => beta_reg(trials - k, k + 1.0, 1.0 - mu),
                };
                let k = (y * trials).round();
                (up_to(k - 1.0), up_to(k))
            }
        }
    }
}

fn poisson(mean: f64, rng: &mut impl Rng) -> f64 {
    // Fails for a mean of 0 (no parts) or beyond the range of whole numbers.
    Poisson::new(mean).map_or(0.0, |d| d.sample(rng))
}

fn gamma(shape: f64, scale: f64, rng: &mut impl Rng) -> f64 {
    Gamma::new(shape, scale).map_or(0.0, |d| d.sample(rng))
}

impl Model {
    /// Responses in sorted order under the parameters to which `state` was
    /// set, with new effects.
    pub fn simulate(&self, state: &State, law: Law, rng: &mut impl Rng) -> Vec<f64> {
        let mut fresh = state.clone();
        for u in fresh.u_own.iter_mut().chain(&mut fresh.u_other) {
            *u = StandardNormal.sample(rng);
        }
        let design = &self.design;
        let mut out = Vec::with_capacity(design.n);
        for g in 0..design.groups() {
            for i in design.rows[g]..design.rows[g + 1] {
                let mu = law.mean(fresh.eta(design, g, i).min(300.0));
                out.push(law.draw(mu, design.weight[i], rng));
            }
        }
        out
    }
}
