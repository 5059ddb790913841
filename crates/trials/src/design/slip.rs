//! A slip of writing in a trial's table: what looks wrong, in words, and what to do about it.

use super::refusal::Evidence;
use crate::place_in_words;
use serde::{Deserialize, Serialize};
use words::{say, text};

/// Rows of a trial that look mistyped; the trial is analysed as they stand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum Slip {
    /// A level in one complete block, while the others stand in most.
    LevelInOneBlock {
        /// Factor.
        factor: String,
        /// Level, as the table has it.
        level: String,
        /// The block, `replicate R2`.
        block: String,
        /// Blocks of the trial.
        blocks: usize,
        /// Rows.
        evidence: Evidence,
    },
    /// Without complete blocks, a level on one plot, while most stand on several.
    LevelOnOnePlot {
        /// Factor.
        factor: String,
        /// Level in words.
        level: String,
        /// Plots of most levels.
        usual: usize,
        /// A level of several plots, in words, that is ten times this one or a tenth of it: a digit
        /// too few or too many.
        slipped: Option<String>,
        /// Rows.
        evidence: Evidence,
    },
    /// A complete block with one or few of the treatments.
    ThinBlock {
        /// The block, `replicate R2`.
        block: String,
        /// Treatments that it holds.
        holds: usize,
        /// Treatments that most blocks hold.
        usual: usize,
        /// Rows.
        evidence: Evidence,
    },
    /// A complete block without treatments that most others hold: their rows may be missing.
    LackingTreatments {
        /// The block, `replicate R2`.
        block: String,
        /// Treatments that it lacks, in words.
        lacking: Vec<String>,
        /// Blocks of the trial.
        blocks: usize,
        /// Rows of the block.
        evidence: Evidence,
    },
    /// A block of an augmented design without a check that others hold.
    LackingCheck {
        /// The block, `block 2`.
        block: String,
        /// The check, as the declaration has it.
        check: String,
        /// Blocks that hold it.
        held: usize,
        /// Blocks of the trial.
        blocks: usize,
        /// The new entry of the block that is the check but for one letter.
        entry: Option<String>,
        /// Rows of that entry, or of the block.
        evidence: Evidence,
    },
    /// A block of one plot, where blocks hold several.
    LoneBlock {
        /// The block, `replicate 2, block 7`.
        block: String,
        /// Plots of most blocks.
        usual: usize,
        /// Its rows.
        evidence: Evidence,
    },
    /// Of the blocks of an incomplete or augmented design, one holds as many plots too many as another
    /// of its replicate holds too few.
    UnevenBlocks {
        /// The block with too many.
        block: String,
        /// Its plots.
        plots: usize,
        /// The block with too few.
        other: String,
        /// Its plots.
        left: usize,
        /// Plots of most blocks.
        usual: usize,
        /// Rows of the block with too many.
        evidence: Evidence,
    },
    /// Of a block's plots, told by block and treatment, one holds as many trees too many as another
    /// holds too few.
    UnevenPlots {
        /// Treatment of the plot with too many.
        treatment: String,
        /// Its block, `replicate R2`.
        block: String,
        /// Trees that it holds.
        trees: usize,
        /// Treatment of the plot with too few.
        other: String,
        /// Its block; it may be the same.
        other_block: String,
        /// Trees that this one holds.
        left: usize,
        /// Trees of most plots.
        usual: usize,
        /// Whether a column that tells plots apart is declared.
        has_plots: bool,
        /// Rows of the plot with too many.
        evidence: Evidence,
    },
    /// Without blocks, one treatment has as many plots too many as another has too few.
    UnevenTreatments {
        /// Treatment with too many plots.
        treatment: String,
        /// Its plots.
        plots: usize,
        /// Treatment with too few.
        other: String,
        /// Its plots.
        left: usize,
        /// Plots of every other treatment.
        usual: usize,
        /// Rows of the treatment with too many.
        evidence: Evidence,
    },
    /// Without blocks, a plot with the trees of two, whose treatment lacks a plot.
    LargePlot {
        /// The plot, `plot 7`.
        plot: String,
        /// Its trees.
        trees: usize,
        /// Trees of most plots.
        usual: usize,
        /// Its treatment.
        treatment: String,
        /// Plots of that.
        plots: usize,
        /// Plots of most treatments.
        usual_plots: usize,
        /// Rows of the plot.
        evidence: Evidence,
    },
    /// Two levels, or two blocks, that differ in case, spaces or letters of like shape.
    Alike {
        /// Column.
        column: String,
        /// The one that more rows have.
        first: String,
        /// The other.
        second: String,
        /// Rows of the other.
        evidence: Evidence,
    },
    /// A level of one factor that goes with one level of another and with nothing else, as on the
    /// plots of a control beside a factorial that is not declared.
    Undeclared {
        /// Factor.
        factor: String,
        /// Its level.
        level: String,
        /// The other factor.
        other: String,
        /// Its level.
        other_level: String,
        /// Rows.
        evidence: Evidence,
    },
}

