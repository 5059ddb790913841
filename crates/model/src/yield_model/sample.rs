//! The rows of what takes many fits: all, or in a large book a sample of its trees.
//!
//! Families are told apart by fits without a part of the rows, many times over; how timing modulates
//! the effect and how far errors of one season reach into the next are found by repeated fits too.
//! Beyond some ten thousand tree-seasons of a region none of this changes any more, while the time
//! grows on. The curves themselves rest on every row.

use crate::table::TreeSeasons;

/// Tree-seasons above which a sample is drawn.
pub(super) const MOST_ROWS: usize = 120_000;

/// Rows of all trees, or of a sample of about `most` rows: every tree of a trial, and of the others
/// the same number of rows from each region, trees with all their seasons. Which trees are drawn
/// depends on the ids alone, not on the order of rows.
pub(crate) fn rows(table: &TreeSeasons, most: usize) -> Vec<usize> {
    if table.len() <= most {
        return (0..table.len()).collect();
    }
    let regions = table.region.len().max(1);
    let mut own = vec![0_usize; regions];
    for &code in &table.region.codes {
        own[code as usize] += 1;
    }
    // A region with few rows keeps all; what it leaves of its share goes to no other.
    let thresholds: Vec<f64> =
        own.iter().map(|&n| (most / regions) as f64 / n.max(1) as f64).collect();
    let mut met = vec![false; regions];
    (0..table.len())
        .filter(|&row| {
            let region = table.region.codes[row] as usize;
            let first = !std::mem::replace(&mut met[region], true);
            // Multiples of the golden ratio fall evenly over the unit interval (Knuth, 1998, The
            // Art of Computer Programming 3, section 6.4), whatever run of codes a region has.
            let scattered = table.tree.codes[row].wrapping_mul(2_654_435_761);
            let drawn = f64::from(scattered) / 4_294_967_296.0 < thresholds[region];
            first || drawn || table.in_trial[row]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::Labelled;

    /// Two regions of 4000 and 40 tree-seasons, four seasons of each tree.
    fn table() -> TreeSeasons {
        let trees: Vec<String> = (0..1010).map(|tree| format!("T{tree:04}")).collect();
        let row = |at: usize| at / 4;
        let rows = 0..4 * trees.len();
        let region = |at: usize| if row(at) < 1000 { "large" } else { "small" };
        TreeSeasons {
            tree: Labelled::from_values(rows.clone().map(|at| trees[row(at)].as_str())),
            region: Labelled::from_values(rows.clone().map(region)),
            season: rows.clone().map(|at| 2020 + (at % 4) as i32).collect(),
            in_trial: rows.map(|at| row(at) == 500).collect(),
            treated_otherwise: vec![false; 4 * trees.len()],
            ..TreeSeasons::default()
        }
    }

    #[test]
    fn small_books_are_used_whole() {
        let table = table();
        assert_eq!(rows(&table, table.len()).len(), table.len());
    }

    #[test]
    fn a_sample_keeps_whole_trees_small_regions_and_trials() {
        let table = table();
        let drawn = rows(&table, 800);
        let large = drawn.iter().filter(|&&row| row < 4000).count();
        // 400 of 4000 rows and the trial's tree; the points are even, so nearly exact.
        assert!((396..=412).contains(&large), "{large}");
        assert_eq!(drawn.iter().filter(|&&row| row >= 4000).count(), 40);
        assert!((2000..2004).all(|row| drawn.contains(&row)), "the tree of the trial");
        for row in drawn.iter().filter(|&&row| row > 3) {
            let first = row / 4 * 4;
            assert!((first..first + 4).all(|row| drawn.contains(&row)), "whole trees");
        }
    }
}
