//! `[economics.cut_wood]` of the book.

use super::error::{SettingError, positive};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use words::{say, text};

/// What hauling cut wood costs and what it fetches, from `[economics.cut_wood]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CutWood {
    /// Stacked wood and brush per m3 of canopy removed, m3, below 1; money per stacked m3 needs it. 1, as
    /// when it is left out, counts canopy as it stood, of which no stacked volume and no money is stated.
    #[serde(default = "whole")]
    pub stacked_per_canopy: f64,
    /// Money to haul one stacked m3.
    #[serde(default)]
    pub haulage_per_m3: f64,
    /// Money one stacked m3 fetches.
    #[serde(default)]
    pub value_per_m3: f64,
    /// Stacked m3 of one load.
    pub load_m3: Option<f64>,
}

fn whole() -> f64 {
    1.0
}

impl CutWood {
    /// Canopy counted as it stood, neither hauled nor sold.
    #[must_use]
    pub fn as_it_stood() -> Self {
        Self { stacked_per_canopy: 1.0, haulage_per_m3: 0.0, value_per_m3: 0.0, load_m3: None }
    }

    /// Whether the settings tell how much is stacked of what is removed. Canopy as it stood is mostly
    /// air, so that no share of it stacks to its own volume.
    #[must_use]
    pub fn tells_stacked(&self) -> bool {
        self.stacked_per_canopy < 1.0
    }

    /// Checks the settings.
    ///
    /// # Errors
    /// The first one that cannot be right.
    pub fn check(&self) -> Result<(), SettingError> {
        let key = |name: &str| format!("[economics.cut_wood] {name}");
        let share = self.stacked_per_canopy;
        if !(share.is_finite() && share > 0.0 && share <= 1.0) {
            return Err(SettingError::new(
                key("stacked_per_canopy"),
                say!("{share} is not above 0 and up to 1"),
                text!("give the m3 of stacked wood and brush from 1 m3 of canopy"),
            ));
        }
        for (name, money) in
            [("haulage_per_m3", self.haulage_per_m3), ("value_per_m3", self.value_per_m3)]
        {
            if !(money.is_finite() && money >= 0.0) {
                return Err(SettingError::new(
                    key(name),
                    say!("{money} is not an amount of money"),
                    text!("give money per stacked m3, 0 or more"),
                ));
            }
        }
        if !self.tells_stacked() && (self.haulage_per_m3 > 0.0 || self.value_per_m3 > 0.0) {
            return Err(SettingError::new(
                key("stacked_per_canopy"),
                text!(
                    "money is stated per stacked m3, and not what 1 m3 of canopy removed makes when stacked"
                ),
                text!(
                    "pile up what a few trees give, measure the pile, and give its m3 per m3 of canopy removed"
                ),
            ));
        }
        if let Some(load) = self.load_m3 {
            positive(key("load_m3"), load, text!("give the stacked m3 of one load"))?;
        }
        Ok(())
    }
}
