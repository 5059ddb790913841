//! The truth behind simulated records: optima, gains and the verdict that a good analysis reaches.

use crate::orchard::expected_unpruned_kg;
use crate::{Latent, Plantation, Records, RegionPlan, Response};
use serde::{Serialize, Serializer};
use std::collections::BTreeMap;

/// The truth of a plantation.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Truth {
    /// Name of the book.
    pub name: String,
    /// Season the advice is for.
    pub advise_season: i16,
    /// Loss tolerated, per cent of the best net return.
    pub tolerance_pct: f64,
    /// Regions in plan order.
    pub regions: Vec<RegionTruth>,
    /// Designed trials in plan order; left out of the file when there are none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub trials: Vec<TrialTruth>,
}

/// The truth of a designed trial.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrialTruth {
    /// Trial id.
    pub trial: String,
    /// Region id.
    pub region: String,
    /// Seasons under treatment.
    pub seasons: Vec<i16>,
    /// Trees whose plots were lost.
    pub lost_trees: usize,
    /// Intensity at which yield is highest.
    pub best_intensity: f64,
    /// Treatments, the control first.
    pub treatments: Vec<TreatmentTruth>,
}

/// The truth of a treatment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TreatmentTruth {
    /// Level by factor.
    pub levels: BTreeMap<String, String>,
    /// Yield relative to the unpruned tree.
    #[serde(serialize_with = "rounded")]
    pub ratio: f64,
}

/// What a good analysis concludes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The evidence supports a change.
    Prune,
    /// The present practice is within tolerance of the best.
    Keep,
    /// The records cannot tell.
    Trial,
}

/// A treatment and what it brings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    /// Fraction removed.
    #[serde(serialize_with = "rounded")]
    pub intensity: f64,
    /// Lead, days before the flush start; `None` when unpruned.
    pub lead_days: Option<f64>,
    /// Expected yield, kg per tree at reference moisture.
    #[serde(serialize_with = "rounded")]
    pub kg: f64,
    /// Expected net return per tree.
    #[serde(serialize_with = "rounded")]
    pub net: f64,
}

/// The practice of the last recorded season, trial trees left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Present {
    /// The season.
    pub season: i16,
    /// Share of trees pruned.
    #[serde(serialize_with = "rounded")]
    pub share_pruned: f64,
    /// Mean intensity, unpruned trees counting 0.
    #[serde(serialize_with = "rounded")]
    pub intensity: f64,
    /// Expected yield under it, kg per tree, averaged over the trees' true responses.
    #[serde(serialize_with = "rounded")]
    pub kg: f64,
    /// Expected net return under it per tree.
    #[serde(serialize_with = "rounded")]
    pub net: f64,
    /// Loss against the best net return, per cent of the best.
    #[serde(serialize_with = "rounded")]
    pub loss_pct: f64,
}

/// The truth of a region. Yields are those of the region's average mature tree in the advised
/// season: base x age x density x variety x carry-over of the last recorded season's intensities,
/// averaged over trees, all random factors at mean 1.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RegionTruth {
    /// Region id.
    pub region: String,
    /// Name.
    pub name: String,
    /// Expected verdict.
    pub verdict: Verdict,
    /// Why.
    pub reason: String,
    /// True response.
    pub response: Response,
    /// Lowest and highest intensity of the plan.
    pub tested_intensity: [f64; 2],
    /// Least and greatest lead of the plan, days.
    pub tested_lead_days: [f64; 2],
    /// Unpruned tree.
    pub unpruned: Point,
    /// Highest yield over all intensities from 0 to 1 and tested leads.
    pub yield_optimum: Point,
    /// Highest net return within the tested range.
    pub net_optimum: Point,
    /// Relative effect of last season's intensity; left out of the file when there is none.
    #[serde(skip_serializing_if = "is_zero")]
    pub carry_over: f64,
    /// Highest net return per season within the tested range when the same practice is repeated
    /// every season, so that its carry-over is part of it; `None` without carry-over.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lasting_optimum: Option<Point>,
    /// Present practice.
    pub present: Present,
    /// Yield at the net optimum over unpruned, kg per tree.
    #[serde(serialize_with = "rounded")]
    pub gain_over_unpruned_kg: f64,
    /// Yield at the net optimum over present practice, kg per tree.
    #[serde(serialize_with = "rounded")]
    pub gain_over_present_kg: f64,
    /// Net return at the net optimum over present practice, per tree.
    #[serde(serialize_with = "rounded")]
    pub gain_over_present_net: f64,
    /// Share of the pruning effect (log scale) through flowering laterals; `None` without effect.
    pub through_laterals: Option<f64>,
    /// Simulated tree-seasons of mature trees.
    pub tree_seasons: usize,
    /// Standard deviation of their intensities.
    #[serde(serialize_with = "rounded")]
    pub intensity_sd: f64,
}

