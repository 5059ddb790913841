//! Trees of randomised trials: one plot per tree and trial, and perhaps several trials one after
//! the other.

mod checks;
mod several;

use crate::frame::{FILE, LINE, TREE_NO, indices, left_join, only, sorted, stands};
use crate::holdings::is_gone;
use crate::outcome::{Outcome, Rejected};
use crate::places::Places;
use crate::renamed;
use checks::Check;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Code, Place, Table};
use several::spans;
use std::collections::BTreeMap;
use words::{say, text};

pub(crate) use several::{FROM, UNTIL};

/// A tree of a trial with what the trial table says of it; a tree of several trials stands once
/// for each.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialTree {
    /// Trial id.
    pub trial: String,
    /// Tree id.
    pub tree: String,
    /// Row of the trial table.
    pub place: Place,
    /// Columns of the trial table but trial and tree, and `site`, `block`, `row` and `column` of
    /// the tree where the table has no such column; `None` where a cell is empty.
    pub columns: BTreeMap<String, Option<String>>,
    /// Trunk girth from the tree table, cm.
    pub girth_cm: Option<f64>,
    /// Status of the tree table where it says that the tree is no longer there, such as `dead`.
    pub gone: Option<String>,
}

/// The trial table, linked.
pub(crate) struct Plots {
    /// `tree_no`, `trial`, `replicate` and the seasons that count as this trial's, one row for each
    /// tree of a trial; the seasons of a tree are of one trial each.
    pub(crate) frame: DataFrame,
    /// The same rows in the same order.
    pub(crate) trees: Vec<TrialTree>,
}

/// Links the trial table: rows of unknown trees, of a tree in two plots of a trial and with text
/// where a declared trial has numbers are set aside.
pub(crate) fn plots(
    frame: &DataFrame,
    trees: &DataFrame,
    places: &Places,
    book: &Book,
    outcome: &mut Outcome,
) -> PolarsResult<Plots> {
    let known = places.trees.select([ts::TREE, TREE_NO])?;
    let joined = left_join(frame.clone().lazy(), known.lazy(), &[ts::TREE]);
    let joined = sorted(joined, &[TREE_NO, FILE, LINE]).collect()?;
    let check = Check::of(&joined, book)?;
    let twice = listed_again(&joined, book)?;
    let mut keep = Vec::with_capacity(joined.height());
    let names = joined.column(ts::TREE)?.str()?;
    for (row, ((tree, tree_no), at)) in
        names.iter().zip(indices(&joined, TREE_NO)?.iter()).zip(stands(&joined)?).enumerate()
    {
        let tree = tree.unwrap_or("");
        let refused = if tree_no.is_none() {
            let (reason, remedy) = places.unknown(tree)?;
            renamed::count(at, tree, &places.meant(tree)?, outcome);
            Some((ts::TREE.to_owned(), Code::TreeUnknown, reason, remedy))
        } else if let Some(again) = twice.get(row).copied().flatten() {
            let (code, reason, remedy) = match again {
                Again::Alike(first) => (
                    Code::RowDuplicate,
                    say!(
                        "tree '{tree}' stands in the trial again, with the plot and the treatment of {}: a row entered twice, of which the first counts",
                        outcome.place(first)
                    ),
                    text!(
                        "keep one of the two rows; where they differ in a yield, keep the one that is right"
                    ),
                ),
                Again::Elsewhere(other) => (
                    Code::TreeInTwoPlots,
                    say!(
                        "tree '{tree}' stands in two plots of the trial, here and at {}",
                        outcome.place(other)
                    ),
                    text!("keep the row that is right; a tree has one treatment in a trial"),
                ),
            };
            Some((ts::TREE.to_owned(), code, reason, remedy.to_owned()))
        } else {
            check
                .of_row(row)
                .map(|(column, reason, remedy)| (column, Code::NumberUnreadable, reason, remedy))
        };
        if let Some((column, code, reason, remedy)) = refused {
            keep.push(false);
            let (table, column) = (Table::Trials, column.into());
            outcome.reject(Rejected { table, stands: at, column, code, reason, remedy });
            continue;
        }
        keep.push(true);
    }
    let kept = only(&joined, keep)?;
    let trees = trial_trees(&kept, trees, places, outcome)?;
    let mut frame = kept.select([TREE_NO, ts::TRIAL, ts::REPLICATE])?;
    let [from, until] = spans(&kept, book, outcome)?;
    frame.with_column(from)?.with_column(until)?;
    Ok(Plots { frame, trees })
}

/// A row with its file and line.
type RowAt = (usize, (u32, u32));

/// Where another row has the same tree and trial.
#[derive(Clone, Copy)]
enum Again {
    /// The first row, with the same plot and treatment.
    Alike((u32, u32)),
    /// A row that says otherwise.
    Elsewhere((u32, u32)),
}

