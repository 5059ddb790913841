//! Locating an optimum: against simulation of whole trials and against theory.

#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests")]

mod common;

use common::simulated::{observations, values};
use common::{grid, plain};
use records::TrialDesign;
use statrs::distribution::{Binomial, ContinuousCDF, DiscreteCDF, Normal};
use trials::layout::{TreesPerPlot, lay_out};
use trials::size::{
    Comparison, Components, Curve, OptimumQuestion, TrialSize, optimum, replicates_for_optimum,
};
use trials::{Plan, analyse};

fn question(tree: f64, replicates: usize) -> OptimumQuestion {
    let mut size = TrialSize::of(TrialDesign::RandomisedBlocks, 4, replicates);
    size.trees_per_plot = 2;
    OptimumQuestion {
        size,
        components: Components { replicate: 1.0, plot: 0.1, tree, ..Components::default() },
        comparison: Comparison::Treatments,
        levels: vec![0.0, 0.15, 0.3, 0.6],
        curve: Curve { optimum: 0.25, top: 5.0, bend: -15.0 },
        tolerance: 0.06,
        level: 0.95,
        simulations: 20_000,
        seed: 4,
    }
}

/// Witness: the delta method where the curve is known well, SD(optimum) = sqrt(V(b1 + 2 b2 x0)) / |2
/// b2|, with the variances from the normal equations written out here.
#[test]
fn a_well_known_optimum_scatters_as_the_delta_method_says() {
    let mut q = question(0.2, 40);
    let rows: Vec<[f64; 3]> = q.levels.iter().map(|x| [1.0, *x, x * x]).collect();
    let inverse = invert(&rows);
    let gradient = [0.0, 1.0, 2.0 * q.curve.optimum];
    let mut form = 0.0;
    for i in 0..3 {
        for j in 0..3 {
            form += gradient[i] * inverse[i][j] * gradient[j];
        }
    }
    // Variance of a treatment mean: (0.1 + 0.2/2) / 40.
    let sd = (form * 0.2 / 40.0).sqrt() / 30.0;
    q.tolerance = 1.2 * sd;
    let found = optimum(&q).unwrap();
    let expected = 1.0 - 2.0 * Normal::standard().sf(1.2);
    println!("within tolerance {:.4}, delta method {expected:.4}", found.within_tolerance);
    assert!((found.within_tolerance - expected).abs() < 0.012);
    assert!((found.coverage - 0.95).abs() < 4.0 * (0.95_f64 * 0.05 / 20_000.0).sqrt());
    assert!((found.bends_down - 1.0).abs() < 1e-12);
}

/// Witness: whole trials, laid out, simulated tree by tree, analysed, and the quadratic fitted by
/// normal equations to the analysis's means.
#[test]
fn shares_are_those_of_whole_trials() {
    let q = question(1.0, 4);
    let found = optimum(&q).unwrap();
    let mut request = grid(plain(TrialDesign::RandomisedBlocks, 4, 4), 4, 4);
    request.factors[0].levels = q.levels.iter().map(f64::to_string).collect();
    request.factors[0].unit = Some("fraction".into());
    request.trees_per_plot = TreesPerPlot { rows: 1, columns: 2 };
    let truth: Vec<f64> = q
        .levels
        .iter()
        .map(|x| q.curve.top + q.curve.bend * (x - q.curve.optimum).powi(2))
        .collect();
    let rows: Vec<[f64; 3]> = q.levels.iter().map(|x| [1.0, *x, x * x]).collect();
    let inverse = invert(&rows);
    let (mut within, mut down, number) = (0_u64, 0_u64, 500);
    for seed in 0..number {
        let layout = lay_out(&request, seed).unwrap();
        let observed = observations(&layout, values(&layout, &truth, &q.components, seed + 77));
        let plan = Plan::read(&layout.declaration(), &observed).unwrap();
        let means = analyse(&plan).unwrap().means[0]
            .means
            .iter()
            .map(|mean| mean.mean.unwrap())
            .collect::<Vec<_>>();
        let mut b = [0.0; 3];
        for (i, b) in b.iter_mut().enumerate() {
            for (row, mean) in rows.iter().zip(&means) {
                *b += (0..3).map(|j| inverse[i][j] * row[j]).sum::<f64>() * mean;
            }
        }
        let best = if b[2] < 0.0 {
            (-b[1] / (2.0 * b[2])).clamp(0.0, 0.6)
        } else if b[1] + 0.6 * b[2] > 0.0 {
            0.6
        } else {
            0.0
        };
        within += u64::from((best - q.curve.optimum).abs() <= q.tolerance);
        down += u64::from(b[2] < 0.0);
    }
    println!(
        "within {within}/{number} expected {:.4}; down {down} expected {:.4}",
        found.within_tolerance, found.bends_down
    );
    for (count, share) in [(within, found.within_tolerance), (down, found.bends_down)] {
        let law = Binomial::new(share, number).unwrap();
        assert!(law.cdf(count) > 1e-4 && law.cdf(count.saturating_sub(1)) < 1.0 - 1e-4);
    }
    // A t-quantile on few degrees of freedom: the inversion set keeps its level.
    assert!((found.coverage - 0.95).abs() < 4.0 * (0.95_f64 * 0.05 / 20_000.0).sqrt(), "{found:?}");
    assert!(found.mean_width > 0.0 && found.mean_width <= 0.6);
}

