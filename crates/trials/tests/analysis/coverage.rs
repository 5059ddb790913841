//! Calibration by simulation: intervals and critical differences cover what they should in small
//! damaged trials.

use crate::support::{declared, names, observed};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use records::TrialDesign;
use trials::{MethodUsed, Plan, analyse};

/// The true differences are 0, and an interval misses 0 exactly when p < 0.05.
#[test]
fn kenward_roger_in_damaged_split_plots() {
    let trials = 400;
    let mut missed = [0usize; 3];
    for seed in 0..trials {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let mut columns: [Vec<String>; 3] = Default::default();
        let mut values = Vec::new();
        for i in 0..4 {
            let block = normal();
            for j in 0..2 {
                let main = 0.8 * normal();
                for k in 0..3 {
                    for (column, code) in columns.iter_mut().zip([i, j, k]) {
                        column.push(format!("L{code}"));
                    }
                    values.push(5.0 + block + main + normal());
                }
            }
        }
        let mut rng = ChaCha8Rng::seed_from_u64(1_000_000 + seed);
        for _ in 0..2 {
            let lost = rng.random_range(0..values.len());
            values[lost] = f64::NAN;
        }
        let [replicate, main, sub] = columns;
        let data = observed(&[("replicate", replicate), ("date", main), ("cut", sub)], values);
        let mut d = declared(TrialDesign::SplitPlot);
        d.main_factors = names(&["date"]);
        d.sub_factors = names(&["cut"]);
        let a = analyse(&Plan::read(&d, &data).unwrap()).unwrap();
        assert_eq!(a.method.used, MethodUsed::KenwardRoger);
        for (count, m) in missed.iter_mut().zip(&a.means) {
            let first = &m.pairs[0];
            *count += usize::from(first.p.unwrap() < 0.05);
        }
    }
    // Binomial with n = 400, p = 0.05: mean 20, sd 4.36; 3.3 sd on either side.
    println!("of {trials} intervals missed the truth: {missed:?}");
    for (m, what) in missed.iter().zip(["main", "sub", "cells"]) {
        assert!((6..=34).contains(m), "{what}: {m} of {trials} intervals missed 0");
    }
}

#[test]
fn critical_difference_in_blocks_with_a_lost_plot() {
    let trials = 1000;
    let mut exceeded = 0usize;
    for seed in 0..trials {
        let mut rng = ChaCha8Rng::seed_from_u64(77_000 + seed);
        let mut columns: [Vec<String>; 2] = Default::default();
        let mut values = Vec::new();
        for i in 0..3 {
            for j in 0..4 {
                columns[0].push(format!("R{i}"));
                columns[1].push(format!("T{j}"));
                let e: f64 = StandardNormal.sample(&mut rng);
                values.push(4.0 + i as f64 + e);
            }
        }
        values[(seed % 12) as usize] = f64::NAN;
        let [replicate, treatment] = columns;
        let data = observed(&[("replicate", replicate), ("treatment", treatment)], values);
        let mut d = declared(TrialDesign::RandomisedBlocks);
        d.factors = names(&["treatment"]);
        let a = analyse(&Plan::read(&d, &data).unwrap()).unwrap();
        exceeded += usize::from(a.means[0].pairs[0].p.unwrap() < 0.05);
    }
    println!("of {trials} differences exceeded their critical difference: {exceeded}");
    // Exact here: binomial with n = 1000, p = 0.05: mean 50, sd 6.9; 3.3 sd.
    assert!((28..=73).contains(&exceeded), "{exceeded} of {trials}");
}