impl Slip {
    /// What looks wrong, with the rows.
    #[must_use]
    pub fn what(&self) -> String {
        match self {
            Slip::LevelInOneBlock { factor, level, block, blocks, evidence } => say!(
                "{factor} {level} stands in one of {blocks} complete blocks only, {block} ({evidence})",
                block = place_in_words(block)
            ),
            Slip::LevelOnOnePlot { factor, level, usual, slipped: None, evidence } => say!(
                "{factor} {level} stands on one plot only, where most levels stand on {usual} ({evidence})",
                factor = crate::name_in_words(factor)
            ),
            Slip::LevelOnOnePlot { factor, level, usual, slipped: Some(slipped), evidence } => {
                say!(
                    "{factor} {level} stands on one plot only, where most levels stand on {usual}, and is {slipped} but for a digit too few or too many ({evidence})",
                    factor = crate::name_in_words(factor)
                )
            }
            Slip::ThinBlock { block, holds, usual, evidence } => say!(
                "{block} holds {holds} of the {usual} treatments of a complete block ({evidence})",
                block = place_in_words(block)
            ),
            Slip::LackingTreatments { block, lacking, blocks, evidence } => say!(
                "{block} has no row of {lacking}, which most of the {blocks} complete blocks hold ({evidence})",
                block = place_in_words(block),
                lacking = lacking.join("; ")
            ),
            Slip::LackingCheck { block, check, held, blocks, entry: None, evidence } => say!(
                "{block} has no row of the check {check}, which {held} of {blocks} blocks hold ({evidence})",
                block = place_in_words(block)
            ),
            Slip::LackingCheck { block, check, held, blocks, entry: Some(entry), evidence } => {
                say!(
                    "{block} has no row of the check {check}, which {held} of {blocks} blocks hold, but a new entry {entry}, which is {check} but for one letter ({evidence})",
                    block = place_in_words(block)
                )
            }
            Slip::LoneBlock { block, usual, evidence } => say!(
                "{block} holds one plot, where most blocks hold {usual} ({evidence})",
                block = place_in_words(block)
            ),
            Slip::UnevenBlocks { block, plots, other, left, usual, evidence } => say!(
                "{block} holds {plots} plots and {other} {left}, where blocks hold {usual}: plots of one may bear the label of the other ({evidence})",
                block = place_in_words(block),
                other = place_in_words(other)
            ),
            Slip::UnevenPlots {
                treatment,
                block,
                trees,
                other,
                other_block,
                left,
                usual,
                evidence,
                ..
            } => say!(
                "{treatment} in {block} holds {trees} trees and {other} in {other_block} {left}, where plots hold {usual}: trees of one may bear the label of the other ({evidence})",
                block = place_in_words(block),
                other_block = place_in_words(other_block)
            ),
            Slip::UnevenTreatments { treatment, plots, other, left, usual, evidence } => say!(
                "{treatment} stands on {plots} plots and {other} on {left}, where each other treatment has {usual}: plots of one may bear the label of the other ({evidence})"
            ),
            Slip::LargePlot { plot, trees, usual, treatment, plots, usual_plots, evidence } => {
                say!(
                    "{plot} holds {trees} trees where plots hold {usual}, and {treatment} has {plots} plots where treatments have {usual_plots}: two plots may bear one id ({evidence})",
                    plot = place_in_words(plot)
                )
            }
            Slip::Alike { column, first, second, evidence } => say!(
                "{column} '{second}' looks like '{first}' and counts as another ({evidence})",
                column = crate::name_in_words(column)
            ),
            Slip::Undeclared { factor, level, other, other_level, evidence } => say!(
                "{factor} {level} stands with {other} {other_level} alone, and nothing else does ({evidence}): with such plots in the factorial its terms cannot be tested"
            ),
        }
    }

