//! Trees that two rows of one block give with other values: what the rows say differently is unknown.

use crate::frame::{only, stands, texts};
use crate::seasons::day;
use polars::prelude::*;
use records::Table;
use records::tree_season as ts;
use std::collections::{BTreeMap, BTreeSet, HashSet};

/// A column in which a row differs from the first of its tree and block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Difference {
    pub(crate) column: &'static str,
    /// As the first row has it.
    pub(crate) first: String,
    /// As this row has it.
    pub(crate) own: String,
}

/// File index and line.
type Stands = (u32, u32);

/// The repeated rows of a tree table.
#[derive(Debug, Default)]
pub(crate) struct Differing {
    /// Rows that are not the first of their tree and block, with what they say differently.
    repeats: BTreeMap<Stands, Vec<Difference>>,
    /// Columns in which rows of one block differ, by tree.
    columns: BTreeMap<String, BTreeSet<&'static str>>,
}

impl Differing {
    /// Compares the rows of each tree and block with their first, by file and line.
    pub(crate) fn of(trees: &DataFrame) -> PolarsResult<Self> {
        let (names, blocks) = (texts(trees, ts::TREE)?, texts(trees, ts::BLOCK)?);
        // Only looked up, never walked.
        let mut seen = HashSet::with_capacity(trees.height());
        let twice: BTreeSet<&str> = names.iter().flatten().filter(|id| !seen.insert(*id)).collect();
        let mut found = Self::default();
        if twice.is_empty() {
            return Ok(found);
        }
        let mut rows: BTreeMap<(&str, &str), Vec<(Stands, usize)>> = BTreeMap::new();
        let ids = names.iter().zip(blocks.iter()).zip(stands(trees)?);
        for (row, ((tree, block), at)) in ids.enumerate() {
            if let Some(tree) = tree.filter(|tree| twice.contains(tree)) {
                rows.entry((tree, block.unwrap_or(""))).or_default().push((at, row));
            }
        }
        for ((tree, _), mut rows) in rows {
            rows.sort_unstable();
            let Some((&(_, first), more)) = rows.split_first() else { continue };
            for &(at, row) in more {
                let differences = differences(trees, first, row)?;
                let columns = differences.iter().map(|difference| difference.column);
                found.columns.entry(tree.to_owned()).or_default().extend(columns);
                found.repeats.insert(at, differences);
            }
        }
        Ok(found)
    }

    /// What a row says otherwise than the first of its tree and block.
    pub(crate) fn of_row(&self, at: Stands) -> &[Difference] {
        self.repeats.get(&at).map_or(&[], Vec::as_slice)
    }

    /// Whether the rows of a tree differ in a column.
    pub(crate) fn is_unknown(&self, tree: &str, column: &str) -> bool {
        self.columns.get(tree).is_some_and(|columns| columns.contains(column))
    }

    /// The tree table without the values that its rows contradict.
    pub(crate) fn blanked(&self, trees: &DataFrame) -> PolarsResult<DataFrame> {
        let mut blanked = trees.clone();
        let columns: BTreeSet<&str> = self.columns.values().flatten().copied().collect();
        for column in columns {
            let keep: BooleanChunked = texts(trees, ts::TREE)?
                .iter()
                .map(|tree| !tree.is_some_and(|tree| self.is_unknown(tree, column)))
                .collect();
            let values = trees.column(column)?.as_materialized_series();
            let none = Series::full_null(column.into(), trees.height(), values.dtype());
            blanked.with_column(values.zip_with(&keep, &none)?.into_column())?;
        }
        Ok(blanked)
    }

    /// The tree table with one row for each tree of a block, without what its rows contradict.
    pub(crate) fn settled(trees: &DataFrame) -> PolarsResult<(DataFrame, Self)> {
        let differing = Self::of(trees)?;
        if differing.repeats.is_empty() {
            return Ok((trees.clone(), differing));
        }
        let keep = stands(trees)?.map(|at| !differing.repeats.contains_key(&at)).collect();
        let settled = only(&differing.blanked(trees)?, keep)?;
        Ok((settled, differing))
    }
}

/// The columns that two rows both fill, and fill differently.
fn differences(trees: &DataFrame, first: usize, own: usize) -> PolarsResult<Vec<Difference>> {
    let mut found = Vec::new();
    for spec in Table::Trees.spec().columns {
        if [ts::TREE, ts::BLOCK].contains(&spec.name) {
            continue;
        }
        let column = trees.column(spec.name)?;
        let (first, own) = (shown(&column.get(first)?), shown(&column.get(own)?));
        if let (Some(first), Some(own)) = (first, own)
            && first != own
        {
            found.push(Difference { column: spec.name, first, own });
        }
    }
    Ok(found)
}

/// A value as people write it; nothing for an empty cell.
fn shown(value: &AnyValue<'_>) -> Option<String> {
    match value {
        AnyValue::Null => None,
        AnyValue::String(text) => Some(format!("'{text}'")),
        AnyValue::Date(number) => day(*number).map(|day| day.to_string()),
        AnyValue::Float64(number) => Some(number.to_string()),
        other => Some(other.to_string()),
    }
}
