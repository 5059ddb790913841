//! The `anacurve` command: records in, next season's pruning advice out.

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    anacurve::execute(&anacurve::args::Cli::parse())
}
