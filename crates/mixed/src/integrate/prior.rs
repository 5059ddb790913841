//! Priors on the relative standard deviations.

use crate::Error;
use crate::layout::ThetaEntry;
use serde::Serialize;
use std::f64::consts::PI;

/// Family of a prior on [0, inf).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum PriorShape {
    /// Density proportional to exp(-x^2 / (2 scale^2)).
    HalfNormal,
    /// Density proportional to 1 / (1 + x^2 / scale^2) (Gelman 2006).
    HalfCauchy,
}

/// Prior of one term.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpreadPrior {
    /// Family.
    pub shape: PriorShape,
    /// Scale, in units of theta: a standard deviation relative to the residual
    /// one, per unit of the slope's column for a slope.
    pub scale: f64,
}

/// Priors of all terms. A diagonal entry of Lambda has the half form of its
/// term's prior; an entry below the diagonal has the two-sided form of the
/// prior of its row's diagonal, centred at 0, independent of the rest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Prior {
    /// Prior of every term not named below.
    pub default: SpreadPrior,
    /// Priors by name of the diagonal theta entry, `factor.effect`.
    pub terms: Vec<(String, SpreadPrior)>,
}

impl Prior {
    /// The same half-normal prior for all terms.
    pub fn half_normal(scale: f64) -> Prior {
        Prior { default: SpreadPrior { shape: PriorShape::HalfNormal, scale }, terms: Vec::new() }
    }

    /// The same half-Cauchy prior for all terms.
    pub fn half_cauchy(scale: f64) -> Prior {
        Prior { default: SpreadPrior { shape: PriorShape::HalfCauchy, scale }, terms: Vec::new() }
    }

    /// Sets the prior of one term.
    #[must_use]
    pub fn term(mut self, name: impl Into<String>, prior: SpreadPrior) -> Prior {
        self.terms.push((name.into(), prior));
        self
    }

    /// The same families with all scales multiplied by `factor`.
    #[must_use]
    pub fn rescaled(&self, factor: f64) -> Prior {
        let scale = |p: &SpreadPrior| SpreadPrior { shape: p.shape, scale: p.scale * factor };
        Prior {
            default: scale(&self.default),
            terms: self.terms.iter().map(|(n, p)| (n.clone(), scale(p))).collect(),
        }
    }

    pub(crate) fn check(&self, entries: &[ThetaEntry]) -> Result<(), Error> {
        for (name, _) in &self.terms {
            if !entries.iter().any(|e| e.is_diagonal() && e.name == *name) {
                return Err(Error::Unknown { what: format!("spread term {name}") });
            }
        }
        for p in self.terms.iter().map(|t| &t.1).chain([&self.default]) {
            // Written so that NaN fails.
            if !(p.scale > 0.0 && p.scale.is_finite()) {
                return Err(Error::BadSetting {
                    name: "prior scale",
                    value: p.scale,
                    need: "finite and above 0",
                });
            }
        }
        Ok(())
    }

    /// The prior that governs each entry of theta.
    pub(crate) fn by_entry(&self, entries: &[ThetaEntry]) -> Vec<SpreadPrior> {
        entries
            .iter()
            .map(|e| {
                let own = entries
                    .iter()
                    .find(|d| d.factor == e.factor && d.row == e.row && d.is_diagonal());
                let name = own.map_or("", |d| d.name.as_str());
                self.terms.iter().find(|t| t.0 == name).map_or(self.default, |t| t.1)
            })
            .collect()
    }

    /// Log prior density of theta.
    pub(crate) fn log_density(&self, entries: &[ThetaEntry], theta: &[f64]) -> f64 {
        let priors = self.by_entry(entries);
        entries
            .iter()
            .zip(&priors)
            .zip(theta)
            .map(|((e, p), x)| p.log_density(*x) - if e.is_diagonal() { 0.0 } else { 2.0_f64.ln() })
            .sum()
    }

    /// Derivative of the log density by entry.
    pub(crate) fn log_density_gradient(&self, entries: &[ThetaEntry], theta: &[f64]) -> Vec<f64> {
        let priors = self.by_entry(entries);
        priors.iter().zip(theta).map(|(p, x)| p.slope(*x)).collect()
    }
}

impl SpreadPrior {
    /// Log density at |x| of the half form.
    fn log_density(&self, x: f64) -> f64 {
        let z = x / self.scale;
        match self.shape {
            PriorShape::HalfNormal => 0.5 * (2.0 / PI).ln() - self.scale.ln() - 0.5 * z * z,
            PriorShape::HalfCauchy => (2.0 / PI).ln() - self.scale.ln() - (z * z).ln_1p(),
        }
    }

    fn slope(&self, x: f64) -> f64 {
        let z = x / self.scale;
        match self.shape {
            PriorShape::HalfNormal => -z / self.scale,
            PriorShape::HalfCauchy => -2.0 * z / (self.scale * (1.0 + z * z)),
        }
    }
}
