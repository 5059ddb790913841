//! Gains of a practice over leaving trees unpruned and over present practice, draw by draw.

use super::Evidences;
use crate::outcome::Interval;
use model::{Exploration, Objective, Practice, Summary};

/// Per-draw yields of the candidate and of what it is compared with, kg per tree.
pub(super) struct Gains {
    objective: Objective,
    pub(super) intensity: f64,
    pub(super) candidate: Vec<f64>,
    pub(super) unpruned: Vec<f64>,
    pub(super) present: Vec<f64>,
    /// Cost of present practice per tree, the same in every draw.
    present_cost: f64,
    /// Expected net return if every tree were cut as hard as they are on average at present, money per tree;
    /// `None` where the records do not support that.
    even: Option<f64>,
    /// Expected net return if every tree were cut as at present on the candidate's day, money per tree.
    on_day: f64,
}

impl Gains {
    pub(super) fn new(
        evidence: &Evidences<'_>,
        explored: &Exploration,
        candidate: Practice,
    ) -> Self {
        let curve = &evidence.fit.curve;
        let objective = evidence.cost.objective();
        let mut present = vec![0.0; curve.draws()];
        let (mut present_cost, mut on_day) = (0.0, 0.0);
        let draws = curve.draws().max(1) as f64;
        for point in &evidence.practice.points {
            let lead = match evidence.fit.fixed_lead {
                Some(lead) => lead,
                None => point.lead_days.unwrap_or(explored.best.lead_days),
            };
            for (sum, kg) in present.iter_mut().zip(curve.expected_kg(point.intensity, lead)) {
                *sum += point.weight * kg;
            }
            present_cost += point.weight * objective.cost(point.intensity);
            let moved = curve.expected_kg(point.intensity, candidate.lead_days);
            let nets = moved.map(|kg| objective.net(kg, point.intensity));
            on_day += point.weight * nets.sum::<f64>() / draws;
        }
        let mean = evidence.practice.intensity;
        let lead = evidence
            .fit
            .fixed_lead
            .or(evidence.practice.lead_days)
            .unwrap_or(explored.best.lead_days);
        let supported =
            evidence.fit.support.as_ref().is_some_and(|support| support.contains(mean, lead));
        let even = supported.then(|| {
            let nets = curve.expected_kg(mean, lead).map(|kg| objective.net(kg, mean));
            nets.sum::<f64>() / draws
        });
        Self {
            objective,
            even,
            on_day,
            intensity: candidate.intensity,
            candidate: curve.expected_kg(candidate.intensity, candidate.lead_days).collect(),
            unpruned: curve.expected_kg(0.0, candidate.lead_days).collect(),
            present,
            present_cost,
        }
    }

    pub(super) fn over_unpruned(&self, level: f64) -> Interval {
        let gains = self.candidate.iter().zip(&self.unpruned).map(|(c, u)| c - u);
        interval(Summary::of(gains, level), level)
    }

    pub(super) fn present_yield(&self, level: f64) -> Interval {
        interval(Summary::of(self.present.iter().copied(), level), level)
    }

    pub(super) fn over_present(&self, level: f64) -> Interval {
        let gains = self.candidate.iter().zip(&self.present).map(|(c, p)| c - p);
        interval(Summary::of(gains, level), level)
    }

    fn net_gains(&self) -> impl Iterator<Item = f64> + '_ {
        self.candidate.iter().zip(&self.present).map(|(candidate, present)| {
            let net = self.objective.net(*candidate, self.intensity);
            net - (self.objective.price_per_kg * present - self.present_cost)
        })
    }

    pub(super) fn net_over_present(&self, level: f64) -> Interval {
        interval(Summary::of(self.net_gains(), level), level)
    }

    /// Expected net gain over present practice, money per tree.
    pub(super) fn mean_net_gain(&self) -> f64 {
        self.net_gains().sum::<f64>() / self.candidate.len().max(1) as f64
    }

    /// Expected net gain of cutting every tree as hard as they are cut on average, money per tree: what the
    /// unevenness of present practice costs.
    pub(super) fn mean_gain_of_evenness(&self) -> Option<f64> {
        let draws = self.present.len().max(1) as f64;
        let kg = self.present.iter().sum::<f64>() / draws;
        self.even.map(|even| even - (self.objective.price_per_kg * kg - self.present_cost))
    }

    /// Expected net gain of cutting every tree as at present, but on the candidate's day, money per tree.
    pub(super) fn mean_gain_of_dates(&self) -> f64 {
        let draws = self.present.len().max(1) as f64;
        let kg = self.present.iter().sum::<f64>() / draws;
        self.on_day - (self.objective.price_per_kg * kg - self.present_cost)
    }

    /// Probability that the candidate earns more than present practice by at least `margin`.
    pub(super) fn p_net_gain_over(&self, margin: f64) -> f64 {
        let hits = self.net_gains().filter(|gain| *gain > margin).count();
        hits as f64 / self.candidate.len().max(1) as f64
    }

    pub(super) fn p_net_gain(&self) -> f64 {
        self.p_net_gain_over(0.0)
    }
}

pub(super) fn interval(summary: Summary, level: f64) -> Interval {
    Interval { median: summary.median, low: summary.low, high: summary.high, level }
}
