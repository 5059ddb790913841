//! Stream benchmark: `stream write ROWS FILE` writes a simulated panel as Parquet, `stream fit ROWS FILE` fits it from the file.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use arrow::array::{ArrayRef, Float64Array, RecordBatch, UInt32Array};
use model::{StreamFactor, StreamModel, moments_of_parquet};
use parquet::arrow::ArrowWriter;
use std::fs::File;
use std::sync::Arc;
use std::time::Instant;

const SEASONS: usize = 20;
const BLOCKS: usize = 500;
const SITES: usize = 40;
const REGIONS: usize = 8;
const COLUMNS: usize = 4;
/// Standard deviations: tree, block, site x season, regional slope, residual.
const TRUTH: [f64; 5] = [0.6, 0.3, 0.4, 0.2, 1.0];

/// Uniform in (0, 1) from an index and a stream, without state (splitmix64).
fn uniform(index: usize, stream: u64) -> f64 {
    let mut z = (index as u64).wrapping_mul(64).wrapping_add(stream + 1);
    z = z.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64 + f64::EPSILON
}

fn normal(index: usize, stream: u64) -> f64 {
    let radius = (-2.0 * uniform(index, stream).ln()).sqrt();
    radius * (2.0 * std::f64::consts::PI * uniform(index, stream + 1)).cos()
}

fn batch(rows: std::ops::Range<usize>, trees: usize) -> RecordBatch {
    let place = |row: usize| {
        let tree = row / SEASONS;
        let block = tree * BLOCKS / trees;
        let site = block * SITES / BLOCKS;
        (tree, block, site * SEASONS + row % SEASONS, site * REGIONS / SITES)
    };
    let x = |row: usize, j: usize| uniform(row, 10 + j as u64) - 0.5;
    let codes = |which: fn((usize, usize, usize, usize)) -> usize| -> ArrayRef {
        let codes = rows.clone().map(|row| which(place(row)) as u32);
        Arc::new(UInt32Array::from_iter_values(codes))
    };
    let y = Float64Array::from_iter_values(rows.clone().map(|row| {
        let (tree, block, cell, region) = place(row);
        let fixed: f64 = (0..COLUMNS).map(|j| 0.2 * (j + 1) as f64 * x(row, j)).sum();
        5.0 + fixed
            + TRUTH[0] * normal(tree, 20)
            + TRUTH[1] * normal(block, 22)
            + TRUTH[2] * normal(cell, 24)
            + TRUTH[3] * normal(region, 26) * x(row, 0)
            + TRUTH[4] * normal(row, 28)
    }));
    let mut columns: Vec<(String, ArrayRef)> = vec![
        ("tree".into(), codes(|p| p.0)),
        ("block".into(), codes(|p| p.1)),
        ("cell".into(), codes(|p| p.2)),
        ("region".into(), codes(|p| p.3)),
        ("y".into(), Arc::new(y)),
    ];
    for j in 0..COLUMNS {
        let values = Float64Array::from_iter_values(rows.clone().map(|row| x(row, j)));
        columns.push((format!("x{j}"), Arc::new(values)));
    }
    RecordBatch::try_from_iter(columns).unwrap()
}

fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM")).unwrap_or("unknown");
    line.split_whitespace().skip(1).collect::<Vec<_>>().join(" ")
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let rows: usize = arguments[2].parse().unwrap();
    let trees = rows / SEASONS;
    if arguments[1] == "write" {
        let mut writer: Option<ArrowWriter<File>> = None;
        for start in (0..rows).step_by(100_000) {
            let batch = batch(start..(start + 100_000).min(rows), trees);
            let writer = writer.get_or_insert_with(|| {
                ArrowWriter::try_new(File::create(&arguments[3]).unwrap(), batch.schema(), None)
                    .unwrap()
            });
            writer.write(&batch).unwrap();
        }
        writer.unwrap().close().unwrap();
        return;
    }
    let factor = |column: &str, levels: usize, slopes: Vec<String>| StreamFactor {
        column: column.into(),
        levels,
        intercept: slopes.is_empty(),
        slopes,
        correlated: true,
    };
    let model = StreamModel {
        response: "y".into(),
        response_units: (0.0, 1.0),
        weights: None,
        intercept: true,
        fixed: (0..COLUMNS).map(|j| (format!("x{j}"), 0.0, 1.0)).collect(),
        factors: vec![
            factor("tree", trees, Vec::new()),
            factor("block", BLOCKS, Vec::new()),
            factor("cell", SITES * SEASONS, Vec::new()),
            factor("region", REGIONS, vec!["x0".into()]),
        ],
    };
    let start = Instant::now();
    let moments = moments_of_parquet(File::open(&arguments[3]).unwrap(), &model).unwrap();
    let read = start.elapsed().as_secs_f64();
    println!(
        "{} rows read into moments in {read:.2} s, {:.2} million rows per second, peak memory {}",
        moments.rows().used,
        moments.rows().used as f64 / read / 1e6,
        peak_memory()
    );
    let fit = mixed::fit_moments(&moments, &mixed::Settings::default()).unwrap();
    println!(
        "fitted in {:.2} s, {:?}, criterion {:.6}, peak memory {}",
        start.elapsed().as_secs_f64() - read,
        fit.status(),
        fit.criterion(),
        peak_memory()
    );
    let parts = fit.variance_components().unwrap();
    let found: Vec<f64> = parts.factors.iter().map(|f| f.standard_deviations[0]).collect();
    println!("standard deviations {found:?}, residual {}; truth {TRUTH:?}", parts.residual);
    println!("estimates {:?}", fit.estimates());
}
