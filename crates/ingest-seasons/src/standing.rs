//! Trees as they stand, for the layout of a new trial.

use crate::differing::Differing;
use crate::holdings::is_gone;
use ingest_tables::{BookTables, IngestError};
use polars::prelude::PolarsResult;
use records::Table;
use records::tree_season as ts;

/// A tree of the tree table.
#[derive(Debug, Clone, PartialEq)]
pub struct StandingTree {
    /// Tree id.
    pub tree: String,
    /// Block.
    pub block: String,
    /// Row within the block.
    pub row: Option<i64>,
    /// Position in the row.
    pub column: Option<i64>,
    /// Trunk girth, cm.
    pub girth_cm: Option<f64>,
    /// Status in the plantation's own words.
    pub status: Option<String>,
}

impl StandingTree {
    /// Whether the tree is no longer there, by its status.
    #[must_use]
    pub fn is_gone(&self) -> bool {
        self.status.as_deref().is_some_and(is_gone)
    }
}

/// Every tree of the tree table as read, once for each block, in the order of the files.
///
/// # Errors
/// When the tables break their own promise.
pub fn standing_trees(tables: &BookTables) -> Result<Vec<StandingTree>, IngestError> {
    read(tables).map_err(|error| IngestError::Internal(error.to_string()))
}

fn read(tables: &BookTables) -> PolarsResult<Vec<StandingTree>> {
    let Some(trees) = tables.frames.get(&Table::Trees) else { return Ok(Vec::new()) };
    let (trees, _) = Differing::settled(trees)?;
    let (names, blocks) = (trees.column(ts::TREE)?.str()?, trees.column(ts::BLOCK)?.str()?);
    let (rows, columns) = (trees.column("row")?.i64()?, trees.column("column")?.i64()?);
    let (girths, status) = (trees.column(ts::GIRTH_CM)?.f64()?, trees.column("status")?.str()?);
    let tree = |at: usize| {
        Some(StandingTree {
            tree: names.get(at)?.to_owned(),
            block: blocks.get(at)?.to_owned(),
            row: rows.get(at),
            column: columns.get(at),
            girth_cm: girths.get(at),
            status: status.get(at).map(str::to_owned),
        })
    };
    Ok((0..trees.height()).filter_map(tree).collect())
}
