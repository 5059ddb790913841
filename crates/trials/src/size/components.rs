//! Variance components of a trait.

use super::error::{SizeError, checked};
use serde::{Deserialize, Serialize};

/// Variances in the square of the trait's unit, 0 where there is none. A plantation's own fit, or
/// an earlier trial, gives them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Components {
    /// Between replicates. Cancels from comparisons, but is error where there are no blocks.
    pub replicate: f64,
    /// Between main plots of a replicate, or strips one way.
    pub main_plot: f64,
    /// Between sub plots of a main plot that are split again, or strips across.
    pub sub_plot: f64,
    /// Between plots.
    pub plot: f64,
    /// Between trees of a plot, lasting.
    pub tree: f64,
    /// Between seasons. Cancels from comparisons.
    pub season: f64,
    /// Treatment by season: how much a treatment's effect changes between seasons.
    pub treatment_season: f64,
    /// Main plot by season.
    pub main_plot_season: f64,
    /// Plot by season.
    pub plot_season: f64,
    /// Tree by season: what is left.
    pub tree_season: f64,
}

impl Components {
    /// Single-tree plots of one season with a coefficient of variation: all error is between trees.
    #[must_use]
    pub fn of_trees(mean: f64, cv: f64) -> Self {
        Self { tree: (mean * cv).powi(2), ..Self::default() }
    }

    /// Refuses variances that are negative or not finite.
    pub(super) fn check(&self) -> Result<(), SizeError> {
        for (what, value) in [
            ("variance between replicates", self.replicate),
            ("variance between main plots", self.main_plot),
            ("variance between sub plots", self.sub_plot),
            ("variance between plots", self.plot),
            ("variance between trees", self.tree),
            ("variance between seasons", self.season),
            ("variance of treatment by season", self.treatment_season),
            ("variance of main plot by season", self.main_plot_season),
            ("variance of plot by season", self.plot_season),
            ("variance of tree by season", self.tree_season),
        ] {
            checked(what, value, "a finite number, 0 or more", |v| v >= 0.0)?;
        }
        Ok(())
    }
}
