//! Arguments of `sql` and `fit-moments`.

use super::Format;
use clap::Args;
use std::path::PathBuf;

/// Arguments of `sql`.
#[derive(Debug, Args)]
#[command(after_help = "\
For records that one machine cannot hold. The book (all of it, or a sample of its trees) settles the
scale, the family of curves and the constants of the yield model, as `run` does. Written to DIR:

  rows.sql      a query over the table tree_seasons, whose result is to be the table model_rows
  moments.sql   a query over model_rows and tree_seasons, whose result is a small table of sums
  design.json   names and constants, which fit-moments reads beside the sums
  local.json    the fit of the book itself, to compare with

tree_seasons is the linked table (tree_seasons.parquet of check or run), of any number of rows and
files. The queries are standard SQL: WITH, JOIN, GROUP BY, SUM, CASE, COUNT OVER, LN or
SQRT. Run them in any engine, on as many machines as it has; save the sums as Parquet or CSV.

Examples:
  anacurve check my-book --out linked
  anacurve sql my-book --out distributed
  anacurve fit-moments sums.parquet --design distributed/design.json")]
pub struct SqlArgs {
    /// Folder of the record book, with its book.toml
    pub book: PathBuf,
    /// Folder to write; a folder written by this command before is replaced
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Seed of the comparison of families, as for `run`
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
}

/// Arguments of `fit-moments`.
#[derive(Debug, Args)]
#[command(after_help = "\
The table is the result of moments.sql, unchanged: one Parquet or CSV file, or a folder of them. Each
line says how many there are of its kind and factors: a table that lost some is refused. The fit is
that of the rows behind it: same criterion, spreads, coefficients and covariance.

What needs single trees (their own levels, the influence of one) is not in the sums.

Examples:
  anacurve fit-moments sums.parquet --design distributed/design.json
  anacurve fit-moments sums --design distributed/design.json --format json > fit.json")]
pub struct FitMomentsArgs {
    /// Table of sums: a Parquet or CSV file, or a folder of them
    pub table: PathBuf,
    /// design.json of the `sql` that wrote the queries
    #[arg(long, value_name = "FILE")]
    pub design: PathBuf,
    /// How the fit is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}