/// Per row, whether its tree stands in its trial by another row, which this one repeats or contradicts; the first of
/// rows alike repeats none.
fn listed_again(joined: &DataFrame, book: &Book) -> PolarsResult<Vec<Option<Again>>> {
    let mut rows: BTreeMap<(&str, &str), Vec<RowAt>> = BTreeMap::new();
    let names = joined.column(ts::TREE)?.str()?.iter().zip(joined.column(ts::TRIAL)?.str()?.iter());
    for (row, ((tree, trial), at)) in names.zip(stands(joined)?).enumerate() {
        rows.entry((tree.unwrap_or(""), trial.unwrap_or(""))).or_default().push((row, at));
    }
    let mut other = vec![None; joined.height()];
    for ((_, trial), mut same) in rows.into_iter().filter(|(_, same)| same.len() > 1) {
        same.sort_by_key(|(_, at)| *at);
        let alike = are_alike(joined, book, trial, &same);
        for (position, &(row, _)) in same.iter().enumerate() {
            let elsewhere = same.iter().find(|(own, _)| *own != row).map(|&(_, at)| at);
            if let Some(slot) = other.get_mut(row) {
                *slot = match elsewhere {
                    Some(_) if alike && position == 0 => None,
                    Some(at) if alike => Some(Again::Alike(at)),
                    at => at.map(Again::Elsewhere),
                };
            }
        }
    }
    Ok(other)
}

/// Whether rows agree in all that a declared trial reads of them: factors, places of the design and covariate. Of a
/// trial that is not declared nobody knows which columns these are.
fn are_alike(joined: &DataFrame, book: &Book, trial: &str, rows: &[RowAt]) -> bool {
    let Some(declared) = book.trials.get(trial) else { return false };
    let factors = declared.keyed_factors().map(|(_, factor)| factor);
    let roles = declared.roles.named().map(|(_, column)| column);
    let mut columns = factors.chain(roles).chain(declared.covariate.as_deref());
    columns.all(|name| {
        let Some(texts) = joined.column(name).ok().and_then(|column| column.str().ok()) else {
            return true;
        };
        let mut own = rows.iter().map(|(row, _)| texts.get(*row));
        own.next().is_none_or(|first| own.all(|other| other == first))
    })
}

/// The kept rows as trees with all their columns.
fn trial_trees(
    kept: &DataFrame,
    trees: &DataFrame,
    places: &Places,
    outcome: &Outcome,
) -> PolarsResult<Vec<TrialTree>> {
    let (positions, gone) = (positions(trees)?, gone(trees)?);
    let girths = places.trees.column(ts::GIRTH_CM)?.f64()?;
    let (sites, blocks) =
        (places.trees.column(ts::SITE)?.str()?, places.trees.column(ts::BLOCK)?.str()?);
    let texts: Vec<(&str, &StringChunked)> = kept
        .columns()
        .iter()
        .filter(|column| ![ts::TREE, ts::TRIAL].contains(&column.name().as_str()))
        .filter_map(|column| Some((column.name().as_str(), column.str().ok()?)))
        // A column of the schema that no file has is null throughout.
        .filter(|(_, texts)| texts.null_count() < texts.len())
        .collect();
    let (names, trials) = (kept.column(ts::TREE)?.str()?, kept.column(ts::TRIAL)?.str()?);
    let mut out = Vec::with_capacity(kept.height());
    for (row, (tree_no, at)) in indices(kept, TREE_NO)?.iter().zip(stands(kept)?).enumerate() {
        let number = tree_no.map_or(usize::MAX, |number| number as usize);
        let tree = names.get(row).unwrap_or("");
        let [across, along] = positions.get(tree).copied().unwrap_or([None, None]);
        let own = |text: Option<&str>| text.map(str::to_owned);
        let whole = |number: Option<i64>| number.map(|number| number.to_string());
        let mut columns: BTreeMap<String, Option<String>> = [
            (ts::SITE, own(sites.get(number))),
            (ts::BLOCK, own(blocks.get(number))),
            ("row", whole(across)),
            ("column", whole(along)),
        ]
        .map(|(name, text)| (name.to_owned(), text))
        .into();
        for (name, texts) in &texts {
            columns.insert((*name).to_owned(), own(texts.get(row)));
        }
        out.push(TrialTree {
            trial: trials.get(row).unwrap_or("").to_owned(),
            tree: tree.to_owned(),
            place: outcome.place(at),
            columns,
            girth_cm: girths.get(number),
            gone: gone.get(tree).map(|&status| status.to_owned()),
        });
    }
    Ok(out)
}

/// The status of every tree that is no longer there.
fn gone(trees: &DataFrame) -> PolarsResult<BTreeMap<&str, &str>> {
    let status = trees.column("status")?.str()?.iter();
    let known = trees.column(ts::TREE)?.str()?.iter().zip(status);
    Ok(known
        .filter_map(|(tree, status)| Some((tree?, status.filter(|s| is_gone(s))?.trim())))
        .collect())
}

/// Row and column of every tree in its block.
fn positions(trees: &DataFrame) -> PolarsResult<BTreeMap<&str, [Option<i64>; 2]>> {
    let (rows, columns) = (trees.column("row")?.i64()?, trees.column("column")?.i64()?);
    let names = trees.column(ts::TREE)?.str()?;
    let mut found = BTreeMap::new();
    for (tree, (row, column)) in names.iter().zip(rows.iter().zip(columns.iter())) {
        found.entry(tree.unwrap_or("")).or_insert([row, column]);
    }
    Ok(found)
}