#[test]
fn more_replicates_locate_better_and_the_fewest_are_found() {
    let mut before = 0.0;
    let mut width = f64::MAX;
    for replicates in [3, 6, 12, 24] {
        let found =
            optimum(&OptimumQuestion { tolerance: 0.03, ..question(0.6, replicates) }).unwrap();
        assert!(found.within_tolerance > before && found.mean_width < width);
        (before, width) = (found.within_tolerance, found.mean_width);
    }
    let q = OptimumQuestion { tolerance: 0.03, ..question(0.6, 3) };
    let all: Vec<usize> = (2..=100).collect();
    let (replicates, found) = replicates_for_optimum(&q, 0.8, &all).unwrap().unwrap();
    assert!(found.within_tolerance >= 0.8);
    let one_less = TrialSize { replicates: replicates - 1, ..q.size };
    let before = optimum(&OptimumQuestion { size: one_less, ..q.clone() }).unwrap();
    assert!(before.within_tolerance < 0.8, "{replicates}");
    assert_eq!(replicates_for_optimum(&question(400.0, 3), 0.9, &[2, 3, 4, 5]).unwrap(), None);
    // Of a list in any order the next one tried, and no other.
    let few = [replicates + 9, replicates - 1, replicates + 2, replicates + 9];
    assert_eq!(replicates_for_optimum(&q, 0.8, &few).unwrap().unwrap().0, replicates + 2);
    assert_eq!(replicates_for_optimum(&q, 0.8, &few[..1]).unwrap().unwrap().0, replicates + 9);
    assert_eq!(replicates_for_optimum(&q, 0.8, &[]).unwrap(), None);
    // The same seed gives the same answer.
    assert_eq!(optimum(&q).unwrap(), optimum(&q).unwrap());
    let outside = OptimumQuestion { curve: Curve { optimum: 0.8, ..q.curve }, ..q.clone() };
    assert!(optimum(&outside).is_err());
    let two = OptimumQuestion { levels: vec![0.0, 0.0, 0.3, 0.3], ..q };
    assert!(optimum(&two).is_err());
}

fn invert(rows: &[[f64; 3]]) -> [[f64; 3]; 3] {
    let mut m = [[0.0; 3]; 3];
    for row in rows {
        for i in 0..3 {
            for j in 0..3 {
                m[i][j] += row[i] * row[j];
            }
        }
    }
    let minor = |i: usize, j: usize| {
        let (a, b) = ((i + 1) % 3, (i + 2) % 3);
        let (c, d) = ((j + 1) % 3, (j + 2) % 3);
        m[a][c] * m[b][d] - m[a][d] * m[b][c]
    };
    let determinant: f64 = (0..3).map(|j| m[0][j] * minor(0, j)).sum();
    std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i) / determinant))
}
