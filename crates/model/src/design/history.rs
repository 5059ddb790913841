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

    /// The columns for a fit that does not see some rows, and what the earlier crop adds to each
    /// row. The latter is taken as all records say it, like the knots and the profile of timing: it
    /// goes together with the share of the tree's level in each row, and the rows left can be too
    /// few to tell it. A row that is seen while the crop before it is not counts as one without an
    /// earlier crop and carries the tree's level whole. The crop before holds that level: as a
    /// column that nothing explains it would stand in for the level, so that no spread between
    /// trees is found and none is predicted of rows without an earlier crop, and rows left out
    /// would tell of their own trees (initial conditions: Anderson and Hsiao, 1981, J. Am. Stat.
    /// Assoc. 76(375):598-606; Wooldridge, 2005, J. Appl. Econometrics 20(1):39-54).
    pub(crate) fn without_crops_of(
        &self,
        table: &TreeSeasons,
        unseen: &[usize],
    ) -> (Self, Vec<f64>) {
        let mut design = self.clone();
        let mut added = vec![0.0; table.len()];
        let Some(trees) = design.groups.iter_mut().find(|group| !group.loading.is_empty()) else {
            return (design, added);
        };
        let is_crop = |role: Role| matches!(role, Role::EarlierCrop(_));
        for column in self.columns.iter().filter(|column| is_crop(column.role)) {
            for (row, (sum, value)) in added.iter_mut().zip(&column.values).enumerate() {
                *sum += (1.0 - trees.loading(row)) * value;
            }
        }
        design.columns.retain(|column| !is_crop(column.role));
        let mut seen = vec![true; table.len()];
        for &row in unseen {
            seen[row] = false;
        }
        for (row, before) in rows_before(table).into_iter().enumerate() {
            if seen[row] && before.is_some_and(|before| !seen[before]) {
                added[row] = 0.0;
                trees.loading[row] = 1.0;
            }
        }
        (design, added)
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
