//! What was observed in a trial, by column.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What kind of number a trait is; decides the models that can fit it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TraitKind {
    /// A measurement with additive errors: kg, cm, g.
    Measured,
    /// A count, perhaps with an exposure (frame area).
    Count,
    /// A count out of a total (flowering laterals of laterals, cuts that survived).
    Proportion,
    /// A percentage without its total.
    Percentage,
}

/// A trait with its unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trait {
    /// Name for files and programs, the same in every language, such as `nut-yield`.
    pub id: String,
    /// Name for people, such as `nut yield`.
    pub name: String,
    /// Unit of the natural scale, such as `kg per tree`; empty for a plain number.
    pub unit: String,
    /// Kind of number.
    pub kind: TraitKind,
}

/// Observations of one trait of one trial: one row per tree (or other sampling unit) and season.
/// Every column has one entry per row.
#[derive(Debug, Clone, PartialEq)]
pub struct Observations {
    /// Id of the trial.
    pub trial: String,
    /// What was observed.
    pub observed: Trait,
    /// Values on the natural scale; NaN where missing. For proportions the number of successes.
    pub values: Vec<f64>,
    /// Exposure of counts or totals of proportions; `None` when all are 1.
    pub exposure: Option<Vec<f64>>,
    /// Text columns by name, roles and factors among them; `None` where a cell is empty.
    pub columns: BTreeMap<String, Vec<Option<String>>>,
    /// Numeric columns by name, covariates among them; NaN where missing.
    pub numbers: BTreeMap<String, Vec<f64>>,
    /// Tree or other sampling unit of each row.
    pub tree: Vec<String>,
    /// Season of each row; `None` for trials observed once.
    pub season: Vec<Option<i32>>,
    /// Where each row was read, `file:line`; empty strings where unknown. Evidence in refusals.
    pub place: Vec<String>,
}

impl Observations {
    /// Number of rows.
    #[must_use]
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Whether there is no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }
}
