//! Copper sulphate and hydrated lime in water (Bordeaux mixture).

use serde::{Deserialize, Serialize};

/// Litres of 1 % spray from 1 kg of copper sulphate and 1 kg of hydrated lime.
pub const SPRAY_LITRES_PER_KG: f64 = 100.0;
/// Litres of 10 % paste from 1 kg of each.
pub const PASTE_LITRES_PER_KG: f64 = 10.0;

/// What goes into some litres of the mixture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CopperMix {
    /// Water, L.
    pub water_l: f64,
    /// Copper sulphate, kg.
    pub copper_sulphate_kg: f64,
    /// Hydrated lime, kg.
    pub hydrated_lime_kg: f64,
}

impl CopperMix {
    /// 1 % spray: 1 kg + 1 kg in 100 L.
    #[must_use]
    pub fn spray(litres: f64) -> Self {
        Self::of(litres, SPRAY_LITRES_PER_KG)
    }

    /// 10 % paste: 1 kg + 1 kg in 10 L.
    #[must_use]
    pub fn paste(litres: f64) -> Self {
        Self::of(litres, PASTE_LITRES_PER_KG)
    }

    fn of(litres: f64, litres_per_kg: f64) -> Self {
        let kg = litres / litres_per_kg;
        Self { water_l: litres, copper_sulphate_kg: kg, hydrated_lime_kg: kg }
    }
}
