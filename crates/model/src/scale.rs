//! Response scales of the yield model and the way back to kilograms.

use serde::{Deserialize, Serialize};
use words::text;

/// Scale on which effects add.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scale {
    /// Natural logarithm: effects multiply yields.
    Log,
    /// Square root.
    SquareRoot,
    /// As measured.
    Identity,
}

impl Scale {
    /// The three scales, in the order in which ties are resolved.
    pub const ALL: [Scale; 3] = [Self::Log, Self::SquareRoot, Self::Identity];

    /// A yield on this scale; not finite for a zero on the log scale.
    #[must_use]
    pub fn forward(self, kg: f64) -> f64 {
        match self {
            Self::Log => kg.ln(),
            Self::SquareRoot => kg.sqrt(),
            Self::Identity => kg,
        }
    }

    /// Log of the derivative of [`Scale::forward`], which makes likelihoods on different scales
    /// comparable (Box and Cox, 1964, J. R. Stat. Soc. B 26:211-252).
    #[must_use]
    pub fn log_derivative(self, kg: f64) -> f64 {
        match self {
            Self::Log => -kg.ln(),
            Self::SquareRoot => -(2.0 * kg.sqrt()).ln(),
            Self::Identity => 0.0,
        }
    }

    /// Expected yield, kg, of a tree whose value on this scale is normal with a mean and a variance:
    /// exp(m + v/2), m^2 + v and m. The square-root mean cannot fall below 0 before squaring.
    #[must_use]
    pub fn expected_kg(self, mean: f64, variance: f64) -> f64 {
        match self {
            Self::Log => (mean + variance / 2.0).exp(),
            Self::SquareRoot => mean.max(0.0).powi(2) + variance,
            Self::Identity => mean,
        }
    }

    /// Word for people.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Log => text!("logarithm of the yield"),
            Self::SquareRoot => text!("square root of the yield"),
            Self::Identity => text!("yield as measured"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn expectations_match_quadrature() {
        // Gauss-Hermite with three nodes is exact to degree 5: x = 0, +-sqrt(3), weights 2/3, 1/6.
        let (mean, variance) = (1.7_f64, 0.04_f64);
        let quadrature = |f: &dyn Fn(f64) -> f64| {
            let d = (3.0 * variance).sqrt();
            2.0 / 3.0 * f(mean) + (f(mean - d) + f(mean + d)) / 6.0
        };
        let square = quadrature(&|x| x * x);
        assert!((Scale::SquareRoot.expected_kg(mean, variance) - square).abs() < 1e-12);
        let exponential = quadrature(&f64::exp);
        assert!((Scale::Log.expected_kg(mean, variance) / exponential - 1.0).abs() < 1e-5);
    }

    #[test]
    fn log_derivative_is_the_derivative() {
        for scale in Scale::ALL {
            let (kg, step) = (3.2, 1e-6);
            let slope = (scale.forward(kg + step) - scale.forward(kg - step)) / (2.0 * step);
            assert!((slope.ln() - scale.log_derivative(kg)).abs() < 1e-8);
        }
    }
}
