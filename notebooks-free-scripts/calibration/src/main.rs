//! Runs the calibration study: simulate, analyse, compare with the truth, summarise.

// Progress on standard error and the verdict on the targets on standard output are its job.
#![allow(clippy::print_stdout, clippy::print_stderr)]

mod args;
mod assess;
mod cell;
mod estimate;
mod plan;
mod plot;
mod results;
mod row;
mod rules;
mod run;
mod summary;
mod targets;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    match study(&args::Args::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::FAILURE
        }
    }
}

fn study(args: &args::Args) -> std::io::Result<()> {
    let wanted = args.plantations().map_err(std::io::Error::other)?;
    if let Some(dir) = &args.books {
        return wanted.iter().try_for_each(|&plantation| assess::write(plantation, dir));
    }
    std::fs::create_dir_all(&args.out)?;
    let results = results::Results::open(&args.out.join("results.csv"))?;
    let rows = run::run(&wanted, results, args.threads)?;
    let summary = summary::Summary::of(&rows);
    summary.write(&args.out)?;
    plot::write(&summary, &args.out)?;
    let verdict = targets::verdict(&rows, &summary);
    std::fs::write(args.out.join("targets.md"), &verdict)?;
    println!("{verdict}");
    Ok(())
}
