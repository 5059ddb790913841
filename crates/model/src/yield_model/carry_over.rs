//! What last season's pruning does to this season's yield.

use super::YieldError;
use super::scale_choice::{data, identify};
use crate::design::{Design, Role};
use crate::table::TreeSeasons;
use linfa_rng::ChaCha8Rng;
use linfa_rng::rand_core::SeedableRng;
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
    /// Draws of the effect, normal about the estimate with its standard error: with the hundreds of
    /// degrees of freedom that rows of a season before bring, t and normal agree.
    #[must_use]
    pub fn draws(&self, count: usize, seed: u64) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut unit = move || super::shape_choice::unit(&mut rng);
        (0..count)
            .map(|_| {
                // Box and Muller, 1958, Ann. Math. Stat. 29(2):610-611.
                let radius = (-2.0 * unit().ln()).sqrt();
                let normal = radius * (std::f64::consts::TAU * unit()).cos();
                self.estimate + self.std_error * normal
            })
            .collect()
    }

    /// Fits the model with last season's intensity added; `None` when it cannot be estimated.
    pub(super) fn fit(
        table: &TreeSeasons,
        design: &Design,
        response: &[f64],
        settings: &Settings,
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
        let fit = mixed::fit(&data(&design, response), settings)?;
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_have_the_stated_mean_and_spread() {
        let effect = CarryOver {
            estimate: -0.2,
            std_error: 0.05,
            df: 500.0,
            p_value: 0.0,
            limits: [-0.3, -0.1],
            tree_seasons: 600,
        };
        let draws = effect.draws(20_000, 3);
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let variance = draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / 20_000.0;
        // Five standard errors of the mean and of the standard deviation.
        assert!((mean + 0.2).abs() < 5.0 * 0.05 / 20_000_f64.sqrt());
        assert!((variance.sqrt() - 0.05).abs() < 5.0 * 0.05 / 40_000_f64.sqrt());
        assert_eq!(draws, effect.draws(20_000, 3));
    }
}
