//! What a season review's page is made of.

use crate::trials::TrialSection;

/// One group in a plot of parts.
#[derive(Debug, Clone, PartialEq)]
pub struct PartsRow {
    /// Group.
    pub name: String,
    /// Parts, kg per tree, in the order of the plot's names.
    pub parts: Vec<f64>,
}

/// Differences split into additive parts.
#[derive(Debug, Clone, PartialEq)]
pub struct PartsPlot {
    /// Part of its file name.
    pub name: String,
    /// Title.
    pub title: String,
    /// Caption.
    pub caption: String,
    /// Names of the parts.
    pub parts: Vec<String>,
    /// Name of their sum.
    pub sum: String,
    /// Groups.
    pub rows: Vec<PartsRow>,
    /// Title of the axis, with unit.
    pub axis: String,
    /// Heading of the groups in the table beside the plot.
    pub group: String,
}

/// One interval with what came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct IntervalRow {
    /// What it is of.
    pub name: String,
    /// Middle.
    pub middle: f64,
    /// Limits.
    pub limits: [f64; 2],
    /// Value to hold it against; `None` without one.
    pub realised: Option<f64>,
}

/// Intervals, one row each.
#[derive(Debug, Clone, PartialEq)]
pub struct Intervals {
    /// Part of its file name.
    pub name: String,
    /// Title.
    pub title: String,
    /// Caption.
    pub caption: String,
    /// Title of the axis, with unit.
    pub axis: String,
    /// Heading of the rows in the table beside the plot.
    pub row: String,
    /// Name of the middles and of the realised values in the legend.
    pub names: [String; 2],
    /// Rows, first on top.
    pub rows: Vec<IntervalRow>,
}

/// Why a tree is marked on a map.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TreeFlag {
    /// Nothing special.
    Plain,
    /// Persistently poor.
    Poor,
    /// Suddenly failing.
    Sudden,
}

/// A tree on a map.
#[derive(Debug, Clone, PartialEq)]
pub struct MappedTree {
    /// Tree.
    pub tree: String,
    /// Row in the block.
    pub row: u32,
    /// Position in the row.
    pub column: u32,
    /// Mark.
    pub flag: TreeFlag,
}

/// The trees of a block where they stand.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockMap {
    /// Part of its file name.
    pub name: String,
    /// Title.
    pub title: String,
    /// Caption.
    pub caption: String,
    /// Names of the marks: plain, poor, sudden.
    pub legend: [String; 3],
    /// Titles of the axes: positions along the row, rows.
    pub axes: [String; 2],
    /// Headings of the table beside it: tree, row, position, mark.
    pub heads: [String; 4],
    /// Trees.
    pub trees: Vec<MappedTree>,
}

/// A figure of the review.
#[derive(Debug, Clone, PartialEq)]
pub enum ReviewFigure {
    /// Parts of differences.
    Parts(PartsPlot),
    /// Intervals.
    Intervals(Intervals),
    /// A map.
    Map(BlockMap),
}

/// One section with its figures.
#[derive(Debug, Clone, PartialEq)]
pub struct ReviewSection {
    /// Anchor: lower-case letters and hyphens.
    pub id: &'static str,
    /// Heading, paragraphs and tables.
    pub of: TrialSection,
    /// Figures.
    pub figures: Vec<ReviewFigure>,
    /// Whether the cautions of tree work belong here.
    pub work: bool,
}

/// The review of a season.
#[derive(Debug, Clone, PartialEq)]
pub struct ReviewReport {
    /// Name of the record book.
    pub book: String,
    /// Title, with the season.
    pub title: String,
    /// How the season went, one sentence per region; or why that cannot be told.
    pub answers: Vec<String>,
    /// The rest.
    pub sections: Vec<ReviewSection>,
}
