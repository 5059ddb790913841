//! What the season before left behind: the crop (alternate bearing) and the cut (carry-over).

use super::{Design, Role, Source};
use crate::table::TreeSeasons;
use std::collections::{BTreeMap, BTreeSet};
use words::say;

/// Seasons and tree-seasons with an earlier crop that a region needs to show alternate bearing:
/// with two seasons a tree's own level and its alternation cannot be told apart.
const LEAST_SEASONS: usize = 3;
const LEAST_ROWS: usize = 50;

/// Row of the same tree in the season before, for every row.
pub(crate) fn rows_before(table: &TreeSeasons) -> Vec<Option<usize>> {
    let at: BTreeMap<(u32, i32), usize> =
        (0..table.len()).map(|row| ((table.tree.codes[row], table.season[row]), row)).collect();
    (0..table.len())
        .map(|row| at.get(&(table.tree.codes[row], table.season[row] - 1)).copied())
        .collect()
}

impl Design {
    /// Adds, for each region with three seasons or more, how far the tree's crop of the season
    /// before lay from its expectation, so that the off year after a heavy crop is not blamed on
    /// the saw. `deviations` are those of the response from the fixed part and the site, block and
    /// season levels, one per row. Being net of pruning, they do not take away what earlier pruning
    /// did. The tree's own level u stays in them: with y = u + e and e of lag-1 correlation r,
    /// y = (1 - r) u + r (deviation before) + noise, so a row with an earlier crop carries only
    /// 1 - r of the tree's random effect; `correlations` holds the r of each region, by code.
    pub fn add_earlier_crop(
        &mut self,
        table: &TreeSeasons,
        deviations: &[f64],
        correlations: &[f64],
    ) {
        let before = rows_before(table);
        let mut loading = vec![1.0; table.len()];
        for (code, label) in (0_u32..).zip(&table.region.labels) {
            let inside = |row: &usize| table.region.codes[*row] == code;
            let seasons: BTreeSet<i32> =
                (0..table.len()).filter(inside).map(|row| table.season[row]).collect();
            let known =
                (0..table.len()).filter(inside).filter(|&row| before[row].is_some()).count();
            if seasons.len() < LEAST_SEASONS || known < LEAST_ROWS {
                self.left_out.push(say!(
                    "no alternate bearing in {label}: it takes three seasons and {LEAST_ROWS} tree-seasons with an earlier crop"
                ));
                continue;
            }
            let correlation = correlations.get(code as usize).copied().unwrap_or(0.0);
            let mut values = vec![0.0; table.len()];
            for row in (0..table.len()).filter(inside) {
                if let Some(earlier) = before[row] {
                    values[row] = deviations[earlier];
                    loading[row] = 1.0 - correlation;
                }
            }
            let source = Source::EarlierCrop(label.clone());
            self.push(format!("earlier crop in {label}"), values, Role::EarlierCrop(code), source);
        }
        let trees = self.groups.iter_mut().find(|group| group.name == "tree");
        if let Some(trees) = trees.filter(|_| loading.iter().any(|share| *share != 1.0)) {
            trees.loading = loading;
        }
    }

    /// Adds the intensity of the season before, with an indicator where that season is not
    /// recorded; `false` when fewer than 50 tree-seasons know an earlier cut or cuts never varied.
    pub fn add_carry_over(&mut self, table: &TreeSeasons) -> bool {
        let known: Vec<f64> =
            table.previous_intensity.iter().copied().filter(|i| i.is_finite()).collect();
        let varies = known.iter().any(|i| (i - known[0]).abs() > 1e-9);
        if known.len() < LEAST_ROWS || !varies {
            return false;
        }
        if known.len() < table.len() {
            let unknown = table
                .previous_intensity
                .iter()
                .map(|i| f64::from(u8::from(!i.is_finite())))
                .collect();
            self.push("earlier season unknown".to_owned(), unknown, Role::Nuisance, Source::Given);
        }
        let values =
            table.previous_intensity.iter().map(|&i| if i.is_finite() { i } else { 0.0 }).collect();
        self.push("earlier intensity".to_owned(), values, Role::CarryOver, Source::Given);
        true
    }
}
