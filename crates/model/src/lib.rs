//! Response models of the plantation: yield surfaces, their optimum, and the Arrow adapter to the engine.

mod challenger;
pub mod curve;
mod design;
mod distributed;
mod draws_file;
mod frames;
mod inversion;
mod laterals;
mod observed;
mod optimum;
mod path;
mod region_curve;
mod scale;
mod stream;
mod support;
mod table;
mod yield_model;

pub use challenger::{ChallengerScore, SeasonScore};
pub use curve::{IntensityShape, Knots};
pub use design::{HabitStatus, term_in_words};
pub use distributed::{
    CoefficientLine, Declaration, DeclareError, DeclaredFactor, DeclaredModel, FitSummary,
    SUM_COLUMNS, SumLine, SumsError, ThetaLine, sum_lines, sum_lines_of_parquet,
};
pub use draws_file::DrawsFileError;
pub use frames::{FrameUse, Frames};
pub use inversion::{TurningPointSet, invert};
pub use laterals::{
    CountClass, CountCurve, CountLink, CountSummary, LateralsError, LateralsModel,
    LateralsSettings, RegionLaterals, ResidualCheck,
};
pub use observed::ObservedClass;
pub use optimum::{Exploration, Grid, Objective, Optima, Practice};
pub use path::{
    EffectSummaries, Effects, PathError, PathModel, PathPoint, PathSettings, RegionPath, split,
};
pub use region_curve::{MeanEffect, RegionCurve, Summary, quantile};
pub use scale::Scale;
pub use stream::{StreamError, StreamFactor, StreamModel, moments_of_batches, moments_of_parquet};
pub use support::{Support, UNPRUNED_BELOW};
pub use table::{Labelled, TableError, TreeSeasons};
pub use yield_model::{
    CarryOver, FoldKind, LackOfFit, PointCurves, RegionFit, RowUse, SeparateCurves, ShapeChoice,
    ShapeScore, Uncut, WithinSeasons, YieldError, YieldModel, YieldSettings,
};
