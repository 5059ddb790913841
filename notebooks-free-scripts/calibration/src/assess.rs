//! One plantation from plan to rows: simulated, analysed, compared with the truth.

use crate::args::Plantation as Wanted;
use crate::estimate::{At, Estimate, Spreadsheet, spreadsheet};
use crate::plan;
use crate::row::Row;
use crate::rules;
use advise::{RegionAdvice, Verdict};
use anacurve::console::{Failure, Stages};
use anacurve::pipeline::advice::{Advised, Decided};
use anacurve::pipeline::{self, Checked, advice};
use plantation_sim::{Plantation, RegionPlan, RegionTruth, Tidiness, simulate, truth, write_book};
use std::io;
use std::path::Path;

/// Rows of a plantation, one per region. What goes wrong is written into the rows.
pub fn assess(wanted: Wanted) -> Vec<Row> {
    let plantation = plan::plantation(wanted);
    let seed = wanted.cell.seed(wanted.replicate);
    let records = simulate(&plantation, seed);
    let told = truth(&plantation, &records);
    let analysed = tempfile::tempdir()
        .and_then(|dir| {
            write_book(&records, &plantation, dir.path(), Tidiness::Clean)?;
            Ok(analyse(dir.path(), seed))
        })
        .unwrap_or_else(|error| Err(format!("the book could not be written: {error}")));
    told.regions
        .iter()
        .zip(&plantation.regions)
        .zip(1_u32..)
        .map(|((told, plan), number)| {
            let truth = RegionReturns { plantation: &plantation, plan, told };
            let row = truth.present(Row::of(wanted, number));
            let filled = analysed
                .as_ref()
                .map_err(Clone::clone)
                .and_then(|(checked, advised)| truth.compare(row.clone(), checked, advised));
            filled.unwrap_or_else(|error| Row { error, ..row })
        })
        .collect()
}

/// Writes the record book of a plantation into a folder of its own.
pub fn write(wanted: Wanted, dir: &Path) -> io::Result<()> {
    let plantation = plan::plantation(wanted);
    let records = simulate(&plantation, wanted.cell.seed(wanted.replicate));
    write_book(&records, &plantation, &dir.join(&plantation.name), Tidiness::Clean)
}

fn analyse(book: &Path, seed: u64) -> Result<(Checked, Advised), String> {
    let stages = Stages::new();
    let failed = |failure: Failure| match &failure {
        Failure::Book(problems) => problems.first().map_or_else(String::new, ToString::to_string),
        Failure::Other { .. } => failure.to_string(),
    };
    let checked = pipeline::check(book, &stages).map_err(failed)?;
    // The forest tells nothing that this study asks about.
    let asked = advice::Wanted { seed, challenger: false };
    match advice::advise(&checked, asked, &stages).map_err(failed)? {
        Decided::Fitted(advised) => Ok((checked, *advised)),
        Decided::Unfitted(run) => Err(run.why),
    }
}

/// True net returns of a region in the season advised for.
struct RegionReturns<'a> {
    plantation: &'a Plantation,
    plan: &'a RegionPlan,
    told: &'a RegionTruth,
}

