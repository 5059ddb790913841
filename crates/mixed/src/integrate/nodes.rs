//! Weighted points in theta and the log posterior that weighs them.

use super::prior::Prior;
use crate::Error;
use crate::quasi_newton::Evaluation;
use crate::settings::Criterion;
use crate::system::System;
use serde::Serialize;

/// How to integrate.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IntegrationSettings {
    /// Gauss-Legendre nodes per panel, with one parameter.
    pub panel_nodes: usize,
    /// Points of the quasi-Monte-Carlo rule, with several parameters.
    pub points: usize,
    /// Seed of the shift of those points.
    pub seed: u64,
}

impl Default for IntegrationSettings {
    fn default() -> Self {
        IntegrationSettings { panel_nodes: 40, points: 2048, seed: 1 }
    }
}

impl IntegrationSettings {
    pub(crate) fn check(&self) -> Result<(), Error> {
        for (name, value) in [("panel_nodes", self.panel_nodes), ("points", self.points)] {
            if !(8..=1_000_000).contains(&value) {
                return Err(Error::BadSetting {
                    name,
                    value: value as f64,
                    need: "from 8 to 1000000",
                });
            }
        }
        Ok(())
    }
}

/// Rule that placed the nodes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Method {
    /// No random effect: one node.
    Exact,
    /// Gauss-Legendre panels in t, theta = t / (1 - t).
    GaussLegendre,
    /// Quasi-Monte-Carlo importance sampling from a folded multivariate t.
    FoldedT,
}

/// One node.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub theta: Vec<f64>,
    /// -REML/2.
    pub log_likelihood: f64,
    /// Log of the node's share of theta space: everything in the weight but
    /// likelihood and prior.
    pub log_volume: f64,
}

/// Nodes with the share of weight at the edge of the rule.
pub(crate) struct Rule {
    pub nodes: Vec<Node>,
    /// Nodes on the outermost positions (Gauss-Legendre only).
    pub edge: Vec<usize>,
}

/// The log posterior in standardised units x = theta times column rms.
pub(crate) struct LogPosterior<'a> {
    pub system: &'a System,
    pub prior: &'a Prior,
}

impl LogPosterior<'_> {
    pub fn theta(&self, x: &[f64]) -> Vec<f64> {
        let rms = &self.system.column_rms;
        x.iter().zip(rms).map(|(v, r)| v / r).collect()
    }

    /// (-REML/2, log prior) up to the constant of the change of units.
    pub fn parts(&self, x: &[f64]) -> Option<(f64, f64)> {
        debug_assert_eq!(self.system.criterion, Criterion::Reml);
        let theta = self.theta(x);
        let solved = self.system.solve(&theta).ok()?;
        let log_likelihood = -0.5 * self.system.criterion(&solved);
        let log_prior = self.prior.log_density(&self.system.entries, &theta);
        (log_likelihood.is_finite() && log_prior.is_finite()).then_some((log_likelihood, log_prior))
    }

    /// Negative log posterior with gradient, for the search of its mode.
    pub fn negative(&self, x: &[f64]) -> Evaluation {
        let theta = self.theta(x);
        let solved = self.system.solve(&theta).ok()?;
        let prior = self.prior.log_density(&self.system.entries, &theta);
        let slope = self.prior.log_density_gradient(&self.system.entries, &theta);
        let value = 0.5 * self.system.criterion(&solved) - prior;
        let gradient: Vec<f64> = self
            .system
            .criterion_gradient(&solved)
            .iter()
            .zip(&slope)
            .zip(&self.system.column_rms)
            .map(|((g, s), rms)| (0.5 * g - s) / rms)
            .collect();
        (value.is_finite() && gradient.iter().all(|g| g.is_finite())).then_some((value, gradient))
    }
}

/// Weights that sum to 1, and the effective number of nodes 1 / sum w^2.
pub(crate) fn normalise(log_weights: &[f64]) -> Option<(Vec<f64>, f64)> {
    let top = log_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return None;
    }
    let raw: Vec<f64> = log_weights.iter().map(|l| (l - top).exp()).collect();
    let total: f64 = raw.iter().sum();
    let weights: Vec<f64> = raw.iter().map(|w| w / total).collect();
    let effective = 1.0 / weights.iter().map(|w| w * w).sum::<f64>();
    Some((weights, effective))
}
