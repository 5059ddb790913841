//! Panel benchmark: `panel TREES [FOLDER [tree]]` simulates 10 seasons per tree, fits from columns in memory and prints times and answer; with a folder, writes the columns for peers; with `tree`, fits the random tree alone, by maximum likelihood.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod simulated;

use mixed::{Moments, Settings, fit_moments};
use std::path::Path;
use std::time::Instant;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let trees = arguments.get(1).map_or(100_000, |a| a.parse().unwrap());
    let mut columns = simulated::panel(trees, 7);
    if let Some(folder) = arguments.get(2) {
        columns.write(Path::new(folder));
    }
    let alone = arguments.get(3).is_some_and(|a| a == "tree");
    if alone {
        columns.factors.truncate(1);
        columns.slopes.clear();
    }
    let settings = if alone { Settings::ml() } else { Settings::default() };
    let data = columns.data();
    for _ in 0..5 {
        let start = Instant::now();
        let moments = Moments::accumulate(&data).unwrap();
        let accumulated = start.elapsed();
        let fit = fit_moments(&moments, &settings).unwrap();
        let total = start.elapsed();
        println!(
            "{} rows: accumulated in {:.1} ms, fitted in {:.1} ms, total {:.1} ms; {} pools, {} evaluations, {:?}, criterion {:.9}",
            columns.y.len(),
            accumulated.as_secs_f64() * 1e3,
            (total - accumulated).as_secs_f64() * 1e3,
            total.as_secs_f64() * 1e3,
            fit.record().pools,
            fit.record().visited.len(),
            fit.status(),
            fit.criterion()
        );
    }
    let fit = mixed::fit(&data, &settings).unwrap();
    let parts = fit.variance_components().unwrap();
    for part in &parts.factors {
        println!("{} sd {:?}", part.factor, part.standard_deviations);
    }
    println!("residual sd {}; truth {:?}", parts.residual, simulated::PANEL_TRUTH);
    println!("estimates {:?}", fit.estimates());
    println!("theta {:?}", fit.theta().iter().map(|t| t.value).collect::<Vec<f64>>());
}
