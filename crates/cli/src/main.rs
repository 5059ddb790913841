//! The `anacurve` command: records in, next season's pruning advice out.

// Talking to people is this crate's job: data on standard output, messages on standard error.
#![allow(clippy::print_stdout, clippy::print_stderr)]

mod args;
mod commands;
mod console;
mod pipeline;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let outcome = match args::Cli::parse().command {
        args::Command::Run(args) => commands::run::execute(&args),
        args::Command::Check(args) => commands::check::execute(&args),
        args::Command::Demo(args) => commands::demo::execute(&args),
    };
    match outcome {
        Ok(outcome) => outcome.exit_code(),
        Err(failure) => console::report_failure(&failure),
    }
}
