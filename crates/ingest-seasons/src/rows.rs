//! Dated rows joined to the trees they name; unknown trees and days before planting are rejected.

use crate::frame::{
    DATE, FILE, LINE, PLANTED, REGION_NO, TREE_NO, indices, ints, left_join, only, stands, texts,
};
use crate::incomplete::LostVisit;
use crate::outcome::{Outcome, Rejected};
use crate::places::Places;
use crate::renamed;
use crate::seasons::{day, in_reach};
use ingest_tables::MissingVisit;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Code, Table};
use words::{say, text};

/// `tree_no`, `region_no`, `date` (day number), the wanted columns, `.file` and `.line` of every
/// row whose tree is known and stood on that day.
pub(crate) fn at_their_trees(
    table: Table,
    frame: &DataFrame,
    wanted: &[&str],
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let columns = [&[ts::TREE, DATE], wanted, &[FILE, LINE]].concat();
    let rows = frame.select(columns.iter().copied())?.lazy();
    let rows = rows.with_column(col(DATE).cast(DataType::Int32));
    let trees = places.trees.select([ts::TREE, TREE_NO, REGION_NO, PLANTED])?;
    let joined = left_join(rows, trees.lazy(), &[ts::TREE]).collect()?;

    let trees = texts(&joined, ts::TREE)?.iter().zip(indices(&joined, TREE_NO)?.iter());
    let days = ints(&joined, DATE)?.iter().zip(ints(&joined, PLANTED)?.iter());
    let mut keep = Vec::with_capacity(joined.height());
    for (((tree, tree_no), (date, planted)), at) in trees.zip(days).zip(stands(&joined)?) {
        let early = matches!((date, planted), (Some(date), Some(planted)) if date < planted);
        let (column, code, reason, remedy) = if tree_no.is_none() {
            let tree = tree.unwrap_or("");
            let (reason, remedy) = places.unknown(tree)?;
            renamed::count(at, tree, &places.meant(tree)?, outcome);
            if matches!(table, Table::Harvests | Table::Prunings) {
                let days = date.map(|day| (day, day)).into_iter().collect();
                let visit = MissingVisit { tree: tree.to_owned(), days };
                outcome.lost.push(LostVisit { table, place: outcome.place(at), visit });
            }
            (ts::TREE, Code::TreeUnknown, reason, remedy)
        } else if !date.is_some_and(in_reach) {
            let reason = say!("the date lies thousands of years away");
            (DATE, Code::DateInNoSeason, reason, say!("correct the date"))
        } else if early {
            let reason = say!(
                "{} is before tree '{}' was planted ({})",
                written(date),
                tree.unwrap_or(""),
                written(planted)
            );
            let remedy = text!(
                "correct the date, or the planting date of the tree or its block; \
                          give a replanted tree an id of its own"
            );
            (DATE, Code::BeforePlanting, reason, remedy.to_owned())
        } else {
            keep.push(true);
            continue;
        };
        keep.push(false);
        outcome.reject(Rejected { table, stands: at, column: column.into(), code, reason, remedy });
    }
    let kept = [&[TREE_NO, REGION_NO, DATE], wanted, &[FILE, LINE]].concat();
    only(&joined.select(kept)?, keep)
}

/// A day number as people write it.
pub(crate) fn written(number: Option<i32>) -> String {
    number.and_then(day).map_or_else(|| say!("an impossible date"), |day| day.to_string())
}
