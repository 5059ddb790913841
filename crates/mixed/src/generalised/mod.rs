//! Counts: Poisson and negative binomial mixed models with a log link, by Laplace's approximation.

mod family;
mod fit;
mod rows;
mod working;

pub use family::CountFamily;
pub use fit::{CountCoefficient, CountFit, fit_counts};
pub use rows::CountData;
