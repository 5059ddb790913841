//! Arguments of `review` and `zones`.

use super::{Format, year};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `review`.
#[derive(Debug, Args)]
#[command(after_help = "\
Prints how the last season of each region went beside earlier ones and what explains the difference,
trees to look at, whether the plan was kept and whether the advice held. With --out, writes
review.html (blocks ranked with shrinkage, maps of the trees, alternate bearing, scores), review.xlsx,
review.json and every table as CSV.

Advice can be scored when it was kept: `anacurve run BOOK --keep` writes it to kept/advice-SEASON.json
in the book, and `review --keep` adds the scores to kept/scores.json. Neither changes your tables, and
what was kept once is never changed.

Exit code 1 means that the records do not allow a review, 2 that nothing was written but
what the message names.

Examples:
  anacurve review data-demo
  anacurve review my-book --out review-2026 --keep
  anacurve review my-book --season 2025 --format json")]
pub struct ReviewArgs {
    /// Folder of the record book, with its book.toml
    pub book: PathBuf,
    /// Season to review; the last recorded one of each region when absent
    #[arg(long, value_name = "YEAR", value_parser = year)]
    pub season: Option<i16>,
    /// Use the records as they stood when this season's harvest closed
    #[arg(long, value_name = "YEAR", value_parser = year)]
    pub through: Option<i16>,
    /// Folder for the page and tables; a folder written by this command before is replaced
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Keep the scores in the book (kept/scores.json)
    #[arg(long)]
    pub keep: bool,
    /// Seed of every random draw
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// How the result is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// Arguments of `zones`.
#[derive(Debug, Args)]
#[command(after_help = "\
Where blocks have no agro-climatic region yet, proposes some from what is known of each site or block:
monthly climate normals, altitude and calendar. The number of zones is justified (silhouette, gap
statistic), their stability under resampling shown, and a second method compared. Nothing uses them
before you confirm by pasting the lines into book.toml and filling the column region of the blocks.

The table has one row per site or block; columns are known by their beginning: rain_, temperature_,
humidity_, sunshine_, altitude_, dry_, and days written MM-DD: harvest_, rest_, flush_. For example

  site,altitude_m,rain_01_mm,rain_07_mm,temperature_01_c,flush_from,harvest_from,harvest_to
  Upper terrace,410,12,310,24.1,09-20,02-10,05-31

Every family (rain, temperature, ..) weighs the same, however many columns it has.

Exit code 1 means that a proposed zone is not stable, 2 that none could be proposed.

Examples:
  anacurve zones normals.csv --out zones
  anacurve zones normals.csv --groups 4 --format json")]
pub struct ZonesArgs {
    /// Table of climate normals as CSV
    #[arg(value_name = "TABLE.csv")]
    pub table: PathBuf,
    /// Number of zones; chosen from the table when absent
    #[arg(long, value_name = "N")]
    pub groups: Option<usize>,
    /// Folder for zones.csv and book-section.toml; a folder written by this command before is replaced
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Seed of the resampling
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// How the result is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}
