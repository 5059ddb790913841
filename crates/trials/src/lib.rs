//! Designed trials: analysis as the trade reports it, layouts of new trials and their size.

mod analysis;
pub mod checks;
pub mod compare;
mod design;
pub mod distributions;
pub mod layout;
mod observations;
pub mod pooled;
pub mod size;

pub use analysis::{
    Analysis, AnovaKind, AnovaRow, Comparison, ExpectedMeanSquare, Mean, MeansOfTerm, Method,
    MethodUsed, Pair, Residuals, UnitResidual, VarianceComponentOfTrial, Variation, analyse,
};
pub use design::{
    Amounts, Cell, Evidence, FactorPlace, Part, Plan, PlanFactor, Refusal, Stratum, StratumKind,
    Term, Unit,
};
pub use observations::{Observations, Trait, TraitKind};
