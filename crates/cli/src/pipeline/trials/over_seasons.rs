//! Each tree of a site over its seasons, adjusted for the seasons that it lacks.

use super::pooling::kept;
use ::words::{say, text};
use records::{TrialDeclaration, counted};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use trials::Observations;

/// Part of a season's own information below which it hangs on the others by rounding alone.
const NOTHING_LEFT: f64 = 1e-9;

/// Trees that lack a season in which others of their site have a value.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Lacking {
    /// Trees whose mean is adjusted for the seasons that they lack.
    pub adjusted: usize,
    /// Trees that count as they are, because no tree ties their seasons together.
    pub untied: usize,
    /// Trees whose counts are added up over the seasons that they have.
    pub counted: usize,
}

impl Lacking {
    /// The trees of several sites together.
    pub(super) fn and(self, other: Self) -> Self {
        Self {
            adjusted: self.adjusted + other.adjusted,
            untied: self.untied + other.untied,
            counted: self.counted + other.counted,
        }
    }

    /// What the page says of them.
    pub(super) fn words(self) -> Vec<String> {
        let trees = |n: usize| counted(n as u64, text!("tree"), text!("trees"));
        let mut out = Vec::new();
        if self.adjusted > 0 {
            out.push(say!(
                "Values over seasons are adjusted for the seasons that a tree lacks, here of {}: by least squares of tree and season among the trees of the same treatment at the site (Searle, Speed and Milliken 1980, Am. Stat. 34:216-221), so that a tree lost before a good season does not count at the level of a poor one. Trees with every season keep their mean.",
                trees(self.adjusted)
            ));
        }
        if self.untied > 0 {
            out.push(say!(
                "No tree ties the seasons of a site together; {} that lack a season there count at the mean of those that they have: part of a difference between treatments may be one between seasons.",
                trees(self.untied)
            ));
        }
        if self.counted > 0 {
            out.push(say!(
                "Counts are added up over seasons without adjustment for the seasons that {} lack: part of a difference between treatments may be one between seasons.",
                trees(self.counted)
            ));
        }
        out
    }
}

/// A tree: the row it is first in, and its value in each season of the site that it has one in.
struct Tree {
    first: usize,
    values: Vec<Option<f64>>,
}

impl Tree {
    fn known(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        self.values.iter().enumerate().filter_map(|(season, value)| Some((season, (*value)?)))
    }

    fn mean(&self, of: impl Fn(usize, f64) -> f64) -> f64 {
        let (sum, n) = self
            .known()
            .fold((0.0, 0.0), |(sum, n), (season, value)| (sum + of(season, value), n + 1.0));
        // None known is not a number.
        sum / n
    }

    fn lacks_some(&self) -> bool {
        (1..self.values.len()).contains(&self.known().count())
    }
}

/// One row per tree of a site: its mean over all seasons of the site; counts and totals are added up. The seasons
/// that a tree lacks are those of the other trees of its treatment, because treatments may bear unlike in good
/// and poor seasons; where these do not tie the seasons together, those of all trees of the site.
pub(super) fn over_seasons(
    declaration: &TrialDeclaration,
    of: &Observations,
) -> (Observations, Lacking) {
    let mut rows: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (row, tree) in of.tree.iter().enumerate() {
        rows.entry(tree).or_default().push(row);
    }
    let mut own: Vec<Vec<usize>> = rows.into_values().collect();
    own.sort_unstable_by_key(|own| own.first().copied());
    let firsts: BTreeSet<usize> = own.iter().filter_map(|own| own.first().copied()).collect();
    let keep: Vec<bool> = (0..of.len()).map(|row| firsts.contains(&row)).collect();
    let mut out = kept(of, &keep);
    let trees = trees(of, &own);
    let lacking = trees.iter().filter(|tree| tree.lacks_some()).count();
    let lacked = if let Some(exposure) = &of.exposure {
        let sums = |of: &[f64]| -> Vec<f64> { own.iter().map(|own| sum(of, own)).collect() };
        (out.values, out.exposure) = (sums(&of.values), Some(sums(exposure)));
        Lacking { counted: lacking, ..Lacking::default() }
    } else {
        let (values, lacked) = adjusted(declaration, of, &trees);
        out.values = values;
        lacked
    };
    out.season = vec![None; out.values.len()];
    (out, lacked)
}

/// Sum of the known values; not a number where none is.
fn sum(column: &[f64], own: &[usize]) -> f64 {
    let values = own.iter().filter_map(|&row| column.get(row)).copied();
    values.filter(|value| value.is_finite()).reduce(|sum, value| sum + value).unwrap_or(f64::NAN)
}

