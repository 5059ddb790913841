//! Requests that the layout tests share.
#![allow(dead_code, reason = "each test binary uses a part")]

pub mod simulated;

use records::TrialDesign;
use statrs::distribution::{ChiSquared, ContinuousCDF};
use trials::layout::{ExistingTree, Field, LayoutFactor, LayoutRequest, PlotOf};

pub fn factor(name: &str, levels: usize, on: PlotOf) -> LayoutFactor {
    LayoutFactor {
        name: name.to_owned(),
        levels: (1..=levels).map(|level| format!("{name}{level}")).collect(),
        unit: None,
        on,
    }
}

pub fn request(
    design: TrialDesign,
    factors: Vec<LayoutFactor>,
    replicates: usize,
) -> LayoutRequest {
    LayoutRequest {
        trial: "T1".to_owned(),
        site: None,
        title: None,
        design,
        factors,
        control: None,
        checks: Vec::new(),
        replicates,
        replication: Default::default(),
        plots_per_block: None,
        trees_per_plot: Default::default(),
        field: Field::default(),
        guards: Default::default(),
        restrictions: Default::default(),
        blocking: Default::default(),
        balance: None,
        traits: Vec::new(),
        picks_per_tree: 1,
    }
}

pub fn grid(mut request: LayoutRequest, rows: usize, columns: usize) -> LayoutRequest {
    request.field.rows = Some(rows);
    request.field.columns = Some(columns);
    request
}

pub fn plain(design: TrialDesign, treatments: usize, replicates: usize) -> LayoutRequest {
    request(design, vec![factor("t", treatments, PlotOf::Plots)], replicates)
}

/// Trees in rows and columns with an earlier crop that trends over the field and scatters.
pub fn orchard(rows: i64, columns: i64) -> Vec<ExistingTree> {
    let mut trees = Vec::new();
    for row in 1..=rows {
        for column in 1..=columns {
            let scatter = ((row * row * 7919 + column * column * 4729 + row * column * 613) % 1009)
                as f64
                / 1009.0;
            let other =
                ((row * row * 3571 + column * 6007 + row * column * 419) % 1013) as f64 / 1013.0;
            trees.push(ExistingTree {
                tree: format!("A-{row}-{column}"),
                block: "A".to_owned(),
                row: Some(row),
                column: Some(column),
                earlier_crop: Some(4.0 + 0.2 * row as f64 + 3.0 * scatter),
                girth_cm: Some(60.0 + 10.0 * other),
            });
        }
    }
    trees
}

/// Probability of a chi-squared statistic as large, were all counts equally likely.
pub fn equal_chances(counts: &[usize]) -> f64 {
    let total: usize = counts.iter().sum();
    let expected = total as f64 / counts.len() as f64;
    let statistic: f64 =
        counts.iter().map(|&count| (count as f64 - expected).powi(2) / expected).sum();
    ChiSquared::new((counts.len() - 1) as f64).unwrap().sf(statistic)
}
