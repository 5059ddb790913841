//! What the analysis says about a region, at both levels of the study.

use crate::rules::Seen;
use anacurve::pipeline::Checked;
use anacurve::pipeline::advice::Advised;
use model::{Exploration, Grid, Objective, RegionFit, Summary, TreeSeasons};
use records::Practice;

/// Levels of the intervals whose coverage is measured.
const LEVELS: [f64; 2] = [0.80, 0.95];

/// An intensity at a lead.
#[derive(Debug, Clone, Copy)]
pub struct At {
    /// Fraction removed.
    pub intensity: f64,
    /// Days before the flush start.
    pub lead_days: f64,
}

/// What is known about a region after the analysis.
pub struct Estimate<'a> {
    /// Its fit.
    pub fit: &'a RegionFit,
    /// The draws over the supported practices.
    pub explored: Exploration,
    /// Price and cost as the analysis reads them off the records.
    pub objective: Objective,
    /// The advised practice under `prune`, otherwise the best supported one.
    pub candidate: At,
    /// Lead lent to the simple rules: the candidate's, or that of the best yield when it is unpruned.
    pub lent_lead: f64,
    /// The optimum at 80 and 95 %.
    pub optimum: [Summary; 2],
    /// Net gain of the candidate over present practice at 80 and 95 %.
    pub gain: [Summary; 2],
    /// Share of draws in which the candidate earns more than present practice.
    pub p_gain: f64,
}

impl<'a> Estimate<'a> {
    /// Reads a region off the run; the error says what is missing.
    pub fn of(checked: &Checked, advised: &'a Advised, region: &str) -> Result<Self, String> {
        let fit = advised
            .model
            .regions
            .iter()
            .find(|fit| fit.region == region)
            .ok_or("the region is not in the model")?;
        let objective = advised.costs.get(region).ok_or("pruning has no cost")?.objective();
        let support = fit.support.as_ref().ok_or("nothing was tested")?;
        let explored = Exploration::new(&fit.curve, Grid::over(support, fit.fixed_lead), objective)
            .ok_or("no practice is supported")?;
        // The practice that the run's figures are about, advised or only best supported.
        let picture = advised.pictures.iter().find(|picture| picture.region == region);
        let best = explored.best;
        let candidate = picture.map_or(
            At { intensity: best.intensity, lead_days: best.lead_days },
            |picture| At {
                intensity: picture.best_intensity,
                lead_days: picture.curve_lead_days.unwrap_or(best.lead_days),
            },
        );
        let lent_lead = if candidate.intensity > 0.0 {
            candidate.lead_days
        } else {
            explored.best_yield.lead_days
        };
        let stated = Practice::stated(region, 0.0, None);
        let practice = checked
            .linked
            .practice
            .iter()
            .find(|practice| practice.region == region)
            .unwrap_or(&stated);
        let gains = gains(fit, &explored, objective, practice, candidate);
        let summaries = |values: &[f64]| LEVELS.map(|l| Summary::of(values.iter().copied(), l));
        let hits = gains.iter().filter(|gain| **gain > 0.0).count();
        Ok(Self {
            fit,
            optimum: summaries(&explored.net_optima.intensity),
            gain: summaries(&gains),
            p_gain: hits as f64 / gains.len().max(1) as f64,
            explored,
            objective,
            candidate,
            lent_lead,
        })
    }
}

impl Estimate<'_> {
    /// Posterior median of the yield of an unpruned tree.
    pub fn unpruned_kg(&self) -> f64 {
        Summary::of(self.fit.curve.expected_kg(0.0, self.lent_lead), 0.95).median
    }
}

/// Net gain of a practice over present practice, one per draw (design 4.4).
fn gains(
    fit: &RegionFit,
    explored: &Exploration,
    objective: Objective,
    practice: &Practice,
    candidate: At,
) -> Vec<f64> {
    let mut present = vec![0.0; fit.curve.draws()];
    for point in &practice.points {
        let lead = fit.fixed_lead.or(point.lead_days).unwrap_or(explored.best.lead_days);
        for (sum, kg) in present.iter_mut().zip(fit.curve.expected_kg(point.intensity, lead)) {
            *sum += point.weight * objective.net(kg, point.intensity);
        }
    }
    fit.curve
        .expected_kg(candidate.intensity, candidate.lead_days)
        .zip(present)
        .map(|(kg, present)| objective.net(kg, candidate.intensity) - present)
        .collect()
}

/// What a spreadsheet holds of a region.
pub struct Spreadsheet {
    /// Intensities and yields of its tree-seasons.
    pub seen: Vec<Seen>,
    /// Median lead of the pruned ones, days.
    pub median_lead: Option<f64>,
}

/// Reads the spreadsheet of a region off the linked records.
pub fn spreadsheet(checked: &Checked, region: &str) -> Result<Spreadsheet, String> {
    let table =
        TreeSeasons::from_batch(&checked.linked.tree_seasons).map_err(|error| error.to_string())?;
    let own = || (0..table.len()).filter(|&row| table.region.label(row) == region);
    let seen = own()
        .filter_map(|row| Some((*table.intensity.get(row)?, *table.yield_kg.get(row)?)))
        .filter(|(intensity, kg)| intensity.is_finite() && kg.is_finite())
        .collect();
    let mut leads: Vec<f64> = own()
        .filter_map(|row| table.lead_days.get(row).copied())
        .filter(|lead| lead.is_finite())
        .collect();
    leads.sort_by(f64::total_cmp);
    let median_lead = (!leads.is_empty()).then(|| model::quantile(&leads, 0.5));
    Ok(Spreadsheet { seen, median_lead })
}
