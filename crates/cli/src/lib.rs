//! The `anacurve` command as a library: what can be typed, the stages of a run, and what is printed.

// Talking to people is this crate's job: data on standard output, messages on standard error.
#![allow(clippy::print_stdout, clippy::print_stderr)]

pub mod args;
mod commands;
pub mod console;
pub mod pipeline;
pub mod timings;

use std::process::ExitCode;

/// Carries out a parsed command line and returns its exit code.
#[must_use]
pub fn execute(cli: &args::Cli) -> ExitCode {
    let stated = || cli.command.book().map(pipeline::stated_language);
    let language = cli.language.or_else(stated).unwrap_or_default();
    words::speaking(language, || carry_out(&cli.command))
}

fn carry_out(command: &args::Command) -> ExitCode {
    let outcome = match command {
        args::Command::Run(args) => commands::run::execute(args),
        args::Command::Review(args) => commands::review::execute(args),
        args::Command::Plan(args) => commands::plan::execute(args),
        args::Command::WhatIf(args) => commands::whatif::execute(args),
        args::Command::Check(args) => commands::check::execute(args),
        args::Command::Zones(args) => commands::zones::execute(args),
        args::Command::Sql(args) => commands::sql::execute(args),
        args::Command::FitMoments(args) => commands::fit_moments::execute(args),
        args::Command::Explain(args) => commands::explain::execute(args),
        args::Command::Schema(args) => commands::schema::execute(args),
        args::Command::Completions(args) => commands::manual::completions(args),
        args::Command::Manual(args) => commands::manual::manual(args),
        args::Command::Demo(args) => commands::demo::execute(args),
        args::Command::Trial(args) => commands::trial::execute(args),
        args::Command::Size(args) => commands::size::execute(args),
        args::Command::Layout(args) => commands::layout::execute(args),
    };
    match outcome {
        Ok(outcome) => outcome.exit_code(),
        Err(failure) => console::report_failure(&failure),
    }
}
