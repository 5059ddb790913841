//! The plots that a field offers, with their trees, and the trees left as guards.

use super::error::LayoutError;
use super::request::{Covariate, ExistingTree, LayoutRequest};
use super::result::LayoutTree;
use std::collections::{BTreeMap, BTreeSet};

/// A plot that may be used.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Slot {
    /// Plantation block, empty on a new grid.
    pub patch: String,
    /// Position among the plots of the patch, from 0.
    pub row: usize,
    pub column: usize,
    /// Trees to observe.
    pub trees: Vec<LayoutTree>,
    /// Trees of the outer lines: treated, not observed.
    pub border: Vec<LayoutTree>,
    /// Mean of the observed trees by covariate; `None` when one of them has no record.
    pub before: BTreeMap<Covariate, Option<f64>>,
}

/// The slots and what is left over.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Slots {
    pub list: Vec<Slot>,
    /// Guard trees.
    pub guards: Vec<LayoutTree>,
    /// Trees that belong to no plot and guard none.
    pub left: Vec<LayoutTree>,
    /// Whether plots have positions, so that neighbours are known.
    pub placed: bool,
}

impl Slots {
    pub(super) fn of(request: &LayoutRequest) -> Result<Self, LayoutError> {
        let plot = request.trees_per_plot;
        let guards = request.guards;
        let lines = [
            plot.rows,
            plot.columns,
            guards.around_trial,
            guards.between_plots,
            guards.inside_plots,
            request.field.rows.unwrap_or(0),
            request.field.columns.unwrap_or(0),
        ];
        if let Some(many) = lines.into_iter().find(|&lines| lines > MOST_LINES) {
            return Err(LayoutError::fit(
                format!("{many} rows or columns are more than {MOST_LINES}"),
                "check the numbers of the field, the plots and the guard lines",
            ));
        }
        if plot.rows == 0 || plot.columns == 0 {
            return Err(LayoutError::request(
                "trees_per_plot",
                "a plot without trees cannot be observed",
                "one row of one tree is the least",
            ));
        }
        let inside = 2 * request.guards.inside_plots;
        if inside >= plot.rows || inside >= plot.columns {
            return Err(LayoutError::fit(
                format!(
                    "{} x {} trees per plot less {} guard line(s) on every side leave no tree to observe",
                    plot.rows, plot.columns, request.guards.inside_plots
                ),
                "make plots larger or guard them between plots",
            ));
        }
        let field = &request.field;
        match (field.rows, field.columns, field.trees.is_empty()) {
            (Some(rows), Some(columns), true) if field.blocks.is_empty() => {
                grid(request, rows, columns)
            }
            (None, None, false) => match field.of_new_field() {
                None => standing(request),
                Some(part) => Err(LayoutError::request(
                    part,
                    "trees that stand already have a place in the book",
                    "leave it out; it tells where `rows` and `columns` of a new field will be",
                )),
            },
            (None, None, true) if !field.blocks.is_empty() => Err(LayoutError::request(
                "field.blocks",
                format!("no tree of plantation block(s) {} was found", field.blocks.join(", ")),
                "name blocks of the book that --book gives, or list `trees`",
            )),
            _ => Err(LayoutError::request(
                "field",
                "neither a grid nor trees, or both",
                "give `rows` and `columns` of plots, or existing trees (`blocks` or `trees`)",
            )),
        }
    }
}

