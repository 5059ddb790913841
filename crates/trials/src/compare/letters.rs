//! Letters: means that share one are not called different.

use super::{Comparison, ComparisonTable, EstimatedMeans};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use words::{Text, constant};

/// Stands beside every display of letters.
pub const LETTERS_WARNING: Text = constant!(
    "Letters hide the size and the precision of the differences, \
    and a shared letter is no proof of equality: it says only that this trial did not tell the \
    two apart. Read the differences with their intervals."
);

/// Letters per mean, the largest mean with `a`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Letters {
    /// Name and letters of each mean, in the order of the means given.
    pub rows: Vec<(String, String)>,
    /// [`LETTERS_WARNING`], carried so that no table goes without it.
    pub warning: String,
}

impl Letters {
    /// Letters from all pairwise comparisons of `means`: two means share a letter exactly when
    /// their adjusted p-value is above the table's level. Insert and absorb (Piepho 2004, J.
    /// Comput. Graph. Stat. 13:456-466). Differences without a test count as not told apart.
    #[must_use]
    pub fn new(means: &EstimatedMeans, table: &ComparisonTable) -> Self {
        let mut order: Vec<usize> = (0..means.count()).collect();
        let value = |i: &usize| means.values.get(*i).copied().unwrap_or(f64::NAN);
        order.sort_by(|a, b| value(b).total_cmp(&value(a)));
        let rank =
            |name: &str| order.iter().position(|i| means.names.get(*i).is_some_and(|n| n == name));
        let different: Vec<(usize, usize)> = table
            .rows
            .iter()
            .filter(|row| significant(row, table.level))
            .filter_map(|row| Some((rank(&row.first)?, rank(&row.second)?)))
            .map(|(a, b)| (a.min(b), a.max(b)))
            .collect();
        let columns = insert_absorb(means.count(), &different);
        let rows = means
            .names
            .iter()
            .map(|name| {
                let at = rank(name);
                let letters = columns
                    .iter()
                    .enumerate()
                    .filter(|(_, column)| at.is_some_and(|at| column.contains(&at)))
                    .map(|(index, _)| letter(index))
                    .collect();
                (name.clone(), letters)
            })
            .collect();
        Letters { rows, warning: LETTERS_WARNING.get().to_owned() }
    }
}

fn significant(row: &Comparison, level: f64) -> bool {
    row.p_value.is_some_and(|p| p <= level)
}

/// Sets of ranks that share a letter, ordered by their members.
fn insert_absorb(count: usize, different: &[(usize, usize)]) -> BTreeSet<BTreeSet<usize>> {
    let mut columns: Vec<BTreeSet<usize>> = vec![(0..count).collect()];
    let mut sorted = different.to_vec();
    sorted.sort_unstable();
    for (a, b) in sorted {
        let mut next: Vec<BTreeSet<usize>> = Vec::new();
        for column in columns {
            if column.contains(&a) && column.contains(&b) {
                for left_out in [b, a] {
                    let mut copy = column.clone();
                    copy.remove(&left_out);
                    next.push(copy);
                }
            } else {
                next.push(column);
            }
        }
        columns = absorb(next);
    }
    columns.into_iter().collect()
}

/// Leaves out every set that lies in another one.
fn absorb(columns: Vec<BTreeSet<usize>>) -> Vec<BTreeSet<usize>> {
    let mut kept: Vec<BTreeSet<usize>> = Vec::new();
    for column in columns {
        if kept.iter().any(|k| column.is_subset(k)) {
            continue;
        }
        kept.retain(|k| !k.is_subset(&column));
        kept.push(column);
    }
    kept
}

/// a to z, A to Z, then a2, b2 and so on.
fn letter(index: usize) -> String {
    let alphabet: Vec<char> = ('a'..='z').chain('A'..='Z').collect();
    let round = index / alphabet.len();
    let symbol = alphabet.get(index % alphabet.len()).copied().unwrap_or('?');
    if round == 0 { symbol.to_string() } else { format!("{symbol}{}", round + 1) }
}

#[cfg(test)]
mod tests {
    use super::insert_absorb;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    #[test]
    fn ends_apart_in_a_chain_take_two_letters() {
        let columns: Vec<_> = insert_absorb(3, &[(0, 2)]).into_iter().collect();
        assert_eq!(columns, [BTreeSet::from([0, 1]), BTreeSet::from([1, 2])]);
    }

    proptest! {
        #[test]
        fn a_letter_is_shared_exactly_by_those_not_told_apart(
            different in proptest::collection::btree_set((0_usize..7, 0_usize..7), 0..15)
        ) {
            let different: BTreeSet<(usize, usize)> =
                different.into_iter().filter(|(a, b)| a < b).collect();
            let list: Vec<_> = different.iter().copied().collect();
            let columns = insert_absorb(7, &list);
            for a in 0..7 {
                prop_assert!(columns.iter().any(|c| c.contains(&a)));
                for b in a + 1..7 {
                    let shared = columns.iter().any(|c| c.contains(&a) && c.contains(&b));
                    prop_assert_eq!(shared, !different.contains(&(a, b)));
                }
            }
        }
    }
}
