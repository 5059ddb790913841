//! Trees of a book as the field of a new trial.

use crate::console::Failure;
use crate::pipeline::{Checked, from_ingest};
use ingest_seasons::standing_trees;
use model::TreeSeasons;
use records::{counted, noun};
use std::collections::{BTreeMap, BTreeSet};
use trials::layout::{ExistingTree, LayoutRequest};

/// Fills the trees of the request's blocks in, with place, girth and the crop of the last season
/// that was harvested in these blocks.
///
/// # Errors
/// When a block is unknown, or a tree is in a trial already.
pub fn from_book(request: &mut LayoutRequest, checked: &Checked) -> Result<(), Failure> {
    let all = standing_trees(&checked.tables).map_err(from_ingest)?;
    let known: BTreeSet<&str> = all.iter().map(|tree| tree.block.as_str()).collect();
    if let Some(unknown) = request.field.blocks.iter().find(|block| !known.contains(block.as_str()))
    {
        let names: Vec<&str> = known.iter().take(12).copied().collect();
        return Err(Failure::new(
            format!("field: block '{unknown}' has no trees in the book"),
            format!("the book has {} and so on; ids must match letter by letter", names.join(", ")),
        ));
    }
    let listed: BTreeSet<&str> =
        request.field.trees.iter().map(|tree| tree.tree.as_str()).collect();
    if request.field.blocks.is_empty() && listed.is_empty() {
        return Err(Failure::new(
            "field: no block of the book is named",
            "write [field] with blocks = [\"BLOCK\", ..], or leave --book out for a new field",
        ));
    }
    if let Some(unknown) = listed.iter().find(|id| !all.iter().any(|tree| tree.tree == **id)) {
        return Err(Failure::new(
            format!("field: tree '{unknown}' is not in the tree table"),
            "correct the id, or add the tree to the book",
        ));
    }
    let wanted = |tree: &&ingest_seasons::StandingTree| {
        if listed.is_empty() {
            request.field.blocks.contains(&tree.block)
        } else {
            listed.contains(tree.tree.as_str())
        }
    };
    let chosen: BTreeMap<&str, &ingest_seasons::StandingTree> =
        all.iter().filter(wanted).map(|tree| (tree.tree.as_str(), tree)).collect();
    let taken: Vec<_> = checked
        .linked
        .trial_trees
        .iter()
        .filter(|tree| chosen.contains_key(tree.tree.as_str()))
        .collect();
    // A tree of two trials is one tree.
    let trees: BTreeSet<&str> = taken.iter().map(|tree| tree.tree.as_str()).collect();
    if let Some(first) = taken.first() {
        return Err(Failure::new(
            format!(
                "field: {} {} in a trial already, first {} in trial {}",
                counted(trees.len() as u64, "tree", "trees"),
                noun(trees.len() as u64, "is", "are"),
                first.tree,
                first.trial
            ),
            "name other blocks or trees; to lay out a trial on the trees of one that is over, give a \
             copy of the book whose trial table lacks those rows, and put both together afterwards, \
             each trial with its own seasons",
        ));
    }
    let crops = earlier_crops(checked, &chosen.keys().copied().collect())?;
    let trees = chosen.values().map(|tree| ExistingTree {
        tree: tree.tree.clone(),
        block: tree.block.clone(),
        row: tree.row,
        column: tree.column,
        earlier_crop: crops.get(tree.tree.as_str()).copied(),
        girth_cm: tree.girth_cm,
    });
    request.field.trees = trees.collect();
    Ok(())
}

/// Crop of each tree in the last season in which any of them was harvested.
fn earlier_crops(
    checked: &Checked,
    trees: &BTreeSet<&str>,
) -> Result<BTreeMap<String, f64>, Failure> {
    let table = TreeSeasons::from_batch(&checked.linked.tree_seasons).map_err(|error| {
        Failure::new(error, "this is a defect of the program; please report it")
    })?;
    let rows: Vec<usize> =
        (0..table.season.len()).filter(|&row| trees.contains(table.tree.label(row))).collect();
    let last = rows.iter().filter_map(|&row| table.season.get(row)).max();
    Ok(rows
        .iter()
        .filter(|&&row| table.season.get(row) == last)
        .filter_map(|&row| Some((table.tree.label(row).to_owned(), *table.yield_kg.get(row)?)))
        .collect())
}
