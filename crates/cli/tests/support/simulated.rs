//! A small simulated book with all tables, and runs of the program on it.

use plantation_sim::{Plantation, RegionPlan, Tidiness, TrialPlan, demo, simulate, write_book};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Two regions over four seasons with a trial, frame counts and second visits, no bad row.
pub fn write(dir: &Path) {
    let region = |id: &str, name: &str, trial: bool| RegionPlan {
        name: name.to_owned(),
        first_season: 2023,
        sites: 2,
        blocks_per_site: 2,
        trees_per_block: 15,
        framed_trees: 0.4,
        second_visits: 0.2,
        trial: trial.then(|| TrialPlan {
            id: "depth".to_owned(),
            levels: vec![0.0, 0.15, 0.3, 0.45, 0.6],
            lead_days: 48.0,
        }),
        trial_sites: usize::from(trial),
        ..RegionPlan::typical(id)
    };
    let plantation = Plantation {
        name: "Same Bytes".to_owned(),
        work: "\n[work]\ncrew_size = 4\n",
        regions: vec![
            region("hill_side", "Hill Side", true),
            region("low_land", "Low Land", false),
        ],
        ..demo()
    };
    write_book(&simulate(&plantation, 7), &plantation, dir, Tidiness::Clean).unwrap();
}

/// Runs the program to its end, with further arguments and settings of the surroundings.
pub fn run(book: &Path, out: &Path, more: &[&str], settings: &[(&str, &str)]) -> Output {
    let program = env!("CARGO_BIN_EXE_anacurve");
    let output = Command::new(program)
        .arg("run")
        .arg(book)
        .arg("--out")
        .arg(out)
        .args(more)
        .envs(settings.iter().copied())
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output
}

/// The one report folder below `out`.
pub fn report(out: &Path) -> PathBuf {
    out.join("same-bytes").join("2027")
}
