//! Fits a negative binomial model with two random intercepts to a file of columns and prints time and answer.
//!
//! usage: counts_benchmark FILE   (columns y, offset, tree, other, x...)

// A benchmark speaks, and stops at what it cannot read.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::panic)]

use mixed::{Factor, Family, FixedColumn, GeneralisedData, fit_generalised};
use std::time::Instant;

fn main() {
    let file = std::env::args().nth(1).unwrap();
    let text = std::fs::read_to_string(file).unwrap();
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    let mut columns = vec![Vec::new(); names.len()];
    for line in lines {
        for (column, cell) in columns.iter_mut().zip(line.split(',')) {
            column.push(cell.trim().parse::<f64>().unwrap());
        }
    }
    let get = |name: &str| columns[names.iter().position(|n| *n == name).unwrap()].as_slice();
    let codes = |name: &str| get(name).iter().map(|v| *v as u32).collect::<Vec<u32>>();
    let (tree, other) = (codes("tree"), codes("other"));
    let levels = |codes: &[u32]| *codes.iter().max().unwrap() as usize + 1;
    let mut seconds = f64::INFINITY;
    let mut last = None;
    for _ in 0..3 {
        let started = Instant::now();
        let mut data = GeneralisedData::new(get("y")).offset(get("offset")).intercept();
        for name in names.iter().filter(|n| n.starts_with('x')) {
            data = data.column(FixedColumn::new(*name, get(name)));
        }
        let data = data
            .factor(Factor::intercept("tree", &tree, levels(&tree)))
            .factor(Factor::intercept("other", &other, levels(&other)));
        last = Some(fit_generalised(&data, Family::NegativeBinomial).unwrap());
        seconds = seconds.min(started.elapsed().as_secs_f64());
    }
    let fit = last.unwrap();
    println!("mixed {}, best of 3, from columns in memory", env!("CARGO_PKG_VERSION"));
    println!("seconds {seconds:.3}");
    println!("loglik {:.9}", fit.loglik());
    let show = |values: Vec<f64>| {
        values.iter().map(|v| format!("{v:.8}")).collect::<Vec<String>>().join(" ")
    };
    println!("coefficients {}", show(fit.estimates().to_vec()));
    println!("standard errors {}", show(fit.coefficients().iter().map(|c| c.std_error).collect()));
    println!(
        "sd {} size {:.8}",
        show(fit.spreads(0.95).unwrap().iter().map(|s| s.estimate).collect()),
        fit.size().unwrap_or(f64::NAN)
    );
    let record = fit.record();
    println!(
        "{}; {} sweeps, {} points visited",
        record.status,
        record.sweeps,
        record.visited.len()
    );
}
