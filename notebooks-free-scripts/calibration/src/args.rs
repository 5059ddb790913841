//! What can be typed.

use crate::cell::Cell;
use clap::Parser;
use std::path::PathBuf;

/// Simulates plantations with known truth over the whole factorial, runs the whole path on each
/// and compares what it says with the truth. Plantations already in the results are skipped.
#[derive(Debug, Parser)]
#[command(name = "calibration", version)]
pub struct Args {
    /// Folder of results.csv, the summaries and the plot.
    #[arg(long, default_value = "notebooks-free-scripts/calibration/results")]
    pub out: PathBuf,
    /// Plantations simulated in each cell.
    #[arg(long, default_value_t = 1)]
    pub replicates: u32,
    /// Only the first N plantations of an order that is balanced in every factor.
    #[arg(long, value_name = "N")]
    pub sample: Option<usize>,
    /// Only cells with one of these levels, e.g. `flat,plateau`; several filters all hold.
    #[arg(long, value_name = "LEVELS")]
    pub filter: Vec<String>,
    /// Only write the record books of the plantations into this folder, to look at one closely.
    #[arg(long, value_name = "DIR")]
    pub books: Option<PathBuf>,
    /// Worker threads.
    #[arg(long, default_value_t = 2)]
    pub threads: usize,
}

/// A plantation of the study.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Plantation {
    /// Its cell.
    pub cell: Cell,
    /// Its number within the cell.
    pub replicate: u32,
}

impl Args {
    /// The plantations asked for.
    pub fn plantations(&self) -> Result<Vec<Plantation>, String> {
        let cells = Cell::all();
        for level in self.filter.iter().flat_map(|filter| filter.split(',')) {
            if !cells.iter().any(|cell| cell.words().iter().any(|word| word == level)) {
                return Err(format!(
                    "no level '{level}'; an example of a cell is {}",
                    cells.first().map(Cell::to_string).unwrap_or_default()
                ));
            }
        }
        let holds = |cell: &Cell| {
            self.filter.iter().all(|filter| {
                filter.split(',').any(|level| cell.words().iter().any(|word| word == level))
            })
        };
        Ok((0..self.replicates)
            .flat_map(|replicate| cells.iter().map(move |&cell| Plantation { cell, replicate }))
            .filter(|plantation| holds(&plantation.cell))
            .take(self.sample.unwrap_or(usize::MAX))
            .collect())
    }
}
