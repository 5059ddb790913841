//! The posterior of theta as weighted nodes, its summaries and its sensitivity to the prior.

use super::nodes::{IntegrationSettings, LogPosterior, Method, Node, Rule, normalise};
use super::prior::Prior;
use super::{one_dimension, several_dimensions};
use crate::Error;
use crate::fit::Fit;
use crate::settings::Criterion;
use crate::system::System;
use crate::threads;
use serde::Serialize;
use std::sync::Arc;

/// The posterior of theta given y, with flat priors on the coefficients and
/// 1 / sigma^2 on the residual variance.
#[derive(Debug, Clone)]
pub struct Posterior {
    pub(crate) system: Arc<System>,
    pub(crate) nodes: Vec<Node>,
    pub(crate) weights: Vec<f64>,
    record: IntegrationRecord,
}

/// How the integration went.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IntegrationRecord {
    /// Prior used.
    pub prior: Prior,
    /// Settings used.
    pub settings: IntegrationSettings,
    /// Rule used.
    pub method: Method,
    /// Nodes evaluated.
    pub nodes: usize,
    /// Effective number of nodes, 1 / sum of squared weights.
    pub effective_nodes: f64,
    /// Largest weight of a single node.
    pub largest_weight: f64,
    /// Weight of the outermost nodes (Gauss-Legendre): must be negligible.
    pub edge_weight: f64,
}

/// Posterior of one entry of theta.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThetaSummary {
    /// Name as in [`Fit::theta`].
    pub name: String,
    /// Posterior mean.
    pub mean: f64,
    /// Posterior standard deviation.
    pub std_dev: f64,
    /// 5 % quantile.
    pub q05: f64,
    /// Median.
    pub median: f64,
    /// 95 % quantile.
    pub q95: f64,
}

/// Theta under the prior used and under half and double its scale.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sensitivity {
    /// At half the scale.
    pub half: Vec<ThetaSummary>,
    /// As used.
    pub used: Vec<ThetaSummary>,
    /// At double the scale.
    pub double: Vec<ThetaSummary>,
    /// Smallest effective number of nodes among the three.
    pub effective_nodes: f64,
}

impl Fit {
    /// Integrates over theta: log p(theta | y) = -REML(theta)/2 + log prior.
    /// A fit by ML is integrated under REML all the same.
    ///
    /// # Errors
    /// Unusable prior or settings; more than 15 variance parameters; no
    /// usable mode.
    pub fn integrate(
        &self,
        prior: &Prior,
        settings: &IntegrationSettings,
    ) -> Result<Posterior, Error> {
        settings.check()?;
        prior.check(&self.system.entries)?;
        let mut system = Arc::clone(&self.system);
        if system.criterion != Criterion::Reml {
            let mut other = (*system).clone();
            other.criterion = Criterion::Reml;
            system = Arc::new(other);
        }
        let target = LogPosterior { system: &system, prior };
        let start: Vec<f64> =
            self.solved.theta.iter().zip(&system.column_rms).map(|(t, rms)| t * rms).collect();
        let (method, rule) = match start.as_slice() {
            [] => (Method::Exact, exact(&target)?),
            [x] => (Method::GaussLegendre, one_dimension::rule(&target, *x, settings.panel_nodes)),
            _ => (Method::FoldedT, several_dimensions::rule(&target, &start, settings)?),
        };
        let (weights, effective_nodes) = weigh(&system, &rule.nodes, prior)?;
        let record = IntegrationRecord {
            prior: prior.clone(),
            settings: settings.clone(),
            method,
            nodes: rule.nodes.len(),
            effective_nodes,
            largest_weight: weights.iter().copied().fold(0.0, f64::max),
            edge_weight: rule.edge.iter().fold(0.0, |sum, i| sum + weights[*i]),
        };
        Ok(Posterior { nodes: rule.nodes, weights, record, system })
    }
}

fn exact(target: &LogPosterior<'_>) -> Result<Rule, Error> {
    let (log_likelihood, _) =
        target.parts(&[]).ok_or(Error::Numerical { what: "the model without random effects" })?;
    Ok(Rule {
        nodes: vec![Node { theta: Vec::new(), log_likelihood, log_volume: 0.0 }],
        edge: Vec::new(),
    })
}

fn weigh(system: &System, nodes: &[Node], prior: &Prior) -> Result<(Vec<f64>, f64), Error> {
    let log_weights: Vec<f64> = nodes
        .iter()
        .map(|n| n.log_likelihood + n.log_volume + prior.log_density(&system.entries, &n.theta))
        .collect();
    normalise(&log_weights)
        .ok_or(Error::Numerical { what: "the posterior of theta has no mass on the nodes" })
}

impl Posterior {
    /// Prior, rule and quality of the integration.
    pub fn record(&self) -> &IntegrationRecord {
        &self.record
    }

