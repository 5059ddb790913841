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
}
