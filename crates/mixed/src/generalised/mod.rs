//! Generalised mixed models with a log link by Laplace's approximation: counts and zero-heavy amounts.

mod approximation;
mod blocks;
mod check;
mod covariance;
mod design;
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
pub use family::Family;
pub use fit::fit_generalised;
pub use predict::{ResponseKind, ResponsePrediction};
pub use result::{
    GeneralisedCoefficient, GeneralisedFit, GeneralisedRecord, ParameterEstimate, SpreadEstimate,
};
pub use rows::GeneralisedData;
