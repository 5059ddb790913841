//! Designed trials: analysis as the trade reports it, layouts of new trials and their size.

mod amount_words;
mod analysis;
pub mod checks;
pub mod compare;
mod design;
pub mod distributions;
pub mod layout;
pub mod methods;
mod names;
mod observations;
pub mod pooled;
pub mod size;
pub mod traits;

pub use amount_words::{amount_words, estimated_amount, unit_words};
pub use analysis::{
    Analysis, AnalysisOptions, AnovaKind, AnovaRow, Comparison, CovariateAdjustment, Curve,
    Efficiency, ExpectedMeanSquare, Mean, MeansOfTerm, Method, MethodUsed, Optimum, OptimumSet,
    Pair, Peak, Polynomial, PolynomialComponent, Residuals, Sampling, UnitResidual,
    VarianceComponentOfTrial, Variation, analyse, analyse_with,
};
pub use design::{
    Amounts, Cell, Evidence, FactorPlace, Part, Plan, PlanFactor, Refusal, Slip, Stratum,
    StratumKind, Term, Unit,
};
pub use names::{name_in_words, place_in_words};
pub use observations::{Observations, Trait, TraitKind};
