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

    /// Every variance times a number, as to make it relative to the square of a mean.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        self.each(|variance| variance * factor)
    }

    /// The mean of every variance over several trials; `None` of none.
    #[must_use]
    pub fn mean(of: &[Self]) -> Option<Self> {
        let (first, others) = of.split_first()?;
        let sum = others.iter().fold(*first, |sum, own| Self {
            replicate: sum.replicate + own.replicate,
            main_plot: sum.main_plot + own.main_plot,
            sub_plot: sum.sub_plot + own.sub_plot,
            plot: sum.plot + own.plot,
            tree: sum.tree + own.tree,
            season: sum.season + own.season,
            treatment_season: sum.treatment_season + own.treatment_season,
            main_plot_season: sum.main_plot_season + own.main_plot_season,
            plot_season: sum.plot_season + own.plot_season,
            tree_season: sum.tree_season + own.tree_season,
        });
        Some(sum.times(1.0 / of.len() as f64))
    }

    /// What becomes of every variance.
    pub(super) fn each(self, of: impl Fn(f64) -> f64) -> Self {
        Self {
            replicate: of(self.replicate),
            main_plot: of(self.main_plot),
            sub_plot: of(self.sub_plot),
            plot: of(self.plot),
            tree: of(self.tree),
            season: of(self.season),
            treatment_season: of(self.treatment_season),
            main_plot_season: of(self.main_plot_season),
            plot_season: of(self.plot_season),
            tree_season: of(self.tree_season),
        }
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
