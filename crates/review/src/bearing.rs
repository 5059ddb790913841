//! Alternate bearing: index per tree averaged by group, phase of the trees, and whether they keep step.

use crate::columns::Labels;
use crate::error::{ReviewError, same_length};
use records::alternate_bearing_index;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Yields by tree and season with the group (block, region) in which they are averaged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BearingTrees<'a> {
    /// Group.
    pub group: Labels<'a>,
    /// Tree.
    pub tree: Labels<'a>,
    /// Season.
    pub season: &'a [i32],
    /// Yield, kg.
    pub yield_kg: &'a [f64],
}

/// Alternate bearing of one tree.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TreeBearing {
    /// Tree.
    pub tree: String,
    /// Index of alternate bearing, 0 to 1; `None` without two successive seasons with a crop.
    pub index: Option<f64>,
    /// Whether the last season was an on-year of the tree, against its own crop the season before
    /// and the change of its group; `None` without the season before.
    pub on: Option<bool>,
}

/// Alternate bearing of a group.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bearing {
    /// Group.
    pub group: String,
    /// Trees with an index.
    pub trees: usize,
    /// Mean of the trees' indices; NaN without any.
    pub mean_index: f64,
    /// Standard error of that mean from the spread between trees; NaN for fewer than two.
    pub std_error: f64,
    /// Index of the group's mean yield, over trees seen in both seasons of a pair.
    pub index_of_mean: Option<f64>,
    /// Index of the mean over the mean of the trees' indices, each tree weighing by its crops of a pair: 1 when all
    /// trees alternate in step, near 0 when they cancel out, never more than 1.
    pub in_step: Option<f64>,
    /// Share of the trees in an on-year in the last season, beyond what the group shares.
    pub share_on: Option<f64>,
    /// Trees by id.
    pub by_tree: Vec<TreeBearing>,
}

/// Alternate bearing by group, in the order of the labels. Give the rows up to the season to be
/// reviewed: the last season of a group is the one whose phase is told.
///
/// The index (Hoblyn, Grubb, Painter and Wates 1936, J. Pomol. Hortic. Sci. 14:39-76) is taken per
/// tree over pairs of successive seasons and then averaged: trees that alternate out of step leave
/// little in the group's total. Pairs across a missing season do not count.
///
/// # Errors
/// Columns of unequal length.
pub fn bearing(rows: &BearingTrees<'_>) -> Result<Vec<Bearing>, ReviewError> {
    let n = rows.season.len();
    rows.group.check("group", n)?;
    rows.tree.check("tree", n)?;
    same_length("yield_kg", n, rows.yield_kg.len())?;
    let mut groups: BTreeMap<&str, BTreeMap<&str, BTreeMap<i32, f64>>> = BTreeMap::new();
    for row in (0..n).filter(|&row| rows.yield_kg[row].is_finite()) {
        let trees = groups.entry(rows.group.label(row)).or_default();
        trees.entry(rows.tree.label(row)).or_default().insert(rows.season[row], rows.yield_kg[row]);
    }
    Ok(groups.into_iter().map(|(group, trees)| of_group(group, &trees)).collect())
}

fn of_group(group: &str, trees: &BTreeMap<&str, BTreeMap<i32, f64>>) -> Bearing {
    let last = trees.values().filter_map(|crops| crops.keys().next_back()).max();
    let closed = last.copied().unwrap_or_default();
    // Sums over trees seen in both seasons of a pair, by its later season, and of what each tree changed.
    let mut pairs: BTreeMap<i32, (f64, f64)> = BTreeMap::new();
    let mut changes: BTreeMap<i32, f64> = BTreeMap::new();
    for crops in trees.values() {
        for (before, after, season) in successive(crops) {
            let own = pairs.entry(season).or_default();
            *own = (own.0 + before, own.1 + after);
            *changes.entry(season).or_default() += (after - before).abs();
        }
    }
    // |sum of changes| over the sum of |changes|, both over the crops, pair by pair.
    let crops = || pairs.iter().filter(|(_, (before, after))| before + after > 0.0);
    let weighed: f64 =
        crops().map(|(season, (before, after))| changes[season] / (before + after)).sum();
    let together: f64 =
        crops().map(|(_, (before, after))| (after - before).abs() / (before + after)).sum();
    let shared = pairs.get(&closed).copied().unwrap_or_default();
    let by_tree: Vec<TreeBearing> = trees
        .iter()
        .map(|(tree, crops)| TreeBearing {
            tree: (*tree).to_owned(),
            index: mean_index(successive(crops).map(|(before, after, _)| [before, after])),
            on: match (crops.get(&(closed - 1)), crops.get(&closed)) {
                // Against the group's change, without a division that a crop of 0 would break.
                (Some(before), Some(after)) => Some(after * shared.0 > before * shared.1),
                _ => None,
            },
        })
        .collect();
    let indices: Vec<f64> = by_tree.iter().filter_map(|tree| tree.index).collect();
    let count = indices.len() as f64;
    let mean = indices.iter().sum::<f64>() / count;
    let squares = indices.iter().map(|index| (index - mean).powi(2)).sum::<f64>();
    let index_of_mean = mean_index(pairs.values().map(|(before, after)| [*before, *after]));
    let phases: Vec<bool> = by_tree.iter().filter_map(|tree| tree.on).collect();
    Bearing {
        group: group.to_owned(),
        trees: indices.len(),
        mean_index: mean,
        std_error: (squares / (count - 1.0) / count).sqrt(),
        index_of_mean,
        in_step: (weighed > 0.0).then(|| together / weighed),
        share_on: (!phases.is_empty())
            .then(|| phases.iter().filter(|on| **on).count() as f64 / phases.len() as f64),
        by_tree,
    }
}

