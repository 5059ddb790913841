//! Integration over theta: prior, quadrature nodes, posterior.

pub(crate) mod halton;
mod nodes;
mod one_dimension;
mod posterior;
mod prior;
mod proposal;
mod several_dimensions;

pub use nodes::{IntegrationSettings, Method};
pub use posterior::{IntegrationRecord, Posterior, Sensitivity, ThetaSummary};
pub use prior::{Prior, PriorShape, SpreadPrior};
