//! Which trees share a plot, and where plots stand.

use ingest_seasons::{HeldBlock, StandingTree, TrialTree};
use records::{TrialDeclaration, TrialDesign};
use std::collections::{BTreeMap, BTreeSet};

/// What trees of one plot have in common: treatment, place in the design and plot, where the trial
/// table has one; a tree of a trial of single trees stands by itself.
pub(super) fn plot_of<'a>(
    declaration: &TrialDeclaration,
    tree: &'a TrialTree,
) -> Vec<Option<&'a str>> {
    let roles = &declaration.roles;
    let cell = |column: &str| tree.columns.get(column).and_then(Option::as_deref);
    let lines = declaration.design == TrialDesign::LatinSquare;
    let mut key: Vec<Option<&str>> =
        declaration.keyed_factors().map(|(_, factor)| cell(factor)).collect();
    key.push(cell(&roles.replicate));
    for role in [&roles.block, &roles.main_plot, &roles.sub_plot, &roles.plot, &roles.site] {
        key.push(role.as_deref().and_then(cell));
    }
    if lines {
        key.push(cell(roles.row.as_deref().unwrap_or("row")));
        key.push(cell(roles.column.as_deref().unwrap_or("column")));
    }
    if declaration.design == TrialDesign::CompletelyRandomised && roles.plot.is_none() {
        key.push(Some(&tree.tree));
    }
    key
}

/// Rows and columns of trees in their blocks, from the tree table, with the sites of these.
pub(super) struct Places<'a> {
    of: BTreeMap<&'a str, [Option<i64>; 2]>,
    sites: BTreeMap<&'a str, &'a str>,
}

impl<'a> Places<'a> {
    pub(super) fn of(standing: &'a [StandingTree], held: &'a [HeldBlock]) -> Self {
        let of = standing.iter().map(|tree| (tree.tree.as_str(), [tree.row, tree.column]));
        let site: BTreeMap<&str, &str> =
            held.iter().map(|block| (block.block.as_str(), block.site.as_str())).collect();
        let sites = standing
            .iter()
            .filter_map(|tree| Some((tree.tree.as_str(), *site.get(tree.block.as_str())?)));
        Self { of: of.collect(), sites: sites.collect() }
    }

    /// Site of a tree's block.
    pub(super) fn site(&self, tree: &str) -> Option<&'a str> {
        self.sites.get(tree).copied()
    }

    /// Sites of the book that have trees.
    pub(super) fn sites(&self) -> impl Iterator<Item = &'a str> {
        self.sites.values().copied().collect::<BTreeSet<_>>().into_iter()
    }

    /// Row (0) or column (1) of a tree.
    pub(super) fn of_tree(&self, tree: &str, along: usize) -> Option<i64> {
        self.of.get(tree)?.get(along).copied().flatten()
    }
}

/// Every value replaced by the mean of its plot's trees; NaN where one of them has none.
pub(super) fn means_of_plots(
    declaration: &TrialDeclaration,
    at: &[(&TrialTree, i32, Option<usize>)],
    values: &[f64],
) -> Vec<f64> {
    let mut plots: BTreeMap<Vec<Option<&str>>, (f64, f64)> = BTreeMap::new();
    let keys: Vec<Vec<Option<&str>>> =
        at.iter().map(|(tree, ..)| plot_of(declaration, tree)).collect();
    for (key, value) in keys.iter().zip(values) {
        let (sum, trees) = plots.entry(key.clone()).or_default();
        *sum += value;
        *trees += 1.0;
    }
    let mean = |key| plots.get(key).map_or(f64::NAN, |(sum, trees)| sum / trees);
    keys.iter().map(mean).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::expect_used)]

    use super::*;
    use records::Place;

    fn tree(name: &str, plot: &str) -> TrialTree {
        let cells = [("replicate", "R1"), ("plot", plot), ("cut", "0")];
        let cell = |(name, text): (&str, &str)| (name.to_owned(), Some(text.to_owned()));
        TrialTree {
            trial: "A".to_owned(),
            tree: name.to_owned(),
            place: Place::line("trials.csv", 2),
            columns: cells.map(cell).into(),
            girth_cm: None,
            gone: None,
        }
    }

    #[test]
    fn a_lost_tree_leaves_the_middle_of_its_plot_where_it_was() {
        let declaration: TrialDeclaration = serde_json::from_str(
            r#"{"title": null, "design": "randomised_blocks", "factors": ["cut"], "roles":
                {"replicate": "replicate", "block": null, "row": null, "column": null,
                 "main_plot": null, "sub_plot": null, "plot": "plot", "site": null},
                "control": null, "covariate": null}"#,
        )
        .expect("a declaration");
        let trees = [tree("T9", "1"), tree("T10", "1"), tree("T11", "2"), tree("T12", "2")];
        // T10 has no harvest.
        let rows = [Some(0), None, Some(1), Some(2)];
        let at: Vec<(&TrialTree, i32, Option<usize>)> =
            trees.iter().zip(rows).map(|(tree, row)| (tree, 2024, row)).collect();
        let found = means_of_plots(&declaration, &at, &[9.0, 10.0, 11.0, 12.0]);
        assert_eq!(found, [9.5, 9.5, 11.5, 11.5]);
    }
}