    /// Nodes of theta with their weights, which sum to 1.
    pub fn nodes(&self) -> Vec<(&[f64], f64)> {
        let weights = self.weights.iter().copied();
        self.nodes.iter().map(|n| n.theta.as_slice()).zip(weights).collect()
    }

    /// Posterior summaries of theta.
    pub fn theta(&self) -> Vec<ThetaSummary> {
        summarise(&self.system, &self.nodes, &self.weights)
    }

    /// The same integration under another prior, by reweighting the nodes.
    ///
    /// # Errors
    /// Unusable prior.
    pub fn reweighted(&self, prior: &Prior) -> Result<Posterior, Error> {
        prior.check(&self.system.entries)?;
        let (weights, effective_nodes) = weigh(&self.system, &self.nodes, prior)?;
        let mut record = self.record.clone();
        record.prior = prior.clone();
        record.effective_nodes = effective_nodes;
        record.largest_weight = weights.iter().copied().fold(0.0, f64::max);
        Ok(Posterior {
            system: Arc::clone(&self.system),
            nodes: self.nodes.clone(),
            weights,
            record,
        })
    }

    /// The posterior of another fit of the same variance parameters, by the nodes of this one: their
    /// likelihoods are those of the other fit, their volumes stay (importance sampling; Geweke, 1989,
    /// Econometrica 57:1317-1339). Good where the two differ little, as the effective number of nodes
    /// of its record tells.
    ///
    /// # Errors
    /// [`Error::Incompatible`] when the variance parameters have other names or the fit is not by
    /// REML; no mass on the nodes.
    pub fn carried(&self, other: &Fit) -> Result<Posterior, Error> {
        let system = &other.system;
        let names = |system: &System| -> Vec<String> {
            system.entries.iter().map(|entry| entry.name.clone()).collect()
        };
        if system.criterion != Criterion::Reml || names(system) != names(&self.system) {
            return Err(Error::Incompatible { what: "variance parameters or criterion".into() });
        }
        let found = threads::map(self.nodes.len(), |at| {
            let theta = &self.nodes[at].theta;
            let criterion = system.criterion(&system.solve(theta).ok()?);
            criterion
                .is_finite()
                .then(|| Node { log_likelihood: -0.5 * criterion, ..self.nodes[at].clone() })
        });
        let nodes: Vec<Node> = found.into_iter().flatten().collect();
        let (weights, effective_nodes) = weigh(system, &nodes, &self.record.prior)?;
        let mut record = self.record.clone();
        record.nodes = nodes.len();
        record.effective_nodes = effective_nodes;
        record.largest_weight = weights.iter().copied().fold(0.0, f64::max);
        system.scratch.clear();
        Ok(Posterior { system: Arc::clone(system), nodes, weights, record })
    }

    /// Theta at half and double the prior scale.
    ///
    /// # Errors
    /// None but those of [`Posterior::reweighted`].
    pub fn sensitivity(&self) -> Result<Sensitivity, Error> {
        let half = self.reweighted(&self.record.prior.rescaled(0.5))?;
        let double = self.reweighted(&self.record.prior.rescaled(2.0))?;
        let effective = [&half, self, &double].map(|p| p.record.effective_nodes);
        Ok(Sensitivity {
            half: half.theta(),
            used: self.theta(),
            double: double.theta(),
            effective_nodes: effective.into_iter().fold(f64::INFINITY, f64::min),
        })
    }
}

fn summarise(system: &System, nodes: &[Node], weights: &[f64]) -> Vec<ThetaSummary> {
    system
        .entries
        .iter()
        .enumerate()
        .map(|(i, entry)| {
            let mut pairs: Vec<(f64, f64)> =
                nodes.iter().map(|n| n.theta[i]).zip(weights.iter().copied()).collect();
            pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
            let mean: f64 = pairs.iter().map(|(x, w)| x * w).sum();
            let variance: f64 = pairs.iter().map(|(x, w)| w * (x - mean).powi(2)).sum();
            ThetaSummary {
                name: entry.name.clone(),
                mean,
                std_dev: variance.sqrt(),
                q05: quantile(&pairs, 0.05),
                median: quantile(&pairs, 0.5),
                q95: quantile(&pairs, 0.95),
            }
        })
        .collect()
}

/// Weighted quantile of sorted pairs, linear between the middles of the weights.
fn quantile(pairs: &[(f64, f64)], at: f64) -> f64 {
    let mut below = 0.0;
    let mut previous: Option<(f64, f64)> = None;
    for (x, w) in pairs {
        let middle = below + 0.5 * w;
        if middle >= at {
            return match previous {
                Some((x0, m0)) if middle > m0 => x0 + (x - x0) * (at - m0) / (middle - m0),
                _ => *x,
            };
        }
        below += w;
        previous = Some((*x, middle));
    }
    pairs.last().map_or(f64::NAN, |p| p.0)
}
