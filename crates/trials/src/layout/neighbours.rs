//! Pairs of plots that stand side by side, and whether a layout respects them.

use super::error::LayoutError;
use super::field::Slots;
use super::plan::Plan;
use super::request::LayoutRequest;
use super::treatments::Treatments;
use std::collections::BTreeMap;

/// The restriction on neighbours, ready to be checked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Neighbours {
    pairs: Vec<(usize, usize)>,
    /// Row by row, whether two treatments may not be neighbours.
    forbidden: Vec<bool>,
    treatments: usize,
}

impl Neighbours {
    /// `None` when nothing is asked.
    pub(super) fn of(
        request: &LayoutRequest,
        treatments: &Treatments,
        slots: &Slots,
        plan: &Plan,
    ) -> Result<Option<Self>, LayoutError> {
        let wanted = &request.restrictions;
        if !wanted.no_equal_neighbours && wanted.never_neighbours.is_empty() {
            return Ok(None);
        }
        if !slots.placed {
            return Err(LayoutError::request(
                "restrictions",
                "neighbours are known only where every tree has a row and a column",
                "give the positions, or leave the restrictions out",
            ));
        }
        let v = treatments.list.len();
        let mut forbidden = vec![false; v * v];
        if wanted.no_equal_neighbours {
            for index in 0..v {
                forbidden[index * v + index] = true;
            }
        }
        for (left, right) in &wanted.never_neighbours {
            let find = |label: &String| {
                treatments.find(label).ok_or_else(|| {
                    LayoutError::request(
                        "restrictions.never_neighbours",
                        format!("`{label}` is no treatment"),
                        format!("the treatments are {}", treatments.labels()),
                    )
                })
            };
            let (a, b) = (find(left)?, find(right)?);
            forbidden[a * v + b] = true;
            forbidden[b * v + a] = true;
        }
        Ok(Some(Self { pairs: adjacent(slots, plan, wanted.corners), forbidden, treatments: v }))
    }

    /// Number of neighbouring pairs that are forbidden.
    pub(super) fn broken(&self, assigned: &[usize]) -> usize {
        self.pairs
            .iter()
            .filter(|(a, b)| self.forbidden[assigned[*a] * self.treatments + assigned[*b]])
            .count()
    }

    pub(super) fn pairs(&self) -> usize {
        self.pairs.len()
    }
}

/// Pairs of plots of the plan that stand side by side.
fn adjacent(slots: &Slots, plan: &Plan, corners: bool) -> Vec<(usize, usize)> {
    let at: BTreeMap<(&str, usize, usize), usize> = plan
        .cells
        .iter()
        .enumerate()
        .map(|(index, cell)| {
            let slot = &slots.list[cell.slot];
            ((slot.patch.as_str(), slot.row, slot.column), index)
        })
        .collect();
    let mut pairs = Vec::new();
    for (&(patch, row, column), &index) in &at {
        let mut near = vec![(row, column + 1), (row + 1, column)];
        if corners {
            near.push((row + 1, column + 1));
            near.extend(column.checked_sub(1).map(|left| (row + 1, left)));
        }
        pairs.extend(
            near.into_iter()
                .filter_map(|(row, column)| at.get(&(patch, row, column)))
                .map(|&other| (index, other)),
        );
    }
    pairs
}