fn grid(request: &LayoutRequest, rows: usize, columns: usize) -> Result<Slots, LayoutError> {
    let (plot, guards) = (request.trees_per_plot, request.guards);
    if rows == 0 || columns == 0 {
        return Err(LayoutError::fit(
            format!("{rows} rows x {columns} columns of plots are no plots"),
            "give one row and one column at least",
        ));
    }
    let span = |plots: usize, trees: usize| {
        2 * guards.around_trial + plots * trees + (plots - 1) * guards.between_plots
    };
    let (tree_rows, tree_columns) = (span(rows, plot.rows), span(columns, plot.columns));
    if tree_rows.saturating_mul(tree_columns) > MOST_TREES {
        return Err(LayoutError::fit(
            format!("{tree_rows} x {tree_columns} trees are more than {MOST_TREES}"),
            "split the trial",
        ));
    }
    if let Some((entry, &(row, column))) = (0..)
        .zip(&request.field.unusable)
        .find(|(_, (row, column))| !(1..=rows).contains(row) || !(1..=columns).contains(column))
    {
        return Err(LayoutError::entry(
            "field.unusable",
            entry,
            format!("plot ({row}, {column}) is outside {rows} x {columns}"),
            "rows and columns count from 1",
        ));
    }
    let width = tree_rows.max(tree_columns).to_string().len().max(2);
    let own = request.own_id();
    let mut trees = BTreeMap::new();
    for row in 1..=tree_rows {
        for column in 1..=tree_columns {
            let at = (as_position(row), as_position(column));
            let tree = format!("{own}-R{row:0width$}C{column:0width$}");
            trees.insert(
                at,
                ExistingTree {
                    tree,
                    row: Some(at.0),
                    column: Some(at.1),
                    ..ExistingTree::default()
                },
            );
        }
    }
    let unusable: BTreeSet<_> = request.field.unusable.iter().copied().collect();
    let mut slots = tile(request, "", &trees);
    slots.list.retain(|slot| !unusable.contains(&(slot.row + 1, slot.column + 1)));
    // Trees of unusable plots are not part of the trial, so what separates its plots is the rest.
    Ok(slots)
}

/// More rows of trees or plots than any trial has.
const MOST_LINES: usize = 10_000;
/// More trees than any trial has; keeps a slip of the pen from filling the memory.
const MOST_TREES: usize = 1_000_000;

