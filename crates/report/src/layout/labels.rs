//! What is said of every plot and tree, once for all papers.

use super::{Layout, treatment_of};
use trials::layout::{LayoutPlot, LayoutTree};
use words::say;

/// A tree to observe with its plot.
pub struct TreeLine<'a> {
    pub plot: &'a LayoutPlot,
    pub tree: &'a LayoutTree,
    /// Code and name of the treatment.
    pub code: String,
    pub treatment: String,
    /// Whether it is observed.
    pub observed: bool,
}

/// Every tree that gets a treatment, plot by plot.
pub fn tree_lines(layout: &Layout) -> Vec<TreeLine<'_>> {
    let mut lines = Vec::new();
    for plot in &layout.plots {
        let (code, treatment) = treatment_of(layout, plot.treatment);
        let observed = plot.trees.iter().map(|tree| (tree, true));
        for (tree, observed) in observed.chain(plot.border.iter().map(|tree| (tree, false))) {
            let (code, treatment) = (code.clone(), treatment.clone());
            lines.push(TreeLine { plot, tree, code, treatment, observed });
        }
    }
    lines
}

/// Where a tree stands, in words; empty where nothing is known.
pub fn stands(tree: &LayoutTree) -> String {
    let mut words = Vec::new();
    if !tree.block.is_empty() {
        words.push(say!("block {}", tree.block));
    }
    words.extend(tree.row.map(|row| say!("row {row}")));
    words.extend(tree.column.map(|column| say!("tree {column}")));
    words.join(", ")
}

/// A name of the trial with the site that this part of it stands at, where it stands at several.
pub fn at_site(layout: &Layout, name: &str) -> String {
    layout.site.as_ref().map_or_else(|| name.to_owned(), |site| format!("{name}, {site}"))
}

/// The units of the plots above a plot, in words.
pub fn within(plot: &LayoutPlot) -> String {
    let mut words = vec![say!("replicate {}", plot.replicate)];
    words.extend(plot.block.as_ref().map(|block| say!("block {block}")));
    words.extend(plot.main_plot.as_ref().map(|main| say!("main plot {main}")));
    words.extend(plot.sub_plot.as_ref().map(|sub| say!("sub plot {sub}")));
    words.join(", ")
}
