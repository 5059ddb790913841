//! Which seasons of a trial are analysed, and where each tree-season stands.

use ingest_seasons::TrialTree;
use model::TreeSeasons;
use records::TrialDeclaration;
use std::collections::{BTreeMap, BTreeSet};

/// Rows of the linked table by tree and season.
pub(super) struct Seasons<'a> {
    table: &'a TreeSeasons,
    rows: BTreeMap<(&'a str, i32), usize>,
}

impl<'a> Seasons<'a> {
    pub(super) fn of(table: &'a TreeSeasons) -> Self {
        let rows = table.season.iter().enumerate();
        let rows = rows.map(|(row, &season)| ((table.tree.label(row), season), row)).collect();
        Self { table, rows }
    }

    /// Row of a tree in a season.
    pub(super) fn row(&self, tree: &str, season: i32) -> Option<usize> {
        self.rows.get(&(tree, season)).copied()
    }

    /// The last season with a harvest of whatever tree.
    pub(super) fn last(&self) -> Option<i32> {
        self.table.season.iter().max().copied()
    }

    /// Seasons in which a tree of the trial was harvested, ascending.
    pub(super) fn harvested(&self, trees: &[&TrialTree]) -> BTreeSet<i32> {
        let own = |tree: &TrialTree| {
            let seasons = (tree.tree.as_str(), i32::MIN)..=(tree.tree.as_str(), i32::MAX);
            self.rows.range(seasons).map(|(&(_, season), _)| season).collect::<Vec<i32>>()
        };
        trees.iter().flat_map(|tree| own(tree)).collect()
    }

    /// Seasons analysed, and the last season before them with a harvest. Without declared seasons
    /// they begin with the first harvest after a pruning of a tree of the trial.
    pub(super) fn of_trial(
        &self,
        declaration: &TrialDeclaration,
        trees: &[&TrialTree],
    ) -> (Vec<i32>, Option<i32>) {
        let (mut harvested, mut pruned) = (BTreeSet::new(), BTreeSet::new());
        for tree in trees {
            let own = (tree.tree.as_str(), i32::MIN)..=(tree.tree.as_str(), i32::MAX);
            for (&(_, season), &row) in self.rows.range(own) {
                harvested.insert(season);
                if self.table.intensity.get(row).is_some_and(|&intensity| intensity > 0.0) {
                    pruned.insert(season);
                }
            }
        }
        let seasons: Vec<i32> = if declaration.seasons.is_empty() {
            let first = pruned.first().copied().unwrap_or(i32::MAX);
            harvested.iter().copied().filter(|&season| season >= first).collect()
        } else {
            let declared: BTreeSet<i32> =
                declaration.seasons.iter().map(|&s| i32::from(s)).collect();
            declared.intersection(&harvested).copied().collect()
        };
        let first = declaration.seasons.iter().map(|&s| i32::from(s)).min();
        let first = first.or_else(|| seasons.first().copied());
        let earlier = first.and_then(|first| harvested.range(..first).next_back().copied());
        (seasons, earlier)
    }
}
