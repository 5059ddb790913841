//! Arguments of `review` and `zones`.

use super::Format;
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

Exit code 1 means that the records do not allow a review, 2 that nothing was written.

Examples:
  anacurve review data-demo
  anacurve review my-book --out review-2026 --keep
  anacurve review my-book --season 2025 --format json")]
pub struct ReviewArgs {
    /// Folder of the record book, with its book.toml
    pub book: PathBuf,
    /// Season to review; the last recorded one of each region when absent
    #[arg(long, value_name = "YEAR")]
    pub season: Option<i16>,
    /// Use the records as they stood when this season's harvest closed
    #[arg(long, value_name = "YEAR")]
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
