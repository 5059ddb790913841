//! Growth benchmark: `growth LARGEST` fits the panel at 1e4, 3e4, ... rows and prints rows, seconds for moments and fit, and criterion as CSV.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod simulated;

use mixed::{Moments, Settings, fit_moments};
use std::time::Instant;

fn main() {
    let largest: f64 = std::env::args().nth(1).map_or(2e7, |a| a.parse().unwrap());
    println!("rows,accumulate_s,fit_s,criterion");
    for rows in [1e4, 3e4, 1e5, 3e5, 1e6, 3e6, 1e7, 2e7].into_iter().filter(|r| *r <= largest) {
        let columns = simulated::panel((rows / 10.0) as usize, 7);
        let data = columns.data();
        // The best of three, as interruptions only add.
        let runs = (0..3).map(|_| {
            let start = Instant::now();
            let moments = Moments::accumulate(&data).unwrap();
            let read = start.elapsed().as_secs_f64();
            let fit = fit_moments(&moments, &Settings::default()).unwrap();
            (read, start.elapsed().as_secs_f64() - read, fit.criterion())
        });
        let best = runs.min_by(|a, b| (a.0 + a.1).total_cmp(&(b.0 + b.1))).unwrap();
        println!("{rows},{:.4},{:.4},{:.6}", best.0, best.1, best.2);
    }
}
