//! Randomised layouts of new trials: which plot gets which treatment, and the tables to fill.

mod alpha;
mod augmented;
mod balance;
mod blocks_of_treatments;
mod cut;
mod dates;
mod draw;
mod efficiency;
mod error;
mod field;
mod galois;
mod lattice;
mod lay_out;
mod neighbours;
mod numbers;
mod plan;
mod request;
mod result;
mod scheme;
mod squares;
mod table;
mod treatments;
mod valid;

pub use balance::{BalanceReport, TreatmentMean};
pub use dates::LeadDay;
pub use efficiency::{BlockEfficiency, IncompleteMethod};
pub use error::LayoutError;
pub use lay_out::lay_out;
pub use request::{
    Balance, Blocking, Covariate, ExistingTree, Field, Guards, LayoutFactor, LayoutRequest, PlotOf,
    Restrictions, TreesPerPlot,
};
pub use result::{
    GuardTree, Layout, LayoutPlot, LayoutTreatment, LayoutTree, NewField, RestrictionReport,
};
pub use squares::{LatinMethod, LatinSquares};
pub use table::TrialTable;