/// The trees by their seasons; of several values in a season, their mean.
fn trees(of: &Observations, own: &[Vec<usize>]) -> Vec<Tree> {
    let known = |row: usize| of.values.get(row).copied().filter(|value| value.is_finite());
    let season = |row: usize| of.season.get(row).copied().flatten();
    let seasons: BTreeSet<Option<i32>> =
        (0..of.len()).filter(|&row| known(row).is_some()).map(season).collect();
    own.iter()
        .map(|own| {
            let in_season = |wanted: &Option<i32>| {
                let values = own.iter().filter(|&&row| season(row) == *wanted);
                let (sum, n) = values
                    .filter_map(|&row| known(row))
                    .fold((0.0, 0.0), |(sum, n), value| (sum + value, n + 1.0));
                (n > 0.0).then(|| sum / n)
            };
            Tree {
                first: own.first().copied().unwrap_or_default(),
                values: seasons.iter().map(in_season).collect(),
            }
        })
        .collect()
}

/// Each tree's mean over all seasons.
fn adjusted(
    declaration: &TrialDeclaration,
    of: &Observations,
    trees: &[Tree],
) -> (Vec<f64>, Lacking) {
    let treatment = |tree: &Tree| -> Vec<Option<&str>> {
        let columns = declaration.keyed_factors().map(|(_, factor)| of.columns.get(factor));
        columns.map(|column| column?.get(tree.first)?.as_deref()).collect()
    };
    let mut treated: BTreeMap<Vec<Option<&str>>, Vec<&Tree>> = BTreeMap::new();
    for tree in trees {
        treated.entry(treatment(tree)).or_default().push(tree);
    }
    let of_site = effects(&trees.iter().collect::<Vec<_>>());
    let of_treatments: BTreeMap<_, Option<Vec<f64>>> =
        treated.into_iter().map(|(treatment, own)| (treatment, effects(&own))).collect();
    let mut lacked = Lacking::default();
    let values = trees.iter().map(|tree| {
        if !tree.lacks_some() {
            return tree.mean(|_, value| value);
        }
        let own = of_treatments.get(&treatment(tree)).and_then(Option::as_ref);
        let Some(effects) = own.or(of_site.as_ref()) else {
            lacked.untied += 1;
            return tree.mean(|_, value| value);
        };
        lacked.adjusted += 1;
        tree.mean(|season, value| value - effects.get(season).copied().unwrap_or(0.0))
    });
    (values.collect(), lacked)
}

