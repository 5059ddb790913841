//! Net return of a practice repeated over several seasons, with what each cut leaves to the next.

use super::Evidences;
use super::gains::interval;
use crate::outcome::Horizon;
use model::{Exploration, Practice, Summary};
use workplan::economics::SeasonSums;

/// Seed of the carry-over draws relative to the run's, so that they are independent of the curves.
const STREAM: u64 = 0x0c0f_fee5;

/// Net return over the book's horizon of the candidate and of the best repeated intensity, against
/// repeating present practice; `None` without an estimate of carry-over.
pub(super) fn horizon(
    evidence: &Evidences<'_>,
    explored: &Exploration,
    candidate: Practice,
    level: f64,
) -> Option<Horizon> {
    let carry_over = evidence.carry_over?;
    let seasons = evidence.book.options.horizon_seasons;
    let carry = carry_over.draws(evidence.fit.curve.draws(), evidence.seed ^ STREAM);
    let account = Account::new(evidence, explored, carry, seasons);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len().max(1) as f64;
    let best = explored
        .grid
        .intensities
        .iter()
        .filter_map(|&intensity| {
            Some(Practice { intensity, lead_days: explored.best_lead(intensity)? })
        })
        .map(|practice| (mean(&account.of(practice)), practice.intensity))
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)))?;
    let gains = account.of(candidate).into_iter().zip(&account.present).map(|(c, p)| c - p);
    Some(Horizon {
        seasons,
        best_intensity: best.1,
        net_gain: interval(Summary::of(gains, level), level),
    })
}

/// Yields of the candidate and of present practice summed over the first season, the first two, up
/// to the book's horizon; what each cut leaves to the next is counted where the records show it.
/// `break_even_kg` is the gain over a number of seasons that pays at the book's own price and wage.
pub(super) fn season_sums(
    evidence: &Evidences<'_>,
    explored: &Exploration,
    candidate: Practice,
    break_even_kg: impl Fn(usize) -> f64,
) -> Vec<SeasonSums> {
    let draws = evidence.fit.curve.draws();
    let carry = evidence
        .carry_over
        .map_or_else(|| vec![0.0; draws], |effect| effect.draws(draws, evidence.seed ^ STREAM));
    let account = Account::new(evidence, explored, carry, 1);
    let first = account.kg(candidate, account.before);
    let later = account.kg(candidate, candidate.intensity);
    (1..=evidence.book.options.horizon_seasons)
        .filter_map(|seasons| {
            let repeats = f64::from(seasons - 1);
            let advised: Vec<f64> =
                first.iter().zip(&later).map(|(first, later)| first + repeats * later).collect();
            let present: Vec<f64> =
                account.present_kg.iter().map(|kg| f64::from(seasons) * kg).collect();
            SeasonSums::of(&advised, &present, break_even_kg(seasons as usize))
        })
        .collect()
}

/// Money over the horizon, draw by draw.
struct Account<'a> {
    evidence: &'a Evidences<'a>,
    seasons: u32,
    /// Effect of a full canopy removed in the season before.
    carry: Vec<f64>,
    /// Intensity of present practice, over all trees: what went before the level of the curve.
    before: f64,
    /// Return of repeating present practice.
    present: Vec<f64>,
    /// Yield of one season of present practice repeated.
    present_kg: Vec<f64>,
}

impl<'a> Account<'a> {
    fn new(
        evidence: &'a Evidences<'a>,
        explored: &Exploration,
        carry: Vec<f64>,
        seasons: u32,
    ) -> Self {
        let practice = evidence.practice;
        let before = practice.points.iter().map(|point| point.weight * point.intensity).sum();
        let none = vec![0.0; carry.len()];
        let (mut present, mut present_kg) = (none.clone(), none.clone());
        let mut account =
            Self { evidence, seasons, carry, before, present: none.clone(), present_kg: none };
        for point in &practice.points {
            let lead = match evidence.fit.fixed_lead {
                Some(lead) => lead,
                None => point.lead_days.unwrap_or(explored.best.lead_days),
            };
            // Repeated, present practice leaves what it always left.
            let own = Practice { intensity: point.intensity, lead_days: lead };
            let kg = account.kg(own, before);
            for ((net, all), kg) in present.iter_mut().zip(&mut present_kg).zip(kg) {
                let objective = evidence.cost.objective();
                *net += point.weight * objective.net(kg, own.intensity) * f64::from(seasons);
                *all += point.weight * kg;
            }
        }
        (account.present, account.present_kg) = (present, present_kg);
        account
    }

    /// Yield of one season after an intensity in the season before. The level of the curve was
    /// learnt from seasons that followed present practice, so only a departure from it shifts the
    /// yield: one season alone is the gain over present practice that the advice states.
    fn kg(&self, practice: Practice, before: f64) -> Vec<f64> {
        let departure = before - self.before;
        let shift: Vec<f64> = self.carry.iter().map(|effect| effect * departure).collect();
        self.evidence
            .fit
            .curve
            .expected_kg_shifted(practice.intensity, practice.lead_days, &shift)
            .collect()
    }

    /// Net return of one season after an intensity in the season before.
    fn season(&self, practice: Practice, before: f64) -> Vec<f64> {
        let objective = self.evidence.cost.objective();
        let kg = self.kg(practice, before);
        kg.into_iter().map(|kg| objective.net(kg, practice.intensity)).collect()
    }

    /// Net return over the horizon: the first season follows present practice, the others itself.
    fn of(&self, practice: Practice) -> Vec<f64> {
        let first = self.season(practice, self.before);
        let later = self.season(practice, practice.intensity);
        let repeats = f64::from(self.seasons.saturating_sub(1));
        first.iter().zip(later).map(|(first, later)| first + repeats * later).collect()
    }
}
