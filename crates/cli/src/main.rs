//! The `anacurve` command: records in, next season's pruning advice out.

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    ingest_tables::quiet_guarded_panics();
    anacurve::execute(&anacurve::args::Cli::parse())
}
