//! Times fit and integration on a design like the demonstration's: trees, blocks, site x season, regional slopes.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use mixed::{
    Data, Factor, FixedColumn, IntegrationSettings, Moments, Prior, RandomEffect, Settings,
    fit_moments,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};
use std::time::Instant;

fn main() {
    let (sites, blocks, trees, seasons, regions) = (14_usize, 4, 38, 6, 6);
    let mut rng = ChaCha12Rng::seed_from_u64(1);
    let normal = |rng: &mut ChaCha12Rng| -> f64 { StandardNormal.sample(rng) };
    let mut effects =
        |n: usize, sd: f64| -> Vec<f64> { (0..n).map(|_| sd * normal(&mut rng)).collect() };
    let tree_effect = effects(sites * blocks * trees, 0.5);
    let block_effect = effects(sites * blocks, 0.3);
    let cell_effect = effects(sites * seasons, 0.4);
    let slopes: Vec<Vec<f64>> = (0..4).map(|_| effects(regions, 0.3)).collect();
    let (mut y, mut codes) = (Vec::new(), vec![Vec::new(); 4]);
    let (mut z, mut x) = (vec![Vec::new(); 4], vec![Vec::new(); 29]);
    for tree in 0..sites * blocks * trees {
        let (block, site) = (tree / trees, tree / trees / blocks);
        let region = site % regions;
        for season in 0..seasons {
            if rng.random::<f64>() < 0.13 {
                continue;
            }
            let cell = site * seasons + season;
            for (c, v) in codes.iter_mut().zip([tree, block, cell, region]) {
                c.push(v as u32);
            }
            let mut value = 3.0
                + tree_effect[tree]
                + block_effect[block]
                + cell_effect[cell]
                + normal(&mut rng);
            for s in 0..4 {
                let v: f64 = rng.random::<f64>() - 0.5;
                z[s].push(v);
                value += slopes[s][region] * v;
            }
            for column in &mut x {
                column.push(normal(&mut rng));
            }
            y.push(value);
        }
    }
    let mut data = Data::new(&y).intercept();
    for (j, column) in x.iter().enumerate() {
        data = data.column(FixedColumn::new(format!("x{j}"), column.as_slice()));
    }
    data = data
        .factor(Factor::intercept("tree", &codes[0], sites * blocks * trees))
        .factor(Factor::intercept("block", &codes[1], sites * blocks))
        .factor(Factor::intercept("cell", &codes[2], sites * seasons));
    let mut region = Factor::intercept("region", &codes[3], regions).independent();
    region.effects = z
        .iter()
        .enumerate()
        .map(|(i, v)| RandomEffect::Slope { name: format!("z{i}"), values: v })
        .collect();
    data = data.factor(region);
    let start = Instant::now();
    let moments = Moments::accumulate(&data).unwrap();
    println!("{} rows accumulated in {:.1?}", y.len(), start.elapsed());
    for settings in [Settings::ml(), Settings::default()] {
        let start = Instant::now();
        let fit = fit_moments(&moments, &settings).unwrap();
        println!(
            "{:?}: {:.1?}, {} evaluations, criterion {:.9}, {:?}",
            settings.criterion,
            start.elapsed(),
            fit.record().visited.len(),
            fit.criterion(),
            fit.status()
        );
        if settings == Settings::default() {
            let start = Instant::now();
            for _ in 0..200 {
                fit.criterion_at(&fit.theta().iter().map(|t| t.value).collect::<Vec<f64>>())
                    .unwrap();
            }
            println!("criterion alone: {:.1?}", start.elapsed() / 200);
            let start = Instant::now();
            let posterior =
                fit.integrate(&Prior::half_normal(1.0), &IntegrationSettings::default()).unwrap();
            println!(
                "integrated in {:.1?}, {:.0} effective nodes",
                start.elapsed(),
                posterior.record().effective_nodes
            );
            let start = Instant::now();
            let draws = posterior.draws(2000, 1, &["region"]).unwrap();
            println!("{} draws in {:.1?}", draws.len(), start.elapsed());
            let start = Instant::now();
            let tests =
                fit.joint_test(&[(0..30).map(|j| f64::from(u8::from(j == 3))).collect()]).unwrap();
            println!("joint test in {:.1?}: {tests:?}", start.elapsed());
            for f in ["tree", "block"] {
                let start = Instant::now();
                let modes = fit.conditional_modes(f).unwrap();
                println!("modes of {} {f}s in {:.1?}", modes.modes.n_rows(), start.elapsed());
            }
        }
    }
}
