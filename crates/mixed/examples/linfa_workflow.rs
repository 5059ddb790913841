//! The mixed model inside a linfa workflow: shuffle, split, fit, predict, score.
//!
//! `cargo run -p mixed --example linfa_workflow`, from the repository root. The data are reaction
//! times by days without sleep of 18 subjects (Belenky et al. 2003, as shipped with lme4).

#![allow(clippy::print_stdout)]

use linfa::prelude::{Fit, Predict, SingleTargetRegression};
use linfa::{DatasetBase, ParamGuard};
use mixed::linfa_edge::MixedParams;
use ndarray::{Array1, Array2};
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    let text = std::fs::read_to_string("tests/reference/mixed/sleepstudy.csv")?;
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().ok_or("the file is empty")?.split(',').collect();
    let rows: Vec<Vec<f64>> = lines
        .map(|line| line.split(',').map(str::parse).collect::<Result<_, _>>())
        .collect::<Result<_, _>>()?;
    let position = |name: &str| header.iter().position(|h| *h == name).ok_or("a column is missing");
    let (days, subject, reaction) = (position("z:Days")?, position("g:Subject")?, position("y")?);

    // Column 0 is a fixed column, column 1 a grouping factor. Every third day is held out.
    let held_out = |row: &&Vec<f64>| row[days] % 3.0 == 2.0;
    let dataset = |rows: Vec<&Vec<f64>>| {
        let records = Array2::from_shape_fn((rows.len(), 2), |(i, j)| rows[i][[days, subject][j]]);
        DatasetBase::new(records, rows.iter().map(|row| row[reaction]).collect::<Array1<f64>>())
    };
    let (validation, training): (Vec<_>, Vec<_>) = rows.iter().partition(held_out);
    let (validation, training) = (dataset(validation), dataset(training));

    let params = MixedParams::new(vec![1]).check()?;
    let model = params.fit(&training)?;
    let predicted: Array1<f64> = model.predict(&validation.records);
    println!("rows: {} to fit, {} held out", training.targets.len(), validation.targets.len());
    for coefficient in model.fit().coefficients() {
        println!("{:10} {:?}", coefficient.name, coefficient.value);
    }
    println!("status: {}", model.fit().status());
    println!("r2 of population means on held-out days: {:.3}", predicted.r2(&validation.targets)?);
    Ok(())
}
