//! Power over trees per plot, replicates and seasons.

use super::comparison::Comparison;
use super::components::Components;
use super::error::{SizeError, checked};
use super::power::{Effect, detectable_difference, power};
use super::precision::precision;
use super::trial_size::TrialSize;
use records::TrialDesign;
use serde::{Deserialize, Serialize};

/// The grid to compute.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TradeOffRequest {
    /// Design and numbers that stay.
    pub size: TrialSize,
    /// Variance components.
    pub components: Components,
    /// Comparison.
    pub comparison: Comparison,
    /// What is to be found; `None` asks for the smallest difference found alone.
    #[serde(default)]
    pub effect: Option<Effect>,
    /// Level of the test.
    pub alpha: f64,
    /// Power wanted.
    pub target: f64,
    /// Trees per plot.
    pub trees_per_plot: Vec<usize>,
    /// Replicates.
    pub replicates: Vec<usize>,
    /// Seasons.
    pub seasons: Vec<usize>,
}

/// One combination.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TradeOffCell {
    /// Trees per plot.
    pub trees_per_plot: usize,
    /// Replicates.
    pub replicates: usize,
    /// Seasons.
    pub seasons: usize,
    /// Plots in all.
    pub plots: usize,
    /// Observed trees in all.
    pub trees: usize,
    /// Trees to prune and pick, over the seasons.
    pub tree_seasons: usize,
    /// Standard error of the difference.
    pub sed: f64,
    /// Its degrees of freedom.
    pub df: f64,
    /// Smallest difference of two means found with the power wanted.
    pub detectable: f64,
    /// Power for the effect; `None` where none was asked about.
    pub power: Option<f64>,
}

/// The grid, ready to be drawn: cells ordered by seasons, trees per plot, replicates.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TradeOff {
    /// What was asked.
    pub request: TradeOffRequest,
    /// Combinations with an error to compare with.
    pub cells: Vec<TradeOffCell>,
    /// Number of combinations without degrees of freedom for error.
    pub without_error: usize,
    /// Fewest trees that reach the power; among equals the fewest seasons, then plots. `None` when
    /// no combination does, or no effect was asked about.
    pub least_trees: Option<TradeOffCell>,
    /// Fewest trees times seasons that reach the power.
    pub least_tree_seasons: Option<TradeOffCell>,
}

/// Computes the grid.
///
/// # Errors
/// Numbers out of range; a comparison that the design does not have; an empty grid.
pub fn trade_off(request: &TradeOffRequest) -> Result<TradeOff, SizeError> {
    checked("power", request.target, "between 0 and 1", |p| p > 0.0 && p < 1.0)?;
    let mut cells = Vec::new();
    let mut without_error = 0;
    let mut refusal = None;
    for &seasons in &request.seasons {
        for &trees_per_plot in &request.trees_per_plot {
            for &replicates in &request.replicates {
                let size = TrialSize { seasons, trees_per_plot, replicates, ..request.size };
                if size.design == TrialDesign::LatinSquare && replicates != size.treatments {
                    continue;
                }
                let precision = match precision(&size, &request.components, request.comparison) {
                    Ok(precision) => precision,
                    Err(error @ SizeError::NoError { .. }) => {
                        without_error += 1;
                        refusal = Some(error);
                        continue;
                    }
                    Err(error) => return Err(error),
                };
                cells.push(TradeOffCell {
                    trees_per_plot,
                    replicates,
                    seasons,
                    plots: size.plots(),
                    trees: size.trees(),
                    tree_seasons: size.trees() * seasons,
                    sed: precision.sed,
                    df: precision.df,
                    detectable: detectable_difference(&precision, request.alpha, request.target)?,
                    power: request
                        .effect
                        .as_ref()
                        .map(|effect| power(&precision, effect, request.alpha))
                        .transpose()?,
                });
            }
        }
    }
    if cells.is_empty() {
        return Err(refusal.unwrap_or_else(|| {
            SizeError::NotOfDesign(
                "no combination of trees, replicates and seasons to compute (a Latin square has as many replicates as treatments)".to_owned(),
            )
        }));
    }
    let enough = || {
        let suffices = |cell: &&TradeOffCell| cell.power.is_some_and(|p| p >= request.target);
        cells.iter().filter(suffices).copied()
    };
    Ok(TradeOff {
        request: request.clone(),
        without_error,
        least_trees: enough().min_by_key(|cell| (cell.trees, cell.seasons, cell.plots)),
        least_tree_seasons: enough()
            .min_by_key(|cell| (cell.tree_seasons, cell.seasons, cell.plots)),
        cells,
    })
}
