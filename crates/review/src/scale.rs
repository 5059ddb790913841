//! The scale on which effects add, and the way back to kilograms.

use serde::{Deserialize, Serialize};

/// Scale on which effects add.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scale {
    /// Natural logarithm: effects multiply yields. Zero yields have no value on it.
    Log,
    /// Square root.
    SquareRoot,
    /// As measured.
    Identity,
}

impl Scale {
    /// A yield, kg, on this scale; not finite for a zero on the log scale.
    #[must_use]
    pub fn forward(self, kg: f64) -> f64 {
        match self {
            Self::Log => kg.ln(),
            Self::SquareRoot => kg.sqrt(),
            Self::Identity => kg,
        }
    }

    /// The yield, kg, of a value on this scale.
    #[must_use]
    pub fn back(self, value: f64) -> f64 {
        match self {
            Self::Log => value.exp(),
            Self::SquareRoot => value * value,
            Self::Identity => value,
        }
    }

    /// Slope of the scale at a yield, per kg.
    #[must_use]
    pub fn slope(self, kg: f64) -> f64 {
        match self {
            Self::Log => 1.0 / kg,
            Self::SquareRoot => 0.5 / kg.sqrt(),
            Self::Identity => 1.0,
        }
    }

    /// What an effect on this scale means in kg for a tree that otherwise yields `at_kg`.
    #[must_use]
    pub fn difference_kg(self, at_kg: f64, effect: f64) -> f64 {
        self.back(self.forward(at_kg) + effect) - at_kg
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn effects_in_kg_follow_the_scale() {
        assert_eq!(Scale::Identity.difference_kg(5.0, -0.5), -0.5);
        assert!((Scale::Log.difference_kg(5.0, 2.0_f64.ln()) - 5.0).abs() < 1e-12);
        assert!((Scale::SquareRoot.difference_kg(4.0, 1.0) - 5.0).abs() < 1e-12);
    }
}
