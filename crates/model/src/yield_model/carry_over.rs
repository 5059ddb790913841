//! What last season's pruning does to this season's yield.

use super::YieldError;
use super::scale_choice::{data, identify};
use crate::design::{Design, Role};
use crate::table::TreeSeasons;
use mixed::{Contrast, Settings};
use serde::{Deserialize, Serialize};

/// Effect of the intensity of the season before, common to all regions, beside this season's
/// surface. Where trees keep their treatment over the seasons, as in a trial, the two cannot be
/// told apart and the limits are wide.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CarryOver {
    /// Change of the response, on the model's scale, had the whole canopy been removed last season.
    pub estimate: f64,
    /// Standard error.
    pub std_error: f64,
    /// Satterthwaite degrees of freedom.
    pub df: f64,
    /// Two-sided p value.
    pub p_value: f64,
    /// Limits at the model's level.
    pub limits: [f64; 2],
    /// Tree-seasons whose season before is recorded.
    pub tree_seasons: u64,
}

impl CarryOver {
    /// Fits the model with last season's intensity added; `None` when it cannot be estimated.
    pub(super) fn fit(
        table: &TreeSeasons,
        design: &Design,
        response: &[f64],
        level: f64,
    ) -> Result<Option<Self>, YieldError> {
        let mut design = design.clone();
        if !design.add_carry_over(table) {
            return Ok(None);
        }
        identify(table, &mut design)?;
        let unit: Vec<f64> = design
            .columns
            .iter()
            .map(|column| f64::from(u8::from(column.role == Role::CarryOver)))
            .collect();
        if unit.iter().all(|entry| *entry == 0.0) {
            return Ok(None);
        }
        let fit = mixed::fit(&data(&design, response), &Settings::default())?;
        Ok(match fit.contrast(&unit, level)? {
            Contrast::Estimated(estimate) => Some(Self {
                estimate: estimate.estimate,
                std_error: estimate.std_error,
                df: estimate.df,
                p_value: estimate.p_value,
                limits: [estimate.conf_low, estimate.conf_high],
                tree_seasons: table
                    .previous_intensity
                    .iter()
                    .filter(|intensity| intensity.is_finite())
                    .count() as u64,
            }),
            Contrast::NotEstimable => None,
        })
    }
}