/// Fewer tree-seasons than this cannot settle an effect of 20 % against errors of 30 %.
const LEAST_TREE_SEASONS: usize = 200;
/// Intensities that vary less than this cannot show a curve.
const LEAST_INTENSITY_SD: f64 = 0.03;
/// Steps of the search over intensities from 0 to 1.
const STEPS_PER_UNIT: f64 = 10_000.0;

/// The truth of a plantation and the records simulated from it, which hold the present practice.
#[must_use]
pub fn truth(plantation: &Plantation, records: &Records) -> Truth {
    let regions = plantation
        .regions
        .iter()
        .enumerate()
        .map(|(index, region)| {
            let own: Vec<&Latent> =
                records.latent.iter().filter(|latent| latent.region == index).collect();
            region_truth(plantation, region, &own)
        })
        .collect();
    Truth {
        name: plantation.name.clone(),
        advise_season: plantation.advise_season,
        tolerance_pct: plantation.tolerance_pct,
        regions,
        trials: plantation.regions.iter().flat_map(trial_truths).collect(),
    }
}

fn trial_truths(region: &RegionPlan) -> impl Iterator<Item = TrialTruth> {
    region.designed.iter().map(|trial| TrialTruth {
        trial: trial.id.clone(),
        region: region.id.clone(),
        seasons: region.seasons().filter(|season| *season >= trial.first_season).collect(),
        lost_trees: trial.lost_plots * trial.trees_per_plot * trial.sites,
        best_intensity: region.response.curve.peak(),
        treatments: trial
            .treatments()
            .into_iter()
            .map(|treatment| TreatmentTruth {
                ratio: treatment.ratio
                    * region.response.ratio(
                        treatment.intensity,
                        (treatment.intensity > 0.0).then_some(treatment.lead_days),
                    ),
                levels: treatment.levels,
            })
            .collect(),
    })
}

#[derive(Clone, Copy)]
struct Returns<'a> {
    plantation: &'a Plantation,
    region: &'a RegionPlan,
    unpruned_kg: f64,
    /// Whether the same practice went before, rather than what the records show.
    repeated: bool,
}

impl Returns<'_> {
    /// Price x yield - cost (design 4.4).
    fn point(&self, intensity: f64, lead_days: Option<f64>) -> Point {
        let lead_days = lead_days.filter(|_| intensity > 0.0);
        let carried = if self.repeated { self.region.carried(intensity) } else { 1.0 };
        let kg = self.unpruned_kg * self.region.response.ratio(intensity, lead_days) * carried;
        let price = self.plantation.economics.price_per_kg;
        let net = price * kg - self.plantation.cost(self.region, intensity);
        Point { intensity, lead_days, kg, net }
    }

    /// The best point up to an intensity; the least intensity when several are equally good.
    fn best(&self, most: f64, value: impl Fn(&Point) -> f64) -> Point {
        let (least_lead, most_lead) = self.region.leads;
        // Every curve here gains nothing by missing the best lead while it gains at all.
        let lead = self.region.response.timing.best_lead_days.clamp(least_lead, most_lead);
        let steps = (most * STEPS_PER_UNIT).round() as u32;
        (1..=steps).map(|k| self.point(f64::from(k) / STEPS_PER_UNIT, Some(lead))).fold(
            self.point(0.0, None),
            |best, point| {
                if value(&point) > value(&best) + 1e-12 { point } else { best }
            },
        )
    }

    fn present(&self, latents: &[&Latent], best_net: f64) -> Present {
        let routine: Vec<&&Latent> =
            latents.iter().filter(|l| l.season == self.region.last_season && !l.trial).collect();
        let mean = |value: &dyn Fn(&Latent) -> f64| {
            let sum: f64 = routine.iter().map(|latent| value(latent)).sum();
            sum / (routine.len() as f64).max(1.0)
        };
        let at = |l: &Latent| self.point(l.intensity, l.lead_days);
        let net = if routine.is_empty() { self.point(0.0, None).net } else { mean(&|l| at(l).net) };
        let kg = if routine.is_empty() { self.unpruned_kg } else { mean(&|l| at(l).kg) };
        Present {
            season: self.region.last_season,
            share_pruned: mean(&|l| f64::from(u8::from(l.intensity > 0.0))),
            intensity: mean(&|l| l.intensity),
            kg,
            net,
            loss_pct: 100.0 * (best_net - net) / best_net,
        }
    }
}

