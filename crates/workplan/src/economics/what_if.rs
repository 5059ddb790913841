//! What-if over price, wage, yield level and horizon: one pure function, the same in the page and by command.

use crate::quantile::{quantile, sorted};
use records::work::SettingError;
use serde::{Deserialize, Serialize};

/// The page's twin of [`WhatIf::at`] and [`shown`], to be placed in a script element.
pub const WHAT_IF_SCRIPT: &str = include_str!("what_if.js");

/// Steps of the table of quantiles: every per cent from 0 to 100.
const STEPS: usize = 100;
/// Decimals of the quantiles, kg: grams are beyond what the odds can show.
const QUANTILE_DECIMALS: u32 = 4;

/// Cost of one practice, per tree and season.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PracticeCost {
    /// Working hours.
    pub hours: f64,
    /// Materials and haulage less the value of wood, money.
    pub other: f64,
}

/// Yields summed over the first seasons of a horizon.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeasonSums {
    /// Mean yield of advised practice, kg per tree.
    pub advised_kg: f64,
    /// Mean yield of present practice, kg per tree.
    pub present_kg: f64,
    /// Quantiles 0, 1, ... 100 % of the gain, kg per tree.
    pub gain_quantiles_kg: Vec<f64>,
}

/// Everything a what-if of one region needs; exported as JSON for the page.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WhatIf {
    /// Region id.
    pub region: String,
    /// Factor from the quoted price to the price paid (outturn); 1 without one.
    pub price_factor: f64,
    /// Trees per ha, where spacing is known.
    pub trees_per_ha: Option<f64>,
    /// Cost of advised practice.
    pub advised: PracticeCost,
    /// Cost of present practice.
    pub present: PracticeCost,
    /// Entry n - 1 sums the first n seasons.
    pub seasons: Vec<SeasonSums>,
}

/// A supposed state of the world.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Quoted price per kg.
    pub price_per_kg: f64,
    /// Wage per hour.
    pub wage_per_hour: f64,
    /// Yields and gains as a multiple of those expected, 1 for as expected.
    pub yield_level: f64,
    /// Seasons added up, from 1, undiscounted.
    pub seasons: usize,
}

/// What the scenario brings, summed over its seasons.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// Net return of advised practice, money per tree.
    pub advised_per_tree: f64,
    /// Net return of present practice, money per tree.
    pub present_per_tree: f64,
    /// Their difference.
    pub gain_per_tree: f64,
    /// The difference per ha.
    pub gain_per_ha: Option<f64>,
    /// Probability that the difference is below 0.
    pub odds_of_loss: f64,
}

impl SeasonSums {
    /// From draws of the summed yields, draw by draw; `None` when there are none or their numbers differ.
    #[must_use]
    pub fn of(advised_kg: &[f64], present_kg: &[f64]) -> Option<Self> {
        if advised_kg.is_empty() || advised_kg.len() != present_kg.len() {
            return None;
        }
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        let gains = sorted(advised_kg.iter().zip(present_kg).map(|(a, p)| a - p));
        let grid = 10_f64.powi(QUANTILE_DECIMALS as i32);
        let gain_quantiles_kg = (0..=STEPS)
            .map(|k| Some((quantile(&gains, k as f64 / STEPS as f64)? * grid).round() / grid))
            .collect::<Option<Vec<f64>>>()?;
        Some(Self { advised_kg: mean(advised_kg), present_kg: mean(present_kg), gain_quantiles_kg })
    }
}

impl WhatIf {
    /// Outcome of a scenario. The specification, in this order of operations on 64-bit floats:
    ///
    /// - money = price x `price_factor` x `yield_level`
    /// - cost of a practice = (hours x wage + other) x seasons
    /// - return of a practice = money x kg summed over the seasons - cost
    /// - gain = return advised - return present; per ha = gain x trees per ha
    /// - odds of loss = share of draws of the gain in kg below (cost advised - cost present) / money
    ///
    /// # Errors
    /// When a value of the scenario is out of range, with its name and the range.
    pub fn at(&self, scenario: &Scenario) -> Result<Outcome, SettingError> {
        for (key, value) in [
            ("price_per_kg", scenario.price_per_kg),
            ("wage_per_hour", scenario.wage_per_hour),
            ("yield_level", scenario.yield_level),
        ] {
            if !(value.is_finite() && value >= 0.0) {
                return Err(SettingError::new(
                    key,
                    format!("{value} is not a number from 0 up"),
                    "give a number from 0 up",
                ));
            }
        }
        let season =
            scenario.seasons.checked_sub(1).and_then(|n| self.seasons.get(n)).ok_or_else(|| {
                SettingError::new(
                    "seasons",
                    format!("{} seasons were not computed", scenario.seasons),
                    format!("give 1 to {}, or raise [options] horizon_seasons", self.seasons.len()),
                )
            })?;
        let seasons = scenario.seasons as f64;
        let money = scenario.price_per_kg * self.price_factor * scenario.yield_level;
        let cost = |practice: &PracticeCost| {
            (practice.hours * scenario.wage_per_hour + practice.other) * seasons
        };
        let advised = money * season.advised_kg - cost(&self.advised);
        let present = money * season.present_kg - cost(&self.present);
        let extra = cost(&self.advised) - cost(&self.present);
        let gain = advised - present;
        Ok(Outcome {
            advised_per_tree: advised,
            present_per_tree: present,
            gain_per_tree: gain,
            gain_per_ha: self.trees_per_ha.map(|trees| gain * trees),
            odds_of_loss: if money > 0.0 {
                share_below(&season.gain_quantiles_kg, extra / money)
            } else if extra > 0.0 {
                1.0
            } else {
                0.0
            },
        })
    }
}

/// Share of draws below a value, by straight lines between equally spaced quantiles.
fn share_below(quantiles: &[f64], value: f64) -> f64 {
    let (Some(&first), Some(&top)) = (quantiles.first(), quantiles.last()) else { return f64::NAN };
    let last = quantiles.len() - 1;
    if value.is_nan() || value <= first {
        return 0.0;
    }
    if value > top {
        return 1.0;
    }
    let mut below = 0;
    while below + 1 < last && quantiles[below + 1] < value {
        below += 1;
    }
    let step = quantiles[below + 1] - quantiles[below];
    (below as f64 + (value - quantiles[below]) / step) / last as f64
}

/// A number with its decimals, half away from zero: floor(|v| x 10^d + 0.5), a point as decimal mark,
/// a hyphen for minus, no thousands mark; empty when not finite or beyond 2^53.
#[must_use]
pub fn shown(value: f64, decimals: u32) -> String {
    let scale = (0..decimals).fold(1.0_f64, |scale, _| scale * 10.0);
    let whole = (value.abs() * scale + 0.5).floor();
    if !(value.is_finite() && whole < 9_007_199_254_740_992.0) {
        return String::new();
    }
    let width = decimals as usize + 1;
    let digits = format!("{:0>width$}", whole as u64);
    let (units, fraction) = digits.split_at(digits.len() - decimals as usize);
    let sign = if value < 0.0 && whole > 0.0 { "-" } else { "" };
    if fraction.is_empty() { format!("{sign}{units}") } else { format!("{sign}{units}.{fraction}") }
}
