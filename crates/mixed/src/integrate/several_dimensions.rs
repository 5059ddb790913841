//! Quasi-Monte-Carlo importance sampling for several parameters.

use super::halton::{Halton, MOST};
use super::nodes::{IntegrationSettings, LogPosterior, Node, Rule, normalise};
use super::proposal::Proposal;
use crate::Error;
use crate::matrix::Matrix;
use crate::quasi_newton::{hessian, minimise};
use crate::threads;

/// Share of effective points under which the proposal is refitted.
const WANTED: f64 = 0.5;
/// Most refits of the proposal.
const REFITS: usize = 3;
/// Points by which a proposal is judged and refitted.
const PILOT: usize = 512;

/// Nodes from a folded t at the mode of the posterior; the proposal is refitted
/// to some weighted points while too few of them are effective.
pub(crate) fn rule(
    target: &LogPosterior<'_>,
    start: &[f64],
    settings: &IntegrationSettings,
) -> Result<Rule, Error> {
    let entries = &target.system.entries;
    let n = entries.len();
    if n + 1 > MOST {
        return Err(Error::TooLarge { columns: n, limit: MOST - 1 });
    }
    let failed = Error::Numerical { what: "the posterior of theta has no usable mode" };
    let folded: Vec<bool> = entries.iter().map(|e| e.is_diagonal()).collect();
    // 0 is stationary: start just beside it.
    let beside: Vec<f64> =
        start.iter().zip(&folded).map(|(x, f)| if *f { x.abs().max(0.05) } else { *x }).collect();
    let mut negative = |x: &[f64]| target.negative(x);
    let mode = minimise(&mut negative, &beside, 200, 1e-5).ok_or(failed.clone())?;
    let h = hessian(&mut negative, &mode.x).ok_or(failed.clone())?;
    let priors = target.prior.by_entry(entries);
    let widest = priors
        .iter()
        .zip(&target.system.column_rms)
        .map(|(p, rms)| p.scale * rms)
        .fold(0.0_f64, f64::max);
    let covariance = Proposal::covariance(&h, 1.0 / (widest * widest)).ok_or(failed.clone())?;
    let centre: Vec<f64> =
        mode.x.iter().zip(&folded).map(|(x, f)| if *f { x.abs() } else { *x }).collect();
    let mut proposal = Proposal::new(centre, &covariance, folded.clone()).ok_or(failed.clone())?;
    let halton = Halton::new(n + 1, settings.seed);
    let pilot = settings.points.min(PILOT);
    let mut best = sample(target, &proposal, &halton, pilot);
    for _ in 0..REFITS {
        let Some((weights, effective)) = normalise(&best.log_weights) else {
            return Err(failed);
        };
        if effective >= WANTED * pilot as f64 {
            break;
        }
        let Some(refit) = refitted(&best.points, &weights, &folded) else {
            break;
        };
        let next = sample(target, &refit, &halton, pilot);
        match normalise(&next.log_weights) {
            Some((_, better)) if better > effective => (best, proposal) = (next, refit),
            _ => break,
        }
    }
    if pilot < settings.points {
        best = sample(target, &proposal, &halton, settings.points);
    }
    Ok(Rule { nodes: best.nodes, edge: Vec::new() })
}

/// Points where the posterior is defined, their log weights, and the nodes
/// that they make.
struct Sample {
    points: Vec<Vec<f64>>,
    log_weights: Vec<f64>,
    nodes: Vec<Node>,
}

fn sample(
    target: &LogPosterior<'_>,
    proposal: &Proposal,
    halton: &Halton,
    points: usize,
) -> Sample {
    let found = threads::map(points, |index| {
        let x = proposal.point(&halton.point(index));
        let (log_likelihood, log_prior) = target.parts(&x)?;
        let log_volume = -proposal.log_density(&x);
        let weight = log_likelihood + log_prior + log_volume;
        Some((Node { theta: target.theta(&x), log_likelihood, log_volume }, x, weight))
    });
    let mut out = Sample { points: Vec::new(), log_weights: Vec::new(), nodes: Vec::new() };
    for (node, x, weight) in found.into_iter().flatten() {
        out.nodes.push(node);
        out.points.push(x);
        out.log_weights.push(weight);
    }
    out
}

fn refitted(points: &[Vec<f64>], weights: &[f64], folded: &[bool]) -> Option<Proposal> {
    let n = folded.len();
    let mut mean = vec![0.0; n];
    for (x, w) in points.iter().zip(weights) {
        for (m, v) in mean.iter_mut().zip(x) {
            *m += w * v;
        }
    }
    let mut covariance = Matrix::zeros(n, n);
    for (x, w) in points.iter().zip(weights) {
        for i in 0..n {
            for j in 0..n {
                covariance[(i, j)] += w * (x[i] - mean[i]) * (x[j] - mean[j]);
            }
        }
    }
    Proposal::new(mean, &covariance, folded.to_vec())
}
