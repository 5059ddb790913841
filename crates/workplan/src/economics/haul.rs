//! Cut wood: its volume, haulage and value.

use crate::error::{SettingError, positive};
use records::half_ellipsoid_volume_m3;
use serde::{Deserialize, Serialize};

/// What hauling cut wood costs and what it fetches, from `[economics.cut_wood]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutWood {
    /// Stacked wood and brush per m3 of canopy removed, m3; 1 counts canopy as it stood.
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

/// Cut wood of some trees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Haul {
    /// Canopy removed, m3, as it stood.
    pub canopy_m3: f64,
    /// Stacked, m3.
    pub stacked_m3: f64,
    /// Loads, rounded up, where a load is stated.
    pub loads: Option<u64>,
    /// Cost of haulage, money.
    pub cost: f64,
    /// Value, money.
    pub value: f64,
}

/// Canopy removed from one tree, m3: half-ellipsoid volume (height and two spreads, m) x intensity.
#[must_use]
pub fn canopy_removed_m3(height_m: f64, spread_ns_m: f64, spread_ew_m: f64, intensity: f64) -> f64 {
    half_ellipsoid_volume_m3(height_m, spread_ns_m, spread_ew_m) * intensity
}

impl CutWood {
    /// Canopy counted as it stood, neither hauled nor sold.
    #[must_use]
    pub fn as_it_stood() -> Self {
        Self { stacked_per_canopy: 1.0, haulage_per_m3: 0.0, value_per_m3: 0.0, load_m3: None }
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
                format!("{share} is not above 0 and up to 1"),
                "give the m3 of stacked wood and brush from 1 m3 of canopy",
            ));
        }
        for (name, money) in
            [("haulage_per_m3", self.haulage_per_m3), ("value_per_m3", self.value_per_m3)]
        {
            if !(money.is_finite() && money >= 0.0) {
                return Err(SettingError::new(
                    key(name),
                    format!("{money} is not an amount of money"),
                    "give money per stacked m3, 0 or more",
                ));
            }
        }
        if let Some(load) = self.load_m3 {
            positive(key("load_m3"), load, "give the stacked m3 of one load")?;
        }
        Ok(())
    }

    /// Haul of canopy removed, m3.
    #[must_use]
    pub fn haul(&self, canopy_m3: f64) -> Haul {
        let stacked_m3 = canopy_m3 * self.stacked_per_canopy;
        Haul {
            canopy_m3,
            stacked_m3,
            loads: self.load_m3.map(|load| (stacked_m3 / load - 1e-9).ceil().max(0.0) as u64),
            cost: stacked_m3 * self.haulage_per_m3,
            value: stacked_m3 * self.value_per_m3,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// trade.md section 3: H 4, A 5, B 6 gives 62.83 m3.
    #[test]
    fn volume_haulage_and_value() {
        let removed = canopy_removed_m3(4.0, 5.0, 6.0, 0.25);
        assert!((removed - 62.83 / 4.0).abs() < 2e-3);
        let wood = CutWood {
            stacked_per_canopy: 0.1,
            haulage_per_m3: 3.0,
            value_per_m3: 5.0,
            load_m3: Some(4.0),
        };
        let haul = wood.haul(100.0);
        assert_eq!(
            (haul.stacked_m3, haul.loads, haul.cost, haul.value),
            (10.0, Some(3), 30.0, 50.0)
        );
        assert_eq!(wood.haul(80.0).loads, Some(2));
        let error = CutWood { stacked_per_canopy: f64::NAN, ..wood }.check().unwrap_err();
        assert!(error.to_string().starts_with("[economics.cut_wood] stacked_per_canopy: NaN"));
    }
}
