//! Distributions of counts with a log link.

use serde::Serialize;
use statrs::function::gamma::ln_gamma;

/// Distribution of a count given its mean mu.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum CountFamily {
    /// Variance mu.
    Poisson,
    /// Variance mu + mu^2 / size; the size is estimated by maximum likelihood.
    NegativeBinomial,
}

/// A family with its size; an infinite size is Poisson.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Distribution {
    pub size: f64,
}

impl Distribution {
    /// Log probability of a count.
    pub fn log_density(self, y: f64, mu: f64) -> f64 {
        let s = self.size;
        // y log mu is 0 at y = 0 whatever the mean.
        let power = |base: f64| if y == 0.0 { 0.0 } else { y * base.ln() };
        if s.is_infinite() {
            return power(mu) - mu - ln_gamma(y + 1.0);
        }
        ln_gamma(y + s) - ln_gamma(s) - ln_gamma(y + 1.0) - s * (mu / s).ln_1p()
            + power(mu / (s + mu))
    }

    /// Expected information on the linear predictor: mu^2 / variance.
    pub fn weight(self, mu: f64) -> f64 {
        mu / (1.0 + mu / self.size)
    }
}
