//! Arguments of `plan` and `whatif`.

use super::{Format, money, yield_level};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `plan`.
#[derive(Debug, Args)]
#[command(after_help = "\
Fits and decides as `run` does and writes to DIR: crew_sheets.html (one printed page per block),
workplan.xlsx and its sheets as CSV (workplan, materials, shopping, tools, alarms, missing) and
calendar.ics. The sections [work], [products.NAME] and [economics.cut_wood] of book.toml say who
works when, with what; `anacurve demo` writes a book that shows every key with remarks. Nothing is
dosed without the strength, target and usual concentration of the product's own label.

Exit code 1 means that the plan is written and that a person should look: the windows cannot hold
the work, or blocks or trees were set aside and are not in the plan.

Examples:
  anacurve plan data-demo --out plan
  anacurve plan my-book --out plan --language pt")]
pub struct PlanArgs {
    /// Folder of the record book, with its book.toml
    pub book: PathBuf,
    /// Folder to write; a folder written by this command before is replaced
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Seed of every random draw; the same seed gives the same plan
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
}

/// Arguments of `whatif`.
#[derive(Debug, Args)]
#[command(after_help = "\
Net returns of the advised practice (where the verdict is keep or trial, of the best that the
records support) and of present practice, summed over the seasons, undiscounted, and the chance that
the change is a loss. The page of `run` shows the same digits for the same seed.

Examples:
  anacurve whatif data-demo --price 0.9 --wage 1.2
  anacurve whatif data-demo --yield-level 0.8 --seasons 3 --region orrin_coast --format json")]
pub struct WhatIfArgs {
    /// Folder of the record book, with its book.toml
    pub book: PathBuf,
    /// Quoted price per kg; each region's own when absent
    #[arg(long, value_name = "MONEY", value_parser = money, allow_negative_numbers = true)]
    pub price: Option<f64>,
    /// Wage per hour; each region's own when absent
    #[arg(long, value_name = "MONEY", value_parser = money, allow_negative_numbers = true)]
    pub wage: Option<f64>,
    /// Yields and gains as a multiple of those expected
    #[arg(long, value_name = "X", default_value_t = 1.0, value_parser = yield_level, allow_negative_numbers = true)]
    pub yield_level: f64,
    /// Seasons added up, up to horizon_seasons of book.toml
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seasons: usize,
    /// Only this region, by its id
    #[arg(long, value_name = "ID")]
    pub region: Option<String>,
    /// Seed of every random draw, as for `run`
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// How the result is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}
