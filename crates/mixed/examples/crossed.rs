//! Crossed benchmark: `crossed ROWS [FOLDER]` fits 3000 x 1100 crossed levels and 14 groups and prints times and answer; with a folder, writes the columns for peers.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod simulated;

use mixed::{Moments, Settings, fit_moments};
use std::path::Path;
use std::time::Instant;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let rows = arguments.get(1).map_or(75_000, |a| a.parse().unwrap());
    let columns = simulated::crossed(rows, 11);
    if let Some(folder) = arguments.get(2) {
        columns.write(Path::new(folder));
    }
    let data = columns.data();
    for _ in 0..3 {
        let (start, before) = (Instant::now(), simulated::processor_seconds());
        let moments = Moments::accumulate(&data).unwrap();
        let accumulated = start.elapsed();
        let fit = fit_moments(&moments, &Settings::default()).unwrap();
        let total = start.elapsed();
        let processor = simulated::processor_seconds() - before;
        println!(
            "{rows} rows: accumulated in {:.1} ms, fitted in {:.1} ms, total {:.1} ms ({processor:.2} s of processor time); {} evaluations, {:?}, criterion {:.9}",
            accumulated.as_secs_f64() * 1e3,
            (total - accumulated).as_secs_f64() * 1e3,
            total.as_secs_f64() * 1e3,
            fit.record().visited.len(),
            fit.status(),
            fit.criterion()
        );
        println!("theta {:?}", fit.theta().iter().map(|t| t.value).collect::<Vec<f64>>());
    }
}
