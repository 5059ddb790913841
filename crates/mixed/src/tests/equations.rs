//! A slow twin for larger designs: Henderson's equations in full, without elimination, pools or blocks.

use super::design::Design;
use super::twin::{dense_criterion, plan};
use crate::settings::Criterion;
use faer::linalg::solvers::Solve;
use faer::{Mat, Side};
use proptest::prelude::*;

/// The criterion from the penalised least-squares equations over all random
/// effects and coefficients (Bates et al. 2015, section 3), row by row.
pub fn full_criterion(design: &Design, criterion: Criterion) -> f64 {
    let (n, p) = (design.y.len(), design.x.len());
    // By factor: first column, effects and Lambda's lower triangle.
    let (mut q, mut at) = (0, 0);
    let mut factors = Vec::new();
    for (levels, effects, correlated) in &design.plan.factors {
        let t = &design.theta[at..];
        let lambda = match (*effects, *correlated) {
            (1, _) => [t[0], 0.0, 0.0],
            (_, true) => [t[0], t[1], t[2]],
            (_, false) => [t[0], 0.0, t[1]],
        };
        at += if *effects == 1 { 1 } else { 2 + usize::from(*correlated) };
        factors.push((q, *effects, lambda));
        q += levels * effects;
    }
    let mut m = Mat::<f64>::zeros(q + p, q + p);
    let mut right = Mat::<f64>::zeros(q + p, 1);
    let rows: Vec<Vec<(usize, f64)>> = (0..n)
        .map(|i| {
            let mut row = Vec::new();
            for (f, (first, effects, [l00, l10, l11])) in factors.iter().enumerate() {
                let column = first + design.codes[f][i] as usize * effects;
                let s = if *effects == 2 { design.slopes[f][i] } else { 0.0 };
                row.push((column, l00 + s * l10));
                if *effects == 2 {
                    row.push((column + 1, s * l11));
                }
            }
            row.extend((0..p).map(|j| (q + j, design.x[j][i])));
            row
        })
        .collect();
    for (i, row) in rows.iter().enumerate() {
        for (a, x) in row {
            right[(*a, 0)] += design.w[i] * x * design.y[i];
            for (b, z) in row {
                m[(*a, *b)] += design.w[i] * x * z;
            }
        }
    }
    for j in 0..q {
        m[(j, j)] += 1.0;
    }
    let l = m.llt(Side::Lower).unwrap();
    let solution = l.solve(&right);
    let mut rss: f64 = (0..q).map(|j| solution[(j, 0)].powi(2)).sum();
    for (i, row) in rows.iter().enumerate() {
        let fitted: f64 = row.iter().map(|(a, x)| x * solution[(*a, 0)]).sum();
        rss += design.w[i] * (design.y[i] - fitted).powi(2);
    }
    let log_det =
        |from: usize, to: usize| -> f64 { (from..to).map(|i| 2.0 * l.L()[(i, i)].ln()).sum() };
    let (d, fixed) = match criterion {
        Criterion::Reml => ((n - p) as f64, log_det(q, q + p)),
        Criterion::Ml => (n as f64, 0.0),
    };
    let weights: f64 = design.w.iter().map(|w| w.ln()).sum();
    log_det(0, q) + fixed + d * (1.0 + (2.0 * std::f64::consts::PI * rss / d).ln()) - weights
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn full_equations_equal_the_dense_covariance(plan in plan()) {
        let design = plan.simulate();
        for criterion in [Criterion::Reml, Criterion::Ml] {
            let (a, b) = (full_criterion(&design, criterion), dense_criterion(&design, criterion));
            prop_assert!((a - b).abs() < 1e-9 * (1.0 + b.abs()), "{a} against {b}");
        }
    }
}