impl RegionReturns<'_> {
    fn net(&self, at: At) -> f64 {
        let lead = (at.intensity > 0.0).then_some(at.lead_days);
        let kg = self.told.unpruned.kg * self.plan.response.ratio(at.intensity, lead);
        self.plantation.economics.price_per_kg * kg - self.plantation.cost(self.plan, at.intensity)
    }

    /// What is known without an analysis: the best within the plan's range and present practice.
    fn present(&self, row: Row) -> Row {
        let best = self.told.net_optimum.net;
        let regret = Some(round(best - self.told.present.net));
        Row {
            best_net: Some(round(best)),
            regret_present: regret,
            // Without advice present practice goes on.
            regret_followed: regret,
            ..row
        }
    }

    fn compare(&self, row: Row, checked: &Checked, advised: &Advised) -> Result<Row, String> {
        let region = &self.plan.id;
        let advice = advised
            .advice
            .regions
            .iter()
            .find(|advice| &advice.region == region)
            .ok_or("the region has no advice")?;
        let estimate = Estimate::of(checked, advised, region)?;
        let Spreadsheet { seen, median_lead } = spreadsheet(checked, region)?;
        let support = estimate.fit.support.as_ref().ok_or("nothing was tested")?;
        let best = self.best(&estimate);
        let present = self.told.present.net;
        let regret = |at: At| Some(round(best.net - self.net(at)));
        let [first, last] = match (estimate.fit.fixed_lead, support.lead) {
            (None, Some(leads)) => leads,
            (lead, _) => [lead.unwrap_or(0.0); 2],
        };
        let timing = self.plan.response.timing.best_lead_days.clamp(first, last);
        let at_best_lead = At { lead_days: timing, ..estimate.candidate };
        let class = rules::best_class(&seen, estimate.objective);
        let quadratic = rules::quadratic(&seen, support.intensity, estimate.objective);
        let ruled = |intensity: Option<f64>, lead: Option<f64>| {
            regret(At { intensity: intensity?, lead_days: lead? })
        };
        let lent = Some(estimate.lent_lead);
        let own = estimate.fit.fixed_lead.or(median_lead);
        let [optimum80, optimum95] = estimate.optimum;
        let [gain80, gain95] = estimate.gain;
        let changed = changed(advice);
        Ok(Row {
            verdict: word(advice.verdict).to_owned(),
            habit: format!("{:?}", estimate.fit.habit),
            scale: format!("{:?}", advised.model.scale),
            tested_low: Some(round(support.intensity[0])),
            tested_high: Some(round(support.intensity[1])),
            optimum: Some(round(best.intensity)),
            optimum_lead: Some(round(timing)),
            place: best.place.to_owned(),
            median: Some(round(optimum95.median)),
            low80: Some(round(optimum80.low)),
            high80: Some(round(optimum80.high)),
            low95: Some(round(optimum95.low)),
            high95: Some(round(optimum95.high)),
            p_upper: Some(round(estimate.explored.net_optima.p_upper_edge)),
            candidate: Some(round(estimate.candidate.intensity)),
            candidate_lead: Some(round(estimate.candidate.lead_days)),
            p_gain: Some(round(estimate.p_gain)),
            gain: Some(round(self.net(estimate.candidate) - present)),
            gain_median: Some(round(gain95.median)),
            gain_low80: Some(round(gain80.low)),
            gain_high80: Some(round(gain80.high)),
            gain_low95: Some(round(gain95.low)),
            gain_high95: Some(round(gain95.high)),
            advised: changed.map(|at| round(at.intensity)),
            advised_lead: changed.map(|at| round(at.lead_days)),
            unpruned: Some(round(self.told.unpruned.kg)),
            unpruned_median: Some(round(estimate.unpruned_kg())),
            class: class.map(round),
            quadratic: quadratic.map(round),
            best_net: Some(round(best.net)),
            regret_present: Some(round(best.net - present)),
            regret_followed: changed.map_or(Some(round(best.net - present)), regret),
            regret_candidate: regret(estimate.candidate),
            regret_candidate_best_lead: regret(at_best_lead),
            regret_class: ruled(class, own),
            regret_quadratic: ruled(quadratic, own),
            regret_class_lent_lead: ruled(class, lent),
            regret_quadratic_lent_lead: ruled(quadratic, lent),
            ..row
        })
    }

    /// The truth on the very practices that the analysis searches: same intensities, same leads,
    /// so that coverage is about the same quantity that the draws describe.
    fn best(&self, estimate: &Estimate<'_>) -> TrueBest {
        let grid = &estimate.explored.grid;
        let practices = || {
            grid.leads.iter().flat_map(|&lead_days| {
                grid.intensities.iter().map(move |&intensity| At { intensity, lead_days })
            })
        };
        let (mut net, mut intensity) = (f64::NEG_INFINITY, f64::NAN);
        for (at, _) in practices().zip(&grid.supported).filter(|(_, supported)| **supported) {
            let own = self.net(at);
            if own > net + 1e-12 {
                (net, intensity) = (own, at.intensity);
            }
        }
        // Regret is against the best of all tested intensities at all tested leads, of which the
        // corners may not have been tried together.
        let net = practices().map(|at| self.net(at)).fold(f64::NEG_INFINITY, f64::max);
        let is = |edge: Option<&f64>| edge == Some(&intensity);
        let place = match (is(grid.intensities.first()), is(grid.intensities.last())) {
            (true, _) => "lower",
            (_, true) => "upper",
            _ => "inside",
        };
        TrueBest { net, intensity, place }
    }
}

struct TrueBest {
    net: f64,
    intensity: f64,
    place: &'static str,
}

/// The practice advised in place of the present one, for good or until a trial is read.
fn changed(advice: &RegionAdvice) -> Option<At> {
    let advised = match advice.verdict {
        Verdict::Prune => advice.advised.as_ref()?,
        Verdict::Trial => advice.interim.as_ref()?,
        Verdict::Keep => return None,
    };
    // An unpruned tree has no lead; any will do.
    Some(At { intensity: advised.intensity, lead_days: advised.lead_days.unwrap_or(0.0) })
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Prune => "prune",
        Verdict::Keep => "keep",
        Verdict::Trial => "trial",
    }
}

/// Four decimals: money in hundredths of a per cent, intensity in hundredths of a per cent.
fn round(value: f64) -> f64 {
    (value * 1e4).round() / 1e4 + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cell::Cell;

    /// Witness: the analysis itself. The gain recomputed here from the draws has the limits that
    /// the advice states at the book's level, and the truth of the plan its closed-form optimum.
    #[test]
    fn a_plantation_comes_back_with_its_truth() {
        let cell = Cell::all()
            .into_iter()
            .find(|cell| cell.to_string() == "peaked.routine.s4.r3.steady.normal.whole")
            .unwrap();
        let wanted = Wanted { cell, replicate: 0 };
        let rows = assess(wanted);
        assert_eq!(rows.len(), 3);
        assert_eq!(rows, assess(wanted));
        let plantation = plan::plantation(wanted);
        let records = simulate(&plantation, cell.seed(0));
        let told = truth(&plantation, &records);
        for (row, told) in rows.iter().zip(&told.regions) {
            assert_eq!(row.error, "");
            // The grid has steps of 1 % and 3 days.
            assert!((row.optimum.unwrap() - told.net_optimum.intensity).abs() < 0.011);
            assert!((row.best_net.unwrap() - told.net_optimum.net).abs() < 0.01);
            assert!(row.regret_candidate.unwrap() > -1e-3);
            assert!(row.gain_low95 < row.gain_low80 && row.gain_high80 < row.gain_high95);
        }
        let dir = tempfile::tempdir().unwrap();
        write_book(&records, &plantation, dir.path(), Tidiness::Clean).unwrap();
        let (checked, advised) = analyse(dir.path(), cell.seed(0)).unwrap();
        for advice in advised.advice.regions.iter().filter(|a| a.verdict == Verdict::Prune) {
            let estimate = Estimate::of(&checked, &advised, &advice.region).unwrap();
            let told = advice.net_gain_over_present.as_ref().unwrap();
            assert!((estimate.gain[1].median - told.amount.median).abs() < 1e-9);
            assert!((estimate.p_gain - advice.p_gain.unwrap()).abs() < 1e-12);
        }
    }
}
