//! The numbers that make a trial large.

use super::error::SizeError;
use records::TrialDesign;
use serde::{Deserialize, Serialize};

/// Numbers of a balanced trial.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TrialSize {
    /// How treatments are assigned.
    pub design: TrialDesign,
    /// Treatments; new ones of an augmented design; 1 for split and strip plots.
    #[serde(default = "one")]
    pub treatments: usize,
    /// Main-plot treatments, or those of strips one way.
    #[serde(default = "one")]
    pub main: usize,
    /// Sub-plot treatments, or those of strips across.
    #[serde(default = "one")]
    pub sub: usize,
    /// Sub-sub-plot treatments.
    #[serde(default = "one")]
    pub sub_sub: usize,
    /// Checks of an augmented design.
    #[serde(default)]
    pub checks: usize,
    /// Incomplete blocks of a replicate.
    #[serde(default = "one")]
    pub blocks_per_replicate: usize,
    /// Average efficiency factor of incomplete blocks, over 0 up to 1.
    #[serde(default = "whole")]
    pub efficiency: f64,
    /// Replicates; blocks of an augmented design.
    pub replicates: usize,
    /// Observed trees of a plot.
    #[serde(default = "one")]
    pub trees_per_plot: usize,
    /// Seasons on the same plots.
    #[serde(default = "one")]
    pub seasons: usize,
    /// Whether the answer is for other seasons than those observed: treatment by season is then
    /// error.
    #[serde(default)]
    pub other_seasons: bool,
}

fn one() -> usize {
    1
}

fn whole() -> f64 {
    1.0
}

impl TrialSize {
    /// A trial of one season with single-tree plots; `treatments` counts those of plots.
    #[must_use]
    pub fn of(design: TrialDesign, treatments: usize, replicates: usize) -> Self {
        Self {
            design,
            treatments,
            main: 1,
            sub: 1,
            sub_sub: 1,
            checks: 0,
            blocks_per_replicate: 1,
            efficiency: 1.0,
            replicates,
            trees_per_plot: 1,
            seasons: 1,
            other_seasons: false,
        }
    }

    /// A split, split-split or strip plot of one season with single-tree plots.
    #[must_use]
    pub fn split(design: TrialDesign, levels: [usize; 3], replicates: usize) -> Self {
        let [main, sub, sub_sub] = levels;
        Self { main, sub, sub_sub, ..Self::of(design, 1, replicates) }
    }

    /// Number of plots.
    #[must_use]
    pub fn plots(&self) -> usize {
        match self.design {
            TrialDesign::LatinSquare => self.treatments * self.treatments,
            TrialDesign::AugmentedBlocks => self.treatments + self.checks * self.replicates,
            _ => self.treatments * self.main * self.sub * self.sub_sub * self.replicates,
        }
    }

    /// Number of observed trees.
    #[must_use]
    pub fn trees(&self) -> usize {
        self.plots() * self.trees_per_plot
    }

    pub(super) fn check(&self) -> Result<(), SizeError> {
        let counts = [
            ("treatments", self.treatments),
            ("main-plot treatments", self.main),
            ("sub-plot treatments", self.sub),
            ("sub-sub-plot treatments", self.sub_sub),
            ("blocks per replicate", self.blocks_per_replicate),
            ("replicates", self.replicates),
            ("trees per plot", self.trees_per_plot),
            ("seasons", self.seasons),
        ];
        for (what, count) in counts {
            if count == 0 {
                return Err(SizeError::Number { what, value: 0.0, needed: "1 or more" });
            }
        }
        super::error::checked(
            "efficiency factor",
            self.efficiency,
            "above 0 and at most 1",
            |e| e > 0.0 && e <= 1.0,
        )?;
        Ok(())
    }
}
