//! Times one polars group-by over trees that sums the columns of the panel benchmark, and a scan of them.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use polars::prelude::*;
use std::time::Instant;

/// Trees, seasons and fixed columns of the panel in `mixed/examples/panel.rs`.
const SEASONS: usize = 10;
const COLUMNS: usize = 12;

fn main() {
    let trees: usize = std::env::args().nth(1).map_or(100_000, |a| a.parse().unwrap());
    let rows = trees * SEASONS;
    // Sums do not depend on the values; a multiplicative congruence fills them.
    let mut state = 1_u64;
    let mut value = || {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let mut columns = vec![Column::new(
        "tree".into(),
        (0..rows).map(|row| (row / SEASONS) as u32).collect::<Vec<u32>>(),
    )];
    for column in 0..COLUMNS {
        columns.push(Column::new(
            format!("x{column}").into(),
            (0..rows).map(|_| value()).collect::<Vec<f64>>(),
        ));
    }
    columns.push(Column::new("y".into(), (0..rows).map(|_| value()).collect::<Vec<f64>>()));
    let frame = DataFrame::new(rows, columns).unwrap();
    let sums: Vec<Expr> =
        (0..COLUMNS).map(|c| col(format!("x{c}")).sum()).chain([col("y").sum()]).collect();
    println!(
        "{rows} rows, {trees} groups, {} columns summed, polars threads {}",
        sums.len(),
        std::env::var("POLARS_MAX_THREADS").unwrap_or_else(|_| "all".into())
    );
    for _ in 0..7 {
        let start = Instant::now();
        let out = frame.clone().lazy().group_by([col("tree")]).agg(sums.clone()).collect().unwrap();
        let took = start.elapsed();
        println!("group-by: {:.1} ms ({} groups)", took.as_secs_f64() * 1e3, out.height());
    }
}
