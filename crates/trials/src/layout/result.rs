//! A layout: plots with their trees and treatments, and how it was drawn.

use super::balance::BalanceReport;
use super::dates::LeadDay;
use super::efficiency::{BlockEfficiency, IncompleteMethod};
use super::request::{ExistingTree, LayoutFactor};
use super::squares::LatinMethod;
use records::{TrialControl, TrialDesign, TrialTrait};
use serde::{Deserialize, Serialize};

/// A tree with its position, where known.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct LayoutTree {
    /// Tree id.
    pub tree: String,
    /// Plantation block; empty on a new grid.
    pub block: String,
    /// Row of trees.
    pub row: Option<i64>,
    /// Position in the row.
    pub column: Option<i64>,
}

impl LayoutTree {
    pub(super) fn of(tree: &ExistingTree) -> Self {
        Self {
            tree: tree.tree.clone(),
            block: tree.block.clone(),
            row: tree.row,
            column: tree.column,
        }
    }
}

/// A tree that separates plots.
pub type GuardTree = LayoutTree;

/// A plot with its treatment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LayoutPlot {
    /// Plot number as text: replicate, then plot within it.
    pub plot: String,
    /// Plantation block; empty on a new grid.
    pub patch: String,
    /// Row of plots from 1, where plots have positions.
    pub row: Option<usize>,
    /// Column of plots from 1, where plots have positions.
    pub column: Option<usize>,
    /// Replicate; block of an augmented design; which plot of its treatment when completely
    /// randomised.
    pub replicate: String,
    /// Incomplete or augmented block.
    pub block: Option<String>,
    /// Main plot, or strip one way.
    pub main_plot: Option<String>,
    /// Sub plot, or strip across.
    pub sub_plot: Option<String>,
    /// Row of a Latin square, from 1.
    pub square_row: Option<usize>,
    /// Column of a Latin square, from 1.
    pub square_column: Option<usize>,
    /// Position in [`Layout::treatments`].
    pub treatment: usize,
    /// Trees to observe.
    pub trees: Vec<LayoutTree>,
    /// Trees that get the treatment but are not observed.
    pub border: Vec<LayoutTree>,
    /// Mean earlier crop of the observed trees.
    pub earlier_crop: Option<f64>,
    /// Mean girth of the observed trees, cm.
    pub girth_cm: Option<f64>,
}

/// A treatment with the number of its plots.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LayoutTreatment {
    /// Levels joined by ` x `.
    pub label: String,
    /// Level of each factor, in the order of [`Layout::factors`]; `None` on a control beside the
    /// factorial.
    pub levels: Vec<Option<String>>,
    /// Number of plots.
    pub plots: usize,
    /// Whether it is a check of an augmented design.
    pub check: bool,
}

/// How restrictions on neighbours were honoured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RestrictionReport {
    /// Pairs of plots that are neighbours.
    pub neighbouring_pairs: usize,
    /// Fresh randomisations made.
    pub tried: usize,
    /// How many of them honoured the restrictions.
    pub valid: usize,
    /// Whether valid layouts were so rare that the layout comes from a chain of exchanges.
    pub by_chain: bool,
}

/// A plantation block that is yet to be planted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewField {
    /// Block id.
    pub block: String,
    /// Site, where stated.
    pub site: Option<String>,
    /// Region, where stated.
    pub region: Option<String>,
}

/// A randomised layout.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Layout {
    /// Trial id.
    pub trial: String,
    /// Site of this part of a trial that stands at several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site: Option<String>,
    /// Title for people.
    pub title: Option<String>,
    /// How treatments are assigned.
    pub design: TrialDesign,
    /// Seed: the same request and seed give the same layout.
    pub seed: u64,
    /// Generator that the seed started.
    pub generator: String,
    /// Treatment factors.
    pub factors: Vec<LayoutFactor>,
    /// The control, where there is one.
    pub control: Option<TrialControl>,
    /// Treatments in the order of their levels.
    pub treatments: Vec<LayoutTreatment>,
    /// Plots by replicate.
    pub plots: Vec<LayoutPlot>,
    /// Guard trees outside plots.
    pub guards: Vec<GuardTree>,
    /// The block that a new grid will be; absent for trees that stand already.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub new_field: Option<NewField>,
    /// Plots of the field that the trial does not use, with their trees.
    pub spare_plots: usize,
    /// Trees that belong to no plot and guard none.
    pub left_over: Vec<LayoutTree>,
    /// Season of the first harvest after the trial's pruning, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_harvest: Option<i16>,
    /// Trees asked for that no longer stand, by id; none of them is part of the trial.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gone: Vec<String>,
    /// The day of each lead in each region, where the factors have leads and the calendar is known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub leads: Vec<LeadDay>,
    /// What a lead is, where the factors have leads; else the days of rest in which to prune.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub lead_words: String,
    /// What is to be known before the first cut, in sentences. Whoever reads the book fills them in.
    #[serde(default)]
    pub remarks: Vec<String>,
    /// Lines of the harvest sheet for each tree.
    #[serde(default = "super::request::one")]
    pub picks_per_tree: usize,
    /// How a Latin square was drawn.
    pub latin: Option<LatinMethod>,
    /// How incomplete blocks were made.
    pub blocks: Option<IncompleteMethod>,
    /// What incomplete blocks cost.
    pub efficiency: Option<BlockEfficiency>,
    /// Restrictions on neighbours, where asked for.
    pub restrictions: Option<RestrictionReport>,
    /// Rerandomisation, where asked for.
    pub balance: Option<BalanceReport>,
    /// Traits to be analysed; nut yield when empty.
    pub traits: Vec<TrialTrait>,
    /// What was done and what the analysis must keep, in sentences for a methods section.
    pub methods: Vec<String>,
}
