//! Cause or habit: routine intensity split into a tree's own mean and its deviation from it.
//!
//! A tree's mean intensity over its routine seasons enters as a column of its own per region, so
//! that the curve is identified by what changed within trees and by randomised trials, not by which
//! trees people chose to prune (Mundlak, 1978, Econometrica 46(1):69-85). Trial trees carry no
//! habit: their intensity was drawn by lot.

use super::{Design, Role, Source};
use crate::curve::COLUMN_NAMES;
use crate::table::TreeSeasons;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Within-tree standard deviation of intensity that counts as varying, fraction of the canopy.
const LEAST_WITHIN_SD: f64 = 0.02;
/// Between-tree standard deviation of mean intensity that is worth a column.
const LEAST_BETWEEN_SD: f64 = 0.005;

/// Whether a region's records can tell cause from habit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HabitStatus {
    /// Routine intensity varies within trees: habit has its own columns.
    Separated,
    /// Trees do not differ in their mean intensity: there is no habit to separate.
    NoneSeen,
    /// Only trial trees: intensity was drawn by lot.
    Randomised,
    /// Each tree is always pruned alike: cause and habit cannot be told apart.
    Unresolved,
}

struct TreeMeans {
    /// Sums of the family's core curves, in its order.
    sums: Vec<f64>,
    intensity: f64,
    intensity_sq: f64,
    seasons: f64,
}

/// Adds the habit columns and records each region's status.
pub(super) fn add(design: &mut Design, table: &TreeSeasons) {
    let regions = table.region.len() as u32;
    for region in 0..regions {
        let means = routine_means(design, table, region);
        let has_trial = table
            .region
            .codes
            .iter()
            .zip(&table.in_trial)
            .any(|(&code, &in_trial)| code == region && in_trial);
        let status = status_of(&means, has_trial);
        design.habit.push(status);
        if status == HabitStatus::Separated {
            add_columns(design, table, region, &means);
        }
    }
}

fn routine_means(design: &Design, table: &TreeSeasons, region: u32) -> BTreeMap<u32, TreeMeans> {
    let mut means: BTreeMap<u32, TreeMeans> = BTreeMap::new();
    for row in 0..table.len() {
        if table.region.codes[row] != region || table.in_trial[row] {
            continue;
        }
        let entry = means.entry(table.tree.codes[row]).or_insert(TreeMeans {
            sums: vec![0.0; design.family.core().len()],
            intensity: 0.0,
            intensity_sq: 0.0,
            seasons: 0.0,
        });
        for (sum, &shape) in entry.sums.iter_mut().zip(design.family.core()) {
            *sum += design.shapes[shape][row];
        }
        entry.intensity += table.intensity[row];
        entry.intensity_sq += table.intensity[row].powi(2);
        entry.seasons += 1.0;
    }
    means
}

fn status_of(means: &BTreeMap<u32, TreeMeans>, has_trial: bool) -> HabitStatus {
    if means.is_empty() {
        return HabitStatus::Randomised;
    }
    let (mut within, mut within_df) = (0.0, 0.0);
    for tree in means.values() {
        within += tree.intensity_sq - tree.intensity.powi(2) / tree.seasons;
        within_df += tree.seasons - 1.0;
    }
    let overall = means.values().map(|t| t.intensity / t.seasons).sum::<f64>() / means.len() as f64;
    let between = means.values().map(|t| (t.intensity / t.seasons - overall).powi(2)).sum::<f64>()
        / means.len() as f64;
    if between.sqrt() < LEAST_BETWEEN_SD {
        HabitStatus::NoneSeen
    } else if has_trial || (within_df > 0.0 && (within / within_df).sqrt() >= LEAST_WITHIN_SD) {
        HabitStatus::Separated
    } else {
        HabitStatus::Unresolved
    }
}

fn add_columns(
    design: &mut Design,
    table: &TreeSeasons,
    region: u32,
    means: &BTreeMap<u32, TreeMeans>,
) {
    let label = table.region.labels.get(region as usize).cloned().unwrap_or_default();
    for (place, &shape) in design.family.core().iter().enumerate() {
        let tree_mean = |tree: &TreeMeans| tree.sums[place] / tree.seasons;
        let centre = means.values().map(tree_mean).sum::<f64>() / means.len() as f64;
        let values = (0..table.len())
            .map(|row| {
                let routine = table.region.codes[row] == region && !table.in_trial[row];
                match means.get(&table.tree.codes[row]) {
                    // Centred, so that a trial tree (0) stands for a tree of average habit.
                    Some(tree) if routine => tree_mean(tree) - centre,
                    _ => 0.0,
                }
            })
            .collect();
        design.push(
            format!("habit {} in {label}", COLUMN_NAMES[shape]),
            values,
            Role::Habit(region),
            Source::Habit { shape, region: label.clone(), centre },
        );
    }
}
