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
    /// Median of the expected yield of present practice, kg per tree.
    pub present_kg: f64,
    /// Median gain of advised over present practice, kg per tree.
    pub gain_kg: f64,
    /// Quantiles 0, 1, ... 100 % of the gain, kg per tree.
    pub gain_quantiles_kg: Vec<f64>,
    /// Share of draws counted below the gain that breaks even at the book's own price and wage, where
    /// the odds must be those of the advice; `None` without a price.
    pub counted: Option<CountedShare>,
}

/// A share of draws that was counted rather than read from quantiles.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CountedShare {
    /// Gain, kg per tree.
    pub kg: f64,
    /// Share of draws below it.
    pub below: f64,
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
    /// Net return of advised practice, money per tree: that of present practice and the gain.
    pub advised_per_tree: f64,
    /// Net return of present practice at its median yield, money per tree.
    pub present_per_tree: f64,
    /// Median gain of advised over present practice, as the advice states it.
    pub gain_per_tree: f64,
    /// The gain per ha.
    pub gain_per_ha: Option<f64>,
    /// Probability that the gain is below 0.
    pub odds_of_loss: f64,
}

impl SeasonSums {
    /// From draws of the summed yields, draw by draw, with the share below `break_even_kg` counted;
    /// `None` when there are none or their numbers differ.
    #[must_use]
    pub fn of(advised_kg: &[f64], present_kg: &[f64], break_even_kg: f64) -> Option<Self> {
        if advised_kg.is_empty() || advised_kg.len() != present_kg.len() {
            return None;
        }
        let count = present_kg.len() as f64;
        let present = sorted(present_kg.iter().copied());
        let gains = sorted(advised_kg.iter().zip(present_kg).map(|(a, p)| a - p));
        let grid = 10_f64.powi(QUANTILE_DECIMALS as i32);
        let gain_quantiles_kg = (0..=STEPS)
            .map(|k| Some((quantile(&gains, k as f64 / STEPS as f64)? * grid).round() / grid))
            .collect::<Option<Vec<f64>>>()?;
        Some(Self {
            // The mean of an expected yield on a logarithmic scale is that of its few largest draws.
            present_kg: quantile(&present, 0.5)?,
            gain_kg: quantile(&gains, 0.5)?,
            gain_quantiles_kg,
            counted: break_even_kg.is_finite().then(|| CountedShare {
                kg: break_even_kg,
                below: gains.iter().filter(|gain| **gain < break_even_kg).count() as f64 / count,
            }),
        })
    }

    /// Share of draws below a gain: by straight lines between equally spaced quantiles, and through
    /// the share that was counted.
    fn share_below(&self, value: f64) -> f64 {
        let quantiles = &self.gain_quantiles_kg;
        let (Some(&first), Some(&top)) = (quantiles.first(), quantiles.last()) else {
            return f64::NAN;
        };
        // Beside the counted share nothing is read from rounded quantiles.
        if let Some(counted) = self.counted.filter(|own| own.kg.total_cmp(&value).is_eq()) {
            return counted.below;
        }
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
        let mut low = [quantiles[below], below as f64 / last as f64];
        let mut high = [quantiles[below + 1], (below + 1) as f64 / last as f64];
        if let Some(counted) = self.counted {
            if counted.kg > low[0] && counted.kg < value {
                low = [counted.kg, counted.below];
            } else if counted.kg > value && counted.kg < high[0] {
                high = [counted.kg, counted.below];
            }
        }
        low[1] + (value - low[0]) / (high[0] - low[0]) * (high[1] - low[1])
    }
}

impl WhatIf {
    /// Gain in yield, kg per tree and summed over the seasons, that pays for what advised practice
    /// costs more than present practice; not finite without a price.
    #[must_use]
    pub fn break_even_kg(&self, scenario: &Scenario) -> f64 {
        self.extra_cost(scenario) / self.money_per_kg(scenario)
    }

    fn money_per_kg(&self, scenario: &Scenario) -> f64 {
        scenario.price_per_kg * self.price_factor * scenario.yield_level
    }

    fn extra_cost(&self, scenario: &Scenario) -> f64 {
        cost(&self.advised, scenario) - cost(&self.present, scenario)
    }

    /// Outcome of a scenario. The specification, in this order of operations on 64-bit floats:
    ///
    /// - money = price x `price_factor` x `yield_level`
    /// - cost of a practice = (hours x wage + other) x seasons
    /// - extra = cost advised - cost present
    /// - return present = money x median kg of present practice summed over the seasons - cost present
    /// - gain = money x median gain in kg - extra; per ha = gain x trees per ha
    /// - return advised = return present + gain
    /// - odds of loss = share of draws of the gain in kg below extra / money
    ///
    /// At the price and wage of the book, yields as expected and one season these are the median gain
    /// and the odds of the advice.
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
        let money = self.money_per_kg(scenario);
        let extra = self.extra_cost(scenario);
        let present = money * season.present_kg - cost(&self.present, scenario);
        let gain = money * season.gain_kg - extra;
        Ok(Outcome {
            advised_per_tree: present + gain,
            present_per_tree: present,
            gain_per_tree: gain,
            gain_per_ha: self.trees_per_ha.map(|trees| gain * trees),
            odds_of_loss: if money > 0.0 {
                season.share_below(extra / money)
            } else if extra > 0.0 {
                1.0
            } else {
                0.0
            },
        })
    }
}

fn cost(practice: &PracticeCost, scenario: &Scenario) -> f64 {
    (practice.hours * scenario.wage_per_hour + practice.other) * scenario.seasons as f64
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
