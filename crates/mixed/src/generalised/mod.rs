//! Generalised mixed models by Laplace's approximation: counts and zero-heavy amounts with a log link, shares with a logit link.

mod approximation;
mod blocks;
mod check;
mod colouring;
mod covariance;
mod design;
mod draws;
mod family;
mod fit;
mod modes;
mod predict;
mod result;
mod rows;
mod search;
mod simulate;
mod start;
mod tweedie;

pub use check::{Check, CheckSettings, Checks};
pub use draws::GeneralisedDraws;
pub use family::Family;
pub use fit::fit_generalised;
pub use predict::{ResponseKind, ResponsePrediction};
pub use result::{
    GeneralisedCoefficient, GeneralisedFit, GeneralisedRecord, ParameterEstimate, SpreadEstimate,
};
pub use rows::GeneralisedData;

/// What the twin tests look at.
#[cfg(test)]
pub(crate) mod internals {
    pub(crate) use super::approximation::Model;
    pub(crate) use super::colouring::Colouring;
    pub(crate) use super::design::Design;
    pub(crate) use super::modes::State;
    pub(crate) use super::rows::check;

    /// Log density with all constants.
    pub(crate) fn log_density(law: super::family::Law, y: f64, eta: f64) -> f64 {
        use super::family::{Kernel, Law, TweedieKernel, constants};
        let core = match law {
            Law::Tweedie { dispersion, power } => {
                TweedieKernel { dispersion, power }.newton(y, eta)
            }
            _ => unreachable!("asked for Tweedie alone"),
        };
        core.value + constants(law, &[y], &[1.0])[0]
    }
}
