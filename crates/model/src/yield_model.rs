//! The yield response: rows in, one posterior surface per region out.

mod pooled;
mod rows;
mod scale_choice;
mod separate;

use crate::design::{Design, HabitStatus, RegionCurves};
use crate::inversion::TurningPointSet;
use crate::observed::ObservedClass;
use crate::region_curve::RegionCurve;
use crate::scale::Scale;
use crate::support::Support;
use crate::table::TreeSeasons;
use mixed::{Draws, Fit, Posterior};
use records::ResponseScale;
use serde::{Deserialize, Serialize};
use thiserror::Error;

pub(crate) use rows::usable;
pub(crate) use scale_choice::{data, identify};

pub use rows::RowUse;
pub use separate::SeparateCurves;

/// Prior scale of region spreads and of the other spreads, relative to the residual: half-normal.
const REGION_PRIOR_SCALE: f64 = 1.0;
const OTHER_PRIOR_SCALE: f64 = 2.0;

/// Settings of a yield model.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct YieldSettings {
    /// Response scale.
    pub scale: ResponseScale,
    /// Posterior draws.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// Level of intervals.
    pub level: f64,
}

/// Why no yield model could be fitted.
#[derive(Debug, Error)]
pub enum YieldError {
    /// No tree-season is left for the model.
    #[error("no tree-season can be used: {0}")]
    NoRows(String),
    /// A scale that the yields do not allow.
    #[error(
        "{zeros} tree-season(s) have zero yield, which has no logarithm; choose the square root or identity scale, or let the program choose"
    )]
    ZeroOnLog {
        /// Tree-seasons with zero yield.
        zeros: u64,
    },
    /// The challenger could not be grown.
    #[error("the random forest could not be grown: {0}")]
    Challenger(String),
    /// The engine refused.
    #[error("the yield model could not be fitted: {0}")]
    Engine(#[from] mixed::Error),
}

/// A fitted yield model with its posterior.
pub struct YieldModel {
    /// Rows used and left out.
    pub rows: RowUse,
    /// Scale of the response.
    pub scale: Scale,
    /// Log-likelihood by scale, where a choice was made.
    pub scale_evidence: Vec<(Scale, f64)>,
    /// Terms left out of the model and why.
    pub left_out: Vec<String>,
    /// REML fit with partially pooled regions.
    pub fit: Fit,
    /// Posterior over the variance parameters.
    pub posterior: Posterior,
    /// Independent draws.
    pub draws: Draws,
    /// One entry per region with rows, sorted by id.
    pub regions: Vec<RegionFit>,
    /// Companion fit in which each region's curve rests on its own records.
    pub separate: Option<SeparateCurves>,
    /// Joint test, region by region, that habit and cause have the same slope.
    pub habit_tests: Vec<(String, mixed::JointTest)>,
}

/// A region in the yield model.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionFit {
    /// Region id.
    pub region: String,
    /// Tree-seasons used.
    pub rows: u64,
    /// Distinct trees.
    pub trees: u64,
    /// Distinct seasons.
    pub seasons: u32,
    /// Tree-seasons of randomised trials among the rows.
    pub trial_rows: u64,
    /// Pruned tree-seasons among the rows.
    pub pruned_rows: u64,
    /// Cause-or-habit status.
    pub habit: HabitStatus,
    /// What was tested.
    pub support: Option<Support>,
    /// The lead to report when timing is not modelled, days.
    pub fixed_lead: Option<f64>,
    /// Posterior surface.
    pub curve: RegionCurve,
    /// Observed class means.
    pub classes: Vec<ObservedClass>,
}

impl RegionFit {
    /// Posterior probability that the curve bends down, at the middle of the tested leads.
    #[must_use]
    pub fn p_bends_down(&self) -> f64 {
        let lead = self.middle_lead();
        let down = self
            .curve
            .coefficients
            .iter()
            .filter(|coefficients| crate::curve::curvature(coefficients, lead) < 0.0);
        down.count() as f64 / self.curve.draws().max(1) as f64
    }

    /// Middle of the tested leads, or the one lead when timing is not modelled.
    #[must_use]
    pub fn middle_lead(&self) -> f64 {
        self.fixed_lead
            .or_else(|| self.support.as_ref()?.lead.map(|[low, high]| 0.5 * (low + high)))
            .unwrap_or(crate::curve::REFERENCE_LEAD_DAYS)
    }
}

impl YieldModel {
    /// Fits the yield response to a linked table.
    ///
    /// # Errors
    /// [`YieldError`] when no row can be used or the engine cannot fit the rows.
    pub fn fit(table: &TreeSeasons, settings: &YieldSettings) -> Result<Self, YieldError> {
        let (table, rows) = rows::usable(table)?;
        let mut design = Design::new(&table, RegionCurves::PartialPooling);
        scale_choice::identify(&table, &mut design)?;
        let choice = scale_choice::choose(&table, &design, settings.scale)?;
        let pooled = pooled::fit(&table, &design, choice.scale, settings)?;
        let separate = separate::fit(&table, choice.scale).ok();
        Ok(Self {
            rows,
            scale: choice.scale,
            scale_evidence: choice.evidence,
            left_out: design.left_out,
            fit: pooled.fit,
            posterior: pooled.posterior,
            draws: pooled.draws,
            regions: pooled.regions,
            separate,
            habit_tests: pooled.habit_tests,
        })
    }

    /// Confidence set of a region's turning point from its own records, at its middle lead.
    #[must_use]
    pub fn turning_point(&self, region: &RegionFit, level: f64) -> Option<TurningPointSet> {
        self.separate.as_ref()?.turning_point(&region.region, region.middle_lead(), level)
    }
}