fn region_truth(plantation: &Plantation, region: &RegionPlan, latents: &[&Latent]) -> RegionTruth {
    let expected_kg = expected_unpruned_kg(region, plantation.advise_season);
    let unpruned_kg = expected_kg * mean_carried(region, latents);
    let returns = Returns { plantation, region, unpruned_kg, repeated: false };
    let lasting = Returns { unpruned_kg: expected_kg, repeated: true, ..returns };
    let net_optimum = returns.best(region.tested_max, |point| point.net);
    let present = returns.present(latents, net_optimum.net);
    let (tree_seasons, intensity_sd) = (latents.len(), intensity_sd(latents));
    let at_edge = net_optimum.intensity > region.tested_max - 2.0 / STEPS_PER_UNIT;
    let (verdict, reason) = if tree_seasons < LEAST_TREE_SEASONS {
        (Verdict::Trial, format!("only {tree_seasons} tree-seasons"))
    } else if intensity_sd < LEAST_INTENSITY_SD {
        (Verdict::Trial, format!("intensity hardly varied (standard deviation {intensity_sd:.3})"))
    } else if at_edge {
        let most = 100.0 * region.tested_max;
        (Verdict::Trial, format!("the optimum lies at the highest intensity tried, {most:.0} %"))
    } else if present.loss_pct <= plantation.tolerance_pct {
        let loss = present.loss_pct;
        let why = format!("present practice loses {loss:.2} % of the best net return per tree");
        (Verdict::Keep, why)
    } else {
        let loss = present.loss_pct;
        let why = format!("present practice loses {loss:.1} % of the best net return per tree");
        (Verdict::Prune, why)
    };
    RegionTruth {
        region: region.id.clone(),
        name: region.name.clone(),
        verdict,
        reason,
        response: region.response,
        tested_intensity: [0.0, region.tested_max],
        tested_lead_days: [region.leads.0, region.leads.1],
        unpruned: returns.point(0.0, None),
        yield_optimum: returns.best(1.0, |point| point.kg),
        gain_over_unpruned_kg: net_optimum.kg - unpruned_kg,
        gain_over_present_kg: net_optimum.kg - present.kg,
        gain_over_present_net: net_optimum.net - present.net,
        net_optimum,
        carry_over: region.carry_over,
        lasting_optimum: (region.carry_over != 0.0)
            .then(|| lasting.best(region.tested_max, |point| point.net)),
        present,
        through_laterals: (region.response.curve.peak() > 0.0).then_some(region.through_laterals),
        tree_seasons,
        intensity_sd,
    }
}

/// What the last recorded season's intensities do to the next season's yield, averaged over trees;
/// exactly 1 without carry-over.
fn mean_carried(region: &RegionPlan, latents: &[&Latent]) -> f64 {
    let last: Vec<f64> = latents
        .iter()
        .filter(|latent| latent.season == region.last_season)
        .map(|latent| region.carried(latent.intensity))
        .collect();
    if last.is_empty() { 1.0 } else { last.iter().sum::<f64>() / last.len() as f64 }
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the signature that serde calls")]
fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

/// Six decimals are enough for a file that people read.
#[expect(clippy::trivially_copy_pass_by_ref, reason = "the signature that serde calls")]
fn rounded<S: Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    let micro = (value * 1e6).round() / 1e6;
    // No negative zero in the file.
    serializer.serialize_f64(micro + 0.0)
}

fn intensity_sd(latents: &[&Latent]) -> f64 {
    let n = (latents.len() as f64).max(1.0);
    let mean = latents.iter().map(|latent| latent.intensity).sum::<f64>() / n;
    (latents.iter().map(|latent| (latent.intensity - mean).powi(2)).sum::<f64>() / n).sqrt()
}
