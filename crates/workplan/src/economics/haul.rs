//! Cut wood: its volume, haulage and value.

use records::half_ellipsoid_volume_m3;
use records::work::CutWood;
use serde::{Deserialize, Serialize};

/// Cut wood of some trees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Haul {
    /// Canopy removed, m3, as it stood.
    pub canopy_m3: f64,
    /// What is hauled and paid for, m3: stacked, or canopy as it stood where no share is stated.
    pub hauled_m3: f64,
    /// Stacked, m3; `None` where the share of canopy that it makes is not stated.
    pub stacked_m3: Option<f64>,
    /// Loads, rounded up, where a load and the stacked volume are stated.
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

impl Haul {
    /// Haul of canopy removed, m3.
    #[must_use]
    pub fn of(wood: &CutWood, canopy_m3: f64) -> Self {
        let hauled_m3 = canopy_m3 * wood.stacked_per_canopy;
        let stacked_m3 = Some(hauled_m3).filter(|_| wood.tells_stacked());
        let loads = |load: f64| stacked_m3.map(|m3| (m3 / load - 1e-9).ceil().max(0.0) as u64);
        Self {
            canopy_m3,
            hauled_m3,
            stacked_m3,
            loads: wood.load_m3.and_then(loads),
            cost: hauled_m3 * wood.haulage_per_m3,
            value: hauled_m3 * wood.value_per_m3,
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
        let haul = Haul::of(&wood, 100.0);
        assert_eq!(
            (haul.stacked_m3, haul.loads, haul.cost, haul.value),
            (Some(10.0), Some(3), 30.0, 50.0)
        );
        assert_eq!(Haul::of(&wood, 80.0).loads, Some(2));
        // Canopy as it stood is never called stacked, nor loaded as if it were.
        let stood = Haul::of(&CutWood { load_m3: Some(4.0), ..CutWood::as_it_stood() }, 100.0);
        assert_eq!((stood.hauled_m3, stood.stacked_m3, stood.loads), (100.0, None, None));
        let error = CutWood { stacked_per_canopy: f64::NAN, ..wood }.check().unwrap_err();
        assert!(error.to_string().starts_with("[economics.cut_wood] stacked_per_canopy: NaN"));
    }
}
