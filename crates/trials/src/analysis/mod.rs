//! Analysis of a planned trial: exact least squares where balanced, Kenward-Roger otherwise.

mod anova;
mod columns;
mod expected;
mod fitted;
mod means;
mod mixed_model;
mod orthogonal;
mod quantiles;
mod residuals;
mod result;
mod run;
mod strata;
mod variation;

pub use result::{
    Analysis, AnovaKind, AnovaRow, Comparison, ExpectedMeanSquare, Mean, MeansOfTerm, Method,
    MethodUsed, Pair, Residuals, UnitResidual, VarianceComponentOfTrial, Variation,
};
pub use run::analyse;
