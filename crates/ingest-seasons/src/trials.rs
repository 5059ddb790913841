//! Trees of randomised trials: one trial and replicate per tree.

use crate::frame::{FILE, LINE, TREE_NO, indices, left_join, only, sorted, stands};
use crate::outcome::{Outcome, Reason, Rejected};
use crate::places::Places;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Code, Table, counted, noun};

/// `tree_no`, `trial` and `replicate`, at most one row per tree: the first in file order.
pub(crate) fn plots(
    frame: &DataFrame,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let rows = frame.select([ts::TREE, ts::TRIAL, ts::REPLICATE, FILE, LINE])?;
    let trees = places.trees.select([ts::TREE, TREE_NO])?;
    let joined = sorted(left_join(rows.lazy(), trees.lazy(), &[ts::TREE]), &[TREE_NO, FILE, LINE])
        .collect()?;
    let mut keep = Vec::with_capacity(joined.height());
    let mut before: Option<u32> = None;
    let (mut further, mut first_further) = (0_u64, None);
    let trees = joined.column(ts::TREE)?.str()?;
    for ((tree, tree_no), at) in
        trees.iter().zip(indices(&joined, TREE_NO)?.iter()).zip(stands(&joined)?)
    {
        keep.push(tree_no.is_some() && tree_no != before);
        if tree_no.is_none() {
            let (reason, remedy) = places.unknown(tree.unwrap_or(""))?;
            let (table, column, code) = (Table::Trials, ts::TREE, Code::TreeUnknown);
            outcome.reject(Rejected { table, stands: at, column, code, reason, remedy });
        } else if tree_no == before {
            further += 1;
            first_further = first_further.min(Some(at)).or(Some(at));
        }
        before = tree_no;
    }
    outcome.pass_over(Table::Trials, Reason::FurtherTrial, further);
    if let Some(at) = first_further {
        outcome.warn(
            outcome.place(at),
            Code::RowDuplicate,
            format!(
                "{} {} a tree into a further trial or plot, here first",
                counted(further, "row", "rows"),
                noun(further, "puts", "put")
            ),
            "the first row of a tree counts; keep one row for each tree of a trial",
        );
    }
    only(&joined, keep)?.select([TREE_NO, ts::TRIAL, ts::REPLICATE])
}
