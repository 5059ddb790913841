//! Typed looks into polars frames, and the joins and sorts that linking repeats.

use polars::prelude::*;

/// Position of a tree in the order region, site, block, tree; the key of every join. No heading of a
/// table can make a name that begins with a dot.
pub(crate) const TREE_NO: &str = ".tree_no";
/// Position of a region in [`crate::places::Places::regions`].
pub(crate) const REGION_NO: &str = ".region_no";
/// Planting day of the tree, else of its block, days since 1970-01-01.
pub(crate) const PLANTED: &str = "planted";
/// Day of the visit, days since 1970-01-01.
pub(crate) const DATE: &str = "date";
/// Days of a tree's season on which it was picked: several weights of one day are of one round.
pub(crate) const ROUNDS: &str = ".rounds";
/// Index of the file a row came from.
pub(crate) const FILE: &str = ".file";
/// Line of that file.
pub(crate) const LINE: &str = ".line";

pub(crate) fn texts<'a>(frame: &'a DataFrame, name: &str) -> PolarsResult<&'a StringChunked> {
    frame.column(name)?.str()
}

pub(crate) fn floats<'a>(frame: &'a DataFrame, name: &str) -> PolarsResult<&'a Float64Chunked> {
    frame.column(name)?.f64()
}

pub(crate) fn ints<'a>(frame: &'a DataFrame, name: &str) -> PolarsResult<&'a Int32Chunked> {
    frame.column(name)?.i32()
}

pub(crate) fn indices<'a>(frame: &'a DataFrame, name: &str) -> PolarsResult<&'a UInt32Chunked> {
    frame.column(name)?.u32()
}

pub(crate) fn flags<'a>(frame: &'a DataFrame, name: &str) -> PolarsResult<&'a BooleanChunked> {
    frame.column(name)?.bool()
}

/// Where each row stands: file index and line.
pub(crate) fn stands(frame: &DataFrame) -> PolarsResult<impl Iterator<Item = (u32, u32)>> {
    let (files, lines) = (indices(frame, FILE)?, indices(frame, LINE)?);
    Ok(files.iter().zip(lines.iter()).map(|(file, line)| (file.unwrap_or(0), line.unwrap_or(0))))
}

/// Every row of `left` once, with the matching row of `right`, whose keys must not repeat.
pub(crate) fn left_join(left: LazyFrame, right: LazyFrame, keys: &[&str]) -> LazyFrame {
    let on: Vec<Expr> = keys.iter().map(|key| col(*key)).collect();
    left.join(right, on.clone(), on, JoinArgs::new(JoinType::Left))
}

/// Rows in ascending order, nulls first. Sums are taken in this order, so that the order of the
/// files cannot change a last digit.
pub(crate) fn sorted(frame: LazyFrame, by: &[&str]) -> LazyFrame {
    let by: Vec<Expr> = by.iter().map(|name| col(*name)).collect();
    frame.sort_by_exprs(by, SortMultipleOptions::default())
}

/// The rows whose flag is true.
pub(crate) fn only(frame: &DataFrame, keep: Vec<bool>) -> PolarsResult<DataFrame> {
    frame.filter(&BooleanChunked::from_slice(PlSmallStr::EMPTY, &keep))
}
