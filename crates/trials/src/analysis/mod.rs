//! Analysis of a planned trial: exact least squares where balanced, Kenward-Roger otherwise.

mod anova;
mod columns;
mod contrasts;
mod covariate;
mod curve;
mod efficiency;
mod expected;
mod fitted;
mod inversion;
mod means;
mod mixed_model;
mod orthogonal;
mod polynomial;
mod quantiles;
mod residuals;
mod result;
mod run;
mod sampling;
mod strata;
mod variation;

pub(crate) use contrasts::{ErrorDf, term_contrasts};
pub use covariate::CovariateAdjustment;
pub(crate) use curve::Question;
pub use curve::{Curve, Optimum, Peak};
pub(crate) use fitted::{Estimated, Judge, Tested, of_joint_test, positive, tested};
pub use inversion::OptimumSet;
pub(crate) use polynomial::components;
pub use polynomial::{Polynomial, PolynomialComponent};
pub use result::{
    Analysis, AnovaKind, AnovaRow, Comparison, Efficiency, ExpectedMeanSquare, Mean, MeansOfTerm,
    Method, MethodUsed, Pair, Residuals, Sampling, UnitResidual, VarianceComponentOfTrial,
    Variation,
};
pub use run::{AnalysisOptions, analyse, analyse_with};