fn as_position(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

fn standing(request: &LayoutRequest) -> Result<Slots, LayoutError> {
    let field = &request.field;
    let mut ids = BTreeSet::new();
    let mut patches: BTreeMap<&str, Vec<&ExistingTree>> = BTreeMap::new();
    for tree in &field.trees {
        if tree.tree.trim().is_empty() || !ids.insert(&tree.tree) {
            return Err(LayoutError::request(
                "field.trees",
                format!("tree `{}` is listed twice or has no id", tree.tree),
                "list each tree once, by its id",
            ));
        }
        if field.blocks.is_empty() || field.blocks.contains(&tree.block) {
            patches.entry(&tree.block).or_default().push(tree);
        }
    }
    let mut all = Slots { list: Vec::new(), guards: Vec::new(), left: Vec::new(), placed: true };
    for (patch, trees) in patches {
        let part = match positions(&trees)? {
            Some(at) => tile(request, patch, &at),
            None => listed(request, patch, &trees)?,
        };
        all.list.extend(part.list);
        all.guards.extend(part.guards);
        all.left.extend(part.left);
        all.placed &= part.placed;
    }
    Ok(all)
}

/// Trees by row and column.
type Positions = BTreeMap<(i64, i64), ExistingTree>;

/// Trees by position, or `None` when one of them has none.
fn positions(trees: &[&ExistingTree]) -> Result<Option<Positions>, LayoutError> {
    let mut at = BTreeMap::new();
    for tree in trees {
        let (Some(row), Some(column)) = (tree.row, tree.column) else { return Ok(None) };
        if row.unsigned_abs().max(column.unsigned_abs()) > MOST_LINES as u64 {
            return Err(LayoutError::request(
                "field.trees",
                format!("tree {} stands at row {row}, column {column}", tree.tree),
                format!("rows and columns count trees, up to {MOST_LINES}"),
            ));
        }
        if let Some(other) = at.insert((row, column), (*tree).clone()) {
            return Err(LayoutError::request(
                "field.trees",
                format!(
                    "trees {} and {} both stand at row {row}, column {column}",
                    other.tree, tree.tree
                ),
                "correct one of the positions",
            ));
        }
    }
    Ok(Some(at))
}

/// Lays plots over trees in rows and columns; a plot needs all its trees.
fn tile(request: &LayoutRequest, patch: &str, trees: &BTreeMap<(i64, i64), ExistingTree>) -> Slots {
    let (plot, guards) = (request.trees_per_plot, request.guards);
    let bounds = |pick: fn(&(i64, i64)) -> i64| {
        let low = trees.keys().map(pick).min().unwrap_or(0);
        let high = trees.keys().map(pick).max().unwrap_or(0);
        (low, high)
    };
    let around = as_position(guards.around_trial);
    let ((first_row, last_row), (first_column, last_column)) =
        (bounds(|at| at.0), bounds(|at| at.1));
    let steps = |first: i64, last: i64, trees: usize| {
        let step = trees + guards.between_plots;
        let end = last - around;
        (first + around..=end).step_by(step).filter(move |at| at + as_position(trees) - 1 <= end)
    };
    let mut list = Vec::new();
    let mut used = BTreeSet::new();
    let mut near = BTreeSet::new();
    let reach = as_position(guards.around_trial.max(guards.between_plots));
    for (row, top) in steps(first_row, last_row, plot.rows).enumerate() {
        for (column, left) in steps(first_column, last_column, plot.columns).enumerate() {
            let bottom = top + as_position(plot.rows);
            let right = left + as_position(plot.columns);
            let cells: Vec<_> =
                (top..bottom).flat_map(|r| (left..right).map(move |c| (r, c))).collect();
            let Some(members) = cells.iter().map(|at| trees.get(at)).collect::<Option<Vec<_>>>()
            else {
                continue;
            };
            let inside = as_position(guards.inside_plots);
            let (observed, border): (Vec<_>, Vec<_>) = members.into_iter().partition(|tree| {
                let (r, c) = (tree.row.unwrap_or(0), tree.column.unwrap_or(0));
                (top + inside..bottom - inside).contains(&r)
                    && (left + inside..right - inside).contains(&c)
            });
            used.extend(cells);
            near.extend(
                (top - reach..bottom + reach)
                    .flat_map(|r| (left - reach..right + reach).map(move |c| (r, c))),
            );
            list.push(slot(patch, (row, column), &observed, &border));
        }
    }
    let mut rest = Slots { list, guards: Vec::new(), left: Vec::new(), placed: true };
    for (at, tree) in trees.iter().filter(|(at, _)| !used.contains(*at)) {
        if reach > 0 && near.contains(at) {
            rest.guards.push(LayoutTree::of(tree));
        } else {
            rest.left.push(LayoutTree::of(tree));
        }
    }
    rest
}

/// Plots of trees without positions: taken in the order listed.
fn listed(
    request: &LayoutRequest,
    patch: &str,
    trees: &[&ExistingTree],
) -> Result<Slots, LayoutError> {
    let guards = request.guards;
    if guards.around_trial + guards.between_plots + guards.inside_plots > 0 {
        return Err(LayoutError::request(
            "guards",
            "guard trees need the row and column of every tree",
            "give the positions, or leave guards out",
        ));
    }
    let size = request.trees_per_plot.rows * request.trees_per_plot.columns;
    let chunks = trees.chunks_exact(size);
    let left = chunks.remainder().iter().map(|tree| LayoutTree::of(tree)).collect();
    let list =
        chunks.enumerate().map(|(index, members)| slot(patch, (0, index), members, &[])).collect();
    Ok(Slots { list, guards: Vec::new(), left, placed: false })
}

fn slot(
    patch: &str,
    (row, column): (usize, usize),
    observed: &[&ExistingTree],
    border: &[&ExistingTree],
) -> Slot {
    let before = [Covariate::EarlierCrop, Covariate::GirthCm]
        .into_iter()
        .map(|covariate| {
            let total: Option<f64> = observed.iter().map(|tree| covariate.of(tree)).sum();
            (covariate, total.map(|sum| sum / observed.len().max(1) as f64))
        })
        .collect();
    Slot {
        patch: patch.to_owned(),
        row,
        column,
        trees: observed.iter().map(|tree| LayoutTree::of(tree)).collect(),
        border: border.iter().map(|tree| LayoutTree::of(tree)).collect(),
        before,
    }
}