    /// What to do about it.
    #[must_use]
    pub fn remedy(&self) -> String {
        match self {
            Slip::LevelInOneBlock { .. } => text!(
                "correct the level; if the other blocks lost their plots of it, list those trees in the trial table all the same"
            )
            .to_owned(),
            Slip::ThinBlock { .. } | Slip::LoneBlock { .. } => text!(
                "correct the block's name; if its other plots were lost, list their trees in the trial table all the same"
            )
            .to_owned(),
            Slip::LackingTreatments { .. } => text!(
                "add the rows; trees of plots that were lost are listed in the trial table all the same"
            )
            .to_owned(),
            Slip::LackingCheck { entry: None, .. } => text!(
                "add the rows, or correct the name of the check as `checks` has it; trees of plots that were lost are listed in the trial table all the same"
            )
            .to_owned(),
            Slip::LackingCheck { entry: Some(entry), check, .. } => say!(
                "write {check} for {entry} if that plot is the check's: as it stands it counts as a new entry of one plot"
            ),
            Slip::UnevenBlocks { .. } => text!(
                "correct the block of the plots by the trial's map or field sheets; leave it if the blocks were laid out so unlike in size"
            )
            .to_owned(),
            Slip::UnevenPlots { has_plots: true, .. } => text!(
                "correct plot and treatment of the trees by the trial's map or field sheets; leave it if the plots were laid out so unlike in size"
            )
            .to_owned(),
            Slip::UnevenPlots { .. } => text!(
                "correct the label of the trees; where the labels are right, declare the column that tells plots apart, roles = { plot = \"COLUMN\" }"
            )
            .to_owned(),
            Slip::UnevenTreatments { .. } | Slip::LevelOnOnePlot { .. } => text!(
                "correct the treatment of the plot; if the trial was laid out so, leave it: the analysis allows for it"
            )
            .to_owned(),
            Slip::LargePlot { .. } => {
                text!("correct the id of the plot, so that each plot has its own").to_owned()
            }
            Slip::Alike { .. } => {
                text!("write one thing in one way, or give two things names that look different")
                    .to_owned()
            }
            Slip::Undeclared { factor, level, .. } => say!(
                "if these plots are the control beside the factorial, write control = {{ factor = \"{factor}\", level = \"{level}\", beside_factorial = true }} into the trial's section of book.toml"
            ),
        }
    }

    /// The rows that look mistyped.
    #[must_use]
    pub fn evidence(&self) -> &Evidence {
        match self {
            Slip::LevelInOneBlock { evidence, .. }
            | Slip::LevelOnOnePlot { evidence, .. }
            | Slip::ThinBlock { evidence, .. }
            | Slip::LackingTreatments { evidence, .. }
            | Slip::LackingCheck { evidence, .. }
            | Slip::LoneBlock { evidence, .. }
            | Slip::UnevenBlocks { evidence, .. }
            | Slip::UnevenPlots { evidence, .. }
            | Slip::UnevenTreatments { evidence, .. }
            | Slip::LargePlot { evidence, .. }
            | Slip::Alike { evidence, .. }
            | Slip::Undeclared { evidence, .. } => evidence,
        }
    }
}
