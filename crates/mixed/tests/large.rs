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
