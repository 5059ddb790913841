//! Cutting a set of plots into groups that stand together.

use super::field::Slot;
use std::collections::{BTreeMap, BTreeSet};

/// Groups of plots, each in the order of its rows.
pub(super) type Groups = Vec<Vec<usize>>;

/// Plots by patch, in the order of rows walked to and fro, so that successive plots are neighbours.
fn walked(slots: &[Slot], members: &[usize]) -> Vec<Vec<usize>> {
    let mut patches: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for &member in members {
        patches.entry(&slots[member].patch).or_default().push(member);
    }
    patches
        .into_values()
        .map(|mut patch| {
            let rows: BTreeSet<usize> = patch.iter().map(|&m| slots[m].row).collect();
            let rank: BTreeMap<usize, usize> =
                rows.into_iter().enumerate().map(|(rank, row)| (row, rank)).collect();
            patch.sort_by_key(|&m| {
                let slot = &slots[m];
                let column = i64::try_from(slot.column).unwrap_or(i64::MAX);
                let back = rank.get(&slot.row).is_some_and(|rank| rank % 2 == 1);
                (slot.row, if back { -column } else { column })
            });
            patch
        })
        .collect()
}

/// The first `count` full tiles of `rows` x `columns` plots, within patches.
pub(super) fn tiles(
    slots: &[Slot],
    members: &[usize],
    (rows, columns): (usize, usize),
    count: usize,
) -> Option<Groups> {
    let mut groups = Vec::new();
    for patch in walked(slots, members) {
        let at: BTreeMap<(usize, usize), usize> =
            patch.iter().map(|&m| ((slots[m].row, slots[m].column), m)).collect();
        let first_row = at.keys().map(|at| at.0).min().unwrap_or(0);
        let first_column = at.keys().map(|at| at.1).min().unwrap_or(0);
        let last_row = at.keys().map(|at| at.0).max().unwrap_or(0);
        let last_column = at.keys().map(|at| at.1).max().unwrap_or(0);
        for top in (first_row..=last_row).step_by(rows) {
            for left in (first_column..=last_column).step_by(columns) {
                let tile: Option<Vec<usize>> = (top..top + rows)
                    .flat_map(|row| (left..left + columns).map(move |column| (row, column)))
                    .map(|cell| at.get(&cell).copied())
                    .collect();
                if let Some(tile) = tile {
                    groups.push(tile);
                    if groups.len() == count {
                        return Some(groups);
                    }
                }
            }
        }
    }
    None
}

/// Cuts into groups of the given sizes: the most compact rectangles when all have one size and
/// they fit, else stretches of rows walked to and fro, within a patch as long as that suffices.
/// `plot` is the size of a plot in trees, for what is compact. Further plots are left out.
pub(super) fn cut(
    slots: &[Slot],
    members: &[usize],
    sizes: &[usize],
    plot: (usize, usize),
) -> Option<Groups> {
    let first = sizes.first().copied()?;
    if sizes.iter().all(|&size| size == first) && first > 0 {
        let mut shapes: Vec<(usize, usize)> = (1..=first)
            .filter(|rows| first.is_multiple_of(*rows))
            .map(|rows| (rows, first / rows))
            .collect();
        shapes.sort_by_key(|&(rows, columns)| (rows * plot.0 + columns * plot.1, rows));
        if let Some(groups) =
            shapes.into_iter().find_map(|shape| tiles(slots, members, shape, sizes.len()))
        {
            return Some(groups);
        }
    }
    let patches = walked(slots, members);
    within_patches(&patches, sizes).or_else(|| {
        let all: Vec<usize> = patches.into_iter().flatten().collect();
        within_patches(&[all], sizes)
    })
}

/// Stretches that stay within patches, or `None` when they do not fit.
pub(super) fn within_patches(patches: &[Vec<usize>], sizes: &[usize]) -> Option<Groups> {
    let mut groups = Vec::new();
    let mut wanted = sizes.iter().peekable();
    for patch in patches {
        let mut rest = patch.as_slice();
        while let Some(&&size) = wanted.peek() {
            let Some((group, after)) = rest.split_at_checked(size) else { break };
            groups.push(group.to_vec());
            rest = after;
            wanted.next();
        }
    }
    wanted.peek().is_none().then_some(groups)
}

/// One group per patch, from the patches that hold `size` plots or more.
pub(super) fn one_per_patch(
    slots: &[Slot],
    members: &[usize],
    size: usize,
    count: usize,
    plot: (usize, usize),
) -> Option<Groups> {
    let groups: Groups = walked(slots, members)
        .iter()
        .filter_map(|patch| cut(slots, patch, &[size], plot)?.pop())
        .take(count)
        .collect();
    (groups.len() == count).then_some(groups)
}
