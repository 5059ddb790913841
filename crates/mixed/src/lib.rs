//! Linear mixed models from mergeable moments: REML and ML fits, inference, and integration over the variance parameters; generalised models by Laplace's approximation.

mod arrow;
mod basis;
mod components;
mod contrast;
mod criterion;
mod data;
mod declared;
mod dense;
mod double;
mod draws;
mod error;
mod exact;
mod fit;
mod generalised;
mod gradient;
mod gram;
mod group_list;
mod group_sums;
mod influence;
mod integrate;
mod kenward_roger;
mod layout;
pub mod linfa_edge;
pub mod linfa_generalised;
mod matrix;
mod means;
mod modes;
mod moments;
mod objective;
mod optimise;
mod overlap;
mod pool;
mod pooled;
mod predict;
mod profile;
mod quasi_newton;
mod record;
mod satterthwaite;
mod scratch;
mod screen;
mod settings;
mod shape;
mod small;
mod spread;
mod starts;
mod status;
mod system;
mod target;
#[cfg(test)]
mod tests;
mod threads;
mod units;
mod variance_test;
mod vector;
mod warm;

pub use components::{VarianceComponent, VarianceComponents};
pub use contrast::{Contrast, DfMethod, Estimate, JointTest};
pub use data::{Covariance, Data, Factor, FixedColumn, RandomEffect};
pub use declared::DeclaredBasis;
pub use draws::{Draws, EffectSum};
pub use error::Error;
pub use exact::{ExactMoments, fit_exact};
pub use fit::{Coefficient, CoefficientValue, Fit, Theta, fit, fit_moments};
pub use generalised::{
    Check, CheckSettings, Checks, Family, GeneralisedCoefficient, GeneralisedData,
    GeneralisedDraws, GeneralisedFit, GeneralisedRecord, ParameterEstimate, ResponseKind,
    ResponsePrediction, SpreadEstimate, fit_generalised,
};
pub use group_sums::GroupSums;
pub use influence::{Deletion, GroupInfluence, Influence};
pub use integrate::{
    IntegrationRecord, IntegrationSettings, Method, Posterior, Prior, PriorShape, Sensitivity,
    SpreadPrior, ThetaSummary,
};
pub use kenward_roger::KenwardRoger;
pub use matrix::Matrix;
pub use means::{Adjustment, EstimableMeans, GridMean, GridRow, MeansRow, MeansTable};
pub use modes::ConditionalModes;
pub use moments::Moments;
pub use pooled::{Place, PooledMoments};
pub use predict::{IntervalKind, Point, PointLevel, Prediction};
pub use profile::ProfileLimits;
pub use record::{DropReason, Evidence, Record, RowCounts, Visit};
pub use settings::{Criterion, Settings};
pub use status::Status;
pub use variance_test::VarianceTest;
