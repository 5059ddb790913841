//! A hundred thousand groups: the cost of an evaluation does not grow with them.
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

use mixed::{Data, Factor, FixedColumn, Moments, Settings, Status, fit_moments};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};
use std::time::Instant;

#[test]
fn a_hundred_thousand_groups_recover_the_truth() {
    let (groups, sites, seasons) = (100_000_u32, 12_u32, 5_u32);
    let (tree_sd, site_sd, residual) = (1.2, 0.7, 1.5);
    let mut rng = ChaCha12Rng::seed_from_u64(3);
    let normal = |rng: &mut ChaCha12Rng| -> f64 { StandardNormal.sample(rng) };
    let cells: Vec<f64> = (0..sites * seasons).map(|_| site_sd * normal(&mut rng)).collect();
    let (mut y, mut g, mut s, mut x) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for group in 0..groups {
        let site = group % sites;
        let effect = tree_sd * normal(&mut rng);
        for season in 0..seasons {
            if rng.random::<f64>() < 0.1 {
                continue;
            }
            let cell = site * seasons + season;
            let dose = rng.random::<f64>();
            x.push(dose);
            g.push(group);
            s.push(cell);
            y.push(5.0 + 2.0 * dose + effect + cells[cell as usize] + residual * normal(&mut rng));
        }
    }
    let square: Vec<f64> = x.iter().map(|v| v * v).collect();
    let data = Data::new(&y)
        .intercept()
        .column(FixedColumn::new("dose", x.as_slice()).units(0.5, 0.3))
        .column(FixedColumn::new("dose squared", square).units(0.33, 0.3))
        .factor(Factor::intercept("tree", &g, groups as usize))
        .factor(Factor::intercept("cell", &s, (sites * seasons) as usize));
    let start = Instant::now();
    let moments = Moments::accumulate(&data).unwrap();
    let accumulated = start.elapsed();
    let fit = fit_moments(&moments, &Settings::default()).unwrap();
    println!(
        "{} rows, {} groups in {} pools: accumulated in {accumulated:.2?}, fitted in {:.2?} with {} evaluations",
        y.len(),
        fit.record().groups,
        fit.record().pools,
        start.elapsed() - accumulated,
        fit.record().visited.len()
    );
    assert_eq!(fit.status(), &Status::Interior, "{:?}", fit.record().evidence);
    assert_eq!(fit.record().pools, 5);
    // Standard errors: 100000 trees give about 0.4 % of the sd, 60 cells 9 %.
    let parts = fit.variance_components().unwrap();
    let sd = |f: usize| parts.factors[f].standard_deviations[0];
    assert!((sd(0) / tree_sd - 1.0).abs() < 0.015, "{}", sd(0));
    assert!((sd(1) / site_sd - 1.0).abs() < 0.35, "{}", sd(1));
    assert!((parts.residual / residual - 1.0).abs() < 0.01);
    let slope = fit.contrast(&[0.0, 1.0, 1.0], 0.9999).unwrap();
    let slope = slope.estimated().unwrap();
    assert!(slope.conf_low < 2.0 && 2.0 < slope.conf_high, "{slope:?}");
}

/// More rows than one part of a pass holds, some of them unusable: at once, in
/// chunks added in place, and in merged chunks.
#[test]
fn long_passes_and_chunks_agree() {
    let (rows, groups, cells) = (150_001_usize, 4_000_u32, 30_u32);
    let mut rng = ChaCha12Rng::seed_from_u64(9);
    let mut draw = |n: u32| -> Vec<u32> { (0..rows).map(|_| rng.random_range(0..n)).collect() };
    let (g, c) = (draw(groups), draw(cells));
    let x: Vec<f64> = (0..rows).map(|_| rng.random::<f64>()).collect();
    let y: Vec<f64> = (0..rows)
        .map(|i| match i % 1_000 {
            17 => f64::NAN,
            _ => x[i] + f64::from(g[i] % 7) + f64::from(c[i] % 3) + 2.0 * rng.random::<f64>(),
        })
        .collect();
    let data = |range: std::ops::Range<usize>| -> Moments {
        let ones = vec![1.0; range.len()];
        Moments::accumulate(
            &Data::new(&y[range.clone()])
                .column(FixedColumn::new("intercept", ones))
                .column(FixedColumn::new("x", &x[range.clone()]))
                .factor(Factor::intercept("group", &g[range.clone()], groups as usize))
                .factor(Factor::intercept("cell", &c[range.clone()], cells as usize)),
        )
        .unwrap()
    };
    let whole = data(0..rows);
    assert_eq!(whole.rows().dropped_total(), 150);
    let mut merged = data(0..0);
    for start in (0..rows).step_by(20_000).rev() {
        merged.merge(&data(start..(start + 20_000).min(rows))).unwrap();
    }
    assert_eq!(merged.rows(), whole.rows());
    let fits = [&whole, &merged].map(|m| fit_moments(m, &Settings::default()).unwrap());
    let theta: Vec<f64> = fits[0].theta().iter().map(|t| t.value).collect();
    let criteria = [fits[0].criterion_at(&theta).unwrap(), fits[1].criterion_at(&theta).unwrap()];
    assert!((criteria[0] - criteria[1]).abs() < 1e-10 * criteria[0].abs(), "{criteria:?}");
}