/// Effects of the seasons beside those of the trees, by least squares, as deviations from their mean; `None` where
/// the trees do not tie all seasons together.
fn effects(trees: &[&Tree]) -> Option<Vec<f64>> {
    let n = trees.first()?.values.len();
    // Normal equations with the trees taken out; the effect of the first season is nothing.
    let mut rows = vec![vec![0.0; n + 1]; n];
    for tree in trees {
        let (mean, count) = (tree.mean(|_, value| value), tree.known().count() as f64);
        for (season, value) in tree.known() {
            let row = rows.get_mut(season)?;
            *row.get_mut(season)? += 1.0;
            tree.known().for_each(|(other, _)| row[other] -= 1.0 / count);
            *row.get_mut(n)? += value - mean;
        }
    }
    let mut effects = vec![0.0; n];
    // The sums of squares and products are those of a positive matrix: no order of pivots is needed.
    for pivot in 1..n {
        let (before, after) = rows.split_at_mut(pivot + 1);
        let own = before.last()?;
        let seen = trees.iter().filter(|tree| tree.values[pivot].is_some()).count() as f64;
        if own[pivot] <= NOTHING_LEFT * seen.max(1.0) {
            return None;
        }
        for row in after {
            let share = row[pivot] / own[pivot];
            row.iter_mut().zip(own).skip(1).for_each(|(cell, of)| *cell -= share * of);
        }
    }
    for pivot in (1..n).rev() {
        let row = rows.get(pivot)?;
        let beyond: f64 = (pivot + 1..n).map(|season| row[season] * effects[season]).sum();
        effects[pivot] = (row[n] - beyond) / row[pivot];
    }
    let mean = effects.iter().sum::<f64>() / n as f64;
    Some(effects.iter().map(|effect| effect - mean).collect())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::expect_used)]

    use super::super::in_blocks::in_blocks;
    use super::super::pooling::{kept, over_sites};
    use super::{Lacking, over_seasons};
    use records::Book;
    use trials::Observations;

    const LEVELS: usize = 3;
    const BLOCKS: usize = 8;

    fn book() -> Book {
        let text = "[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\n";
        Book::parse(text).expect("a book")
    }

    /// Rows of one treatment from tree, season and value.
    fn rows(of: &[(&str, i32, f64)]) -> Observations {
        let mut out = in_blocks(1, of.len(), |_, row| of[row].2);
        out.tree = of.iter().map(|(tree, ..)| (*tree).to_owned()).collect();
        out.season = of.iter().map(|(_, season, _)| Some(*season)).collect();
        out
    }

    /// Trees and seasons by R 4.3's `lm(kg ~ tree + season)`, each tree's prediction averaged over the seasons.
    #[test]
    fn trees_have_the_marginal_means_of_least_squares() {
        let of = [
            ("A", 1, 5.1),
            ("A", 2, 7.3),
            ("A", 3, 6.0),
            ("B", 1, 4.2),
            ("B", 2, 6.9),
            ("C", 2, 8.1),
            ("C", 3, 7.7),
            ("D", 1, 3.9),
            ("D", 3, 5.5),
            ("E", 1, 4.4),
            ("F", 3, 6.6),
        ];
        let (out, lacked) = over_seasons(&book().trials["T"], &rows(&of));
        let by_r = [
            6.133_333_333_33,
            5.643_333_333_33,
            7.263_333_333_33,
            5.243_333_333_33,
            5.673_333_333_33,
            6.413_333_333_33,
        ];
        for (value, by_r) in out.values.iter().zip(by_r) {
            assert!((value - by_r).abs() < 1e-10, "{:?}", out.values);
        }
        assert_eq!(lacked, Lacking { adjusted: 5, ..Lacking::default() });
        // Without a tree in two seasons nothing says what the seasons differed by.
        let (out, lacked) =
            over_seasons(&book().trials["T"], &rows(&[("A", 1, 4.0), ("B", 2, 7.0)]));
        assert_eq!((out.values, lacked.untied), (vec![4.0, 7.0], 2));
    }

    /// A site whose second season bears more, and the more so the harder the cut: the true means over
    /// both seasons are 7, 8 and 9.
    fn site(lost: &[(usize, usize)]) -> (Observations, Observations) {
        let season = |number: i32| {
            let good = f64::from(number - 2025);
            let mut out = in_blocks(LEVELS, BLOCKS, |level, block| {
                // Any numbers without a pattern, of a standard deviation of about 0.3.
                let noise = (37 * level + 11 * block + 5 * number as usize) % 13;
                let cut = level as f64;
                5.0 + 0.5 * cut + good * (4.0 + cut) + 0.08 * (noise as f64 - 6.0)
            });
            out.season = vec![Some(number); LEVELS * BLOCKS];
            out
        };
        let (mut both, second) = (season(2025), season(2026));
        both.values.extend(second.values);
        both.tree.extend(second.tree);
        both.season.extend(second.season);
        both.place.extend(second.place);
        for (name, column) in second.columns {
            both.columns.entry(name).or_default().extend(column);
        }
        let is_lost = |row: usize| {
            row >= LEVELS * BLOCKS && lost.contains(&((row / BLOCKS) % LEVELS, row % BLOCKS))
        };
        let keep: Vec<bool> = (0..both.len()).map(|row| !is_lost(row)).collect();
        (kept(&both, &keep), both)
    }

    #[test]
    fn a_tree_lost_before_a_good_season_does_not_count_as_a_poor_one() {
        let (book, alive) = (book(), site(&[]).1);
        let declared = &book.trials["T"];
        let (means, lacked) = over_seasons(declared, &alive);
        assert_eq!(lacked, Lacking::default());
        for (tree, value) in means.tree.iter().zip(&means.values) {
            let own = (0..alive.len()).filter(|&row| alive.tree[row] == *tree);
            let own: Vec<f64> = own.map(|row| alive.values[row]).collect();
            assert!((value - (own[0] + own[1]) / 2.0).abs() < 1e-14, "{tree}");
        }
        // The best treatment loses three of eight trees at each of two sites.
        let lost = site(&[(2, 1), (2, 4), (2, 6)]).0;
        let together = |rows: &Observations| {
            let sites = ["north", "south"].map(|name| (name.to_owned(), rows.clone()));
            over_sites(declared, rows, &sites, None)
        };
        let (whole, found) = (together(&alive), together(&lost));
        assert_eq!(found.lacking, Lacking { adjusted: 6, ..Lacking::default() });
        assert!(found.lacking.words()[0].contains("here of 6 trees"));
        assert!(whole.lacking.words().is_empty());
        let means = |of: &super::super::PooledTrait| -> Vec<f64> {
            let found = of.combined.as_ref().expect("combined");
            found.means.iter().map(|mean| mean.mean).collect()
        };
        let (whole, found) = (means(&whole), means(&found));
        // Half of three trees' noise of both seasons in eight trees: a standard error of 0.3 / 2 *
        // sqrt(2 (1/5 + 1/3)) * 3/8, three times; by plain means the last stood 1.1 lower.
        for (whole, found) in whole.iter().zip(&found) {
            assert!((whole - found).abs() < 0.18, "{whole} {found}");
        }
        assert!((whole[0] - found[0]).abs() < 1e-9 && (whole[1] - found[1]).abs() < 1e-9);
    }
}