fn successive(crops: &BTreeMap<i32, f64>) -> impl Iterator<Item = (f64, f64, i32)> {
    crops.iter().filter_map(|(season, after)| Some((*crops.get(&(season - 1))?, *after, *season)))
}

fn mean_index(pairs: impl Iterator<Item = [f64; 2]>) -> Option<f64> {
    let indices: Vec<f64> = pairs.filter_map(|pair| alternate_bearing_index(&pair)).collect();
    (!indices.is_empty()).then(|| indices.iter().sum::<f64>() / indices.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(names: &[&str]) -> Vec<String> {
        names.iter().map(|name| (*name).to_owned()).collect()
    }

    #[test]
    fn trees_out_of_step_cancel_in_the_mean_but_not_in_the_index_per_tree() {
        // Two trees with 10, 2, 10, 2 and 2, 10, 2, 10 (index 0.6667, worked example of the trade);
        // a third in step with the first.
        let group = labels(&["out", "in"]);
        let tree = labels(&["a", "b", "c", "d"]);
        let season: Vec<i32> = (0..16).map(|k| 2020 + k % 4).collect();
        let up = [10.0, 2.0, 10.0, 2.0];
        let down = [2.0, 10.0, 2.0, 10.0];
        let yields = [up, down, up, up].concat();
        let trees: Vec<u32> = (0..16).map(|k| k / 4).collect();
        let groups: Vec<u32> = trees.iter().map(|tree| tree / 2).collect();
        let rows = BearingTrees {
            group: Labels { codes: &groups, labels: &group },
            tree: Labels { codes: &trees, labels: &tree },
            season: &season,
            yield_kg: &yields,
        };
        let out = bearing(&rows).unwrap();
        assert_eq!(out[0].group, "in");
        assert!((out[0].mean_index - 2.0 / 3.0).abs() < 1e-12);
        assert!((out[0].in_step.unwrap() - 1.0).abs() < 1e-12);
        assert!((out[1].mean_index - 2.0 / 3.0).abs() < 1e-12);
        assert!(out[1].in_step.unwrap().abs() < 1e-12);
        assert_eq!(out[1].share_on, Some(0.5));
        assert_eq!(out[1].by_tree[1].on, Some(true));
    }

    /// Three big trees rise together, a small one hardly: the mean of their indices is below that of their total.
    #[test]
    fn trees_of_unlike_size_are_never_more_than_in_step() {
        let group = labels(&["g"]);
        let tree = labels(&["a", "b", "c", "d"]);
        let trees = [0, 0, 1, 1, 2, 2, 3, 3];
        let rows = BearingTrees {
            group: Labels { codes: &[0; 8], labels: &group },
            tree: Labels { codes: &trees, labels: &tree },
            season: &[2020, 2021, 2020, 2021, 2020, 2021, 2020, 2021],
            yield_kg: &[2.0, 10.0, 2.0, 10.0, 2.0, 10.0, 0.5, 0.6],
        };
        let out = bearing(&rows).unwrap();
        assert!(out[0].index_of_mean.unwrap() > out[0].mean_index);
        assert!((out[0].in_step.unwrap() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_missing_season_breaks_the_chain() {
        let names = labels(&["a"]);
        let codes = [0; 3];
        let rows = BearingTrees {
            group: Labels { codes: &codes, labels: &names },
            tree: Labels { codes: &codes, labels: &names },
            season: &[2020, 2022, 2023],
            yield_kg: &[10.0, 2.0, 6.0],
        };
        // Only 2, 6 are successive: |6 - 2| / 8.
        assert_eq!(bearing(&rows).unwrap()[0].mean_index, 0.5);
        let codes = [0; 2];
        let rows = BearingTrees {
            group: Labels { codes: &codes, labels: &names },
            tree: Labels { codes: &codes, labels: &names },
            season: &[2020, 2022],
            yield_kg: &[10.0, 2.0],
        };
        assert_eq!(bearing(&rows).unwrap()[0].by_tree[0].index, None);
    }
}
