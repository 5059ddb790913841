//! The criterion as textbooks write it, with the n x n matrix V.

use super::design::{Design, Plan, Weighting};
use crate::Moments;
use crate::settings::{Criterion, Settings};
use crate::shape::Pattern;
use crate::system::System;
use faer::linalg::solvers::Solve;
use faer::{Mat, Side};
use proptest::prelude::*;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

/// V = W^-1 + Z Lambda Lambda'Z'.
pub fn dense_covariance(design: &Design) -> Mat<f64> {
    let n = design.y.len();
    let mut v = Mat::<f64>::zeros(n, n);
    let mut at = 0;
    for (f, (_, effects, correlated)) in design.plan.factors.iter().enumerate() {
        let mut next = || {
            at += 1;
            design.theta[at - 1]
        };
        let l00 = next();
        let (mut l10, mut l11) = (0.0, 0.0);
        if *effects == 2 {
            if *correlated {
                l10 = next();
            }
            l11 = next();
        }
        let (c00, c01, c11) = (l00 * l00, l00 * l10, l10 * l10 + l11 * l11);
        let (codes, s) = (&design.codes[f], &design.slopes[f]);
        for i in 0..n {
            for j in 0..n {
                if codes[i] == codes[j] {
                    v[(i, j)] += c00 + c01 * (s[i] + s[j]) + c11 * s[i] * s[j];
                }
            }
        }
    }
    for i in 0..n {
        v[(i, i)] += 1.0 / design.w[i];
    }
    v
}

/// log|V| + log|X'V^-1X| (REML) + d (1 + log(2 pi r'V^-1r / d)) with
/// V = W^-1 + Z Lambda Lambda'Z' (e.g. Searle, Casella, McCulloch 1992, 6.6).
pub fn dense_criterion(design: &Design, criterion: Criterion) -> f64 {
    let n = design.y.len();
    let p = design.x.len();
    let v = dense_covariance(design);
    let x = Mat::from_fn(n, p, |i, j| design.x[j][i]);
    let y = Mat::from_fn(n, 1, |i, _| design.y[i]);
    let vl = v.llt(Side::Lower).unwrap();
    let vx = vl.solve(&x);
    let xvx = x.transpose() * &vx;
    let xl = xvx.llt(Side::Lower).unwrap();
    let b = xl.solve(vx.transpose() * &y);
    let r = &y - &x * &b;
    let q = (r.transpose() * vl.solve(&r))[(0, 0)];
    let log_det =
        |l: faer::MatRef<'_, f64>| -> f64 { (0..l.nrows()).map(|i| 2.0 * l[(i, i)].ln()).sum() };
    let (d, mut value) = match criterion {
        Criterion::Reml => ((n - p) as f64, log_det(xl.L())),
        Criterion::Ml => (n as f64, 0.0),
    };
    value += log_det(vl.L());
    value + d * (1.0 + (2.0 * std::f64::consts::PI * q / d).ln())
}

pub fn plan() -> impl Strategy<Value = Plan> {
    let factor = (2_usize..7, 1_usize..3, any::<bool>());
    (
        any::<u64>(),
        12_usize..48,
        1_usize..4,
        prop::collection::vec(factor, 1..4),
        prop_oneof![Just(Weighting::None), Just(Weighting::Counts), Just(Weighting::Real)],
        any::<bool>(),
    )
        .prop_map(|(seed, rows, columns, factors, weighting, balanced)| Plan {
            seed,
            rows: if balanced { rows / 6 * 6 } else { rows },
            columns,
            factors,
            weighting,
            balanced,
        })
}

fn system(moments: &Moments, criterion: Criterion, pooling: bool) -> System {
    let settings = Settings { criterion, ..Settings::default() };
    System::new(moments, &settings, pooling).unwrap()
}

fn value(moments: &Moments, theta: &[f64], criterion: Criterion, pooling: bool) -> f64 {
    let s = system(moments, criterion, pooling);
    s.criterion(&s.solve(theta).unwrap())
}

fn apart(a: f64, b: f64) -> f64 {
    (a - b).abs() / (1.0 + b.abs())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, ..ProptestConfig::default() })]

    #[test]
    fn criterion_matches_the_dense_twin(plan in plan()) {
        let design = plan.simulate();
        let moments = Moments::accumulate(&design.data()).unwrap();
        for criterion in [Criterion::Reml, Criterion::Ml] {
            let fast = value(&moments, &design.theta, criterion, true);
            let slow = dense_criterion(&design, criterion);
            prop_assert!(apart(fast, slow) < 1e-9, "{fast} against {slow}");
        }
    }

    #[test]
    fn pooled_merged_and_permuted_moments_agree(plan in plan()) {
        let design = plan.simulate();
        let whole = Moments::accumulate(&design.data()).unwrap();
        let pooled = value(&whole, &design.theta, Criterion::Reml, true);
        let unpooled = value(&whole, &design.theta, Criterion::Reml, false);
        prop_assert!(apart(pooled, unpooled) < 1e-10);
        let mut order: Vec<usize> = (0..plan.rows).collect();
        order.shuffle(&mut ChaCha12Rng::seed_from_u64(plan.seed));
        let permuted = Moments::accumulate(&design.rows(&order).data()).unwrap();
        prop_assert!(apart(pooled, value(&permuted, &design.theta, Criterion::Reml, true)) < 1e-10);
        // Three chunks that split groups, merged from an empty one, last first.
        let mut merged = Moments::accumulate(&design.rows(&[]).data()).unwrap();
        for chunk in order.chunks(plan.rows.div_ceil(3)).rev() {
            merged.merge(&Moments::accumulate(&design.rows(chunk).data()).unwrap()).unwrap();
        }
        prop_assert_eq!(merged.rows(), whole.rows());
        // The same chunks added in place.
        let mut added = Moments::accumulate(&design.rows(&order[..1]).data()).unwrap();
        for chunk in order[1..].chunks(plan.rows.div_ceil(3)) {
            added.add(&design.rows(chunk).data()).unwrap();
        }
        prop_assert_eq!(added.rows(), whole.rows());
        prop_assert!(apart(pooled, value(&added, &design.theta, Criterion::Reml, true)) < 1e-10);
        prop_assert!(apart(pooled, value(&merged, &design.theta, Criterion::Reml, true)) < 1e-10);
    }

    #[test]
    fn gradient_matches_differences_of_the_twin(plan in plan()) {
        let design = plan.simulate();
        let moments = Moments::accumulate(&design.data()).unwrap();
        for criterion in [Criterion::Reml, Criterion::Ml] {
            for pooling in [true, false] {
                let s = system(&moments, criterion, pooling);
                let gradient = s.criterion_gradient(&s.solve(&design.theta).unwrap());
                for (i, g) in gradient.iter().enumerate() {
                    let shifted = |h: f64| {
                        let mut other = design.clone();
                        other.theta[i] += h;
                        dense_criterion(&other, criterion)
                    };
                    // Richardson's extrapolation: the error of a central difference is of order h^2,
                    // and a criterion can bend too sharply for one difference alone.
                    let central = |h: f64| (shifted(h) - shifted(-h)) / (2.0 * h);
                    let h = 2e-4;
                    let numeric = (4.0 * central(h / 2.0) - central(h)) / 3.0;
                    prop_assert!(
                        (g - numeric).abs() < 1e-5 * (1.0 + g.abs()),
                        "entry {i}: {g} against {numeric}"
                    );
                }
            }
        }
    }
}

/// A fit held at the design's own theta.
pub fn fitted_at(design: &Design) -> crate::Fit {
    let settings = Settings::default();
    let moments = Moments::accumulate(&design.data()).unwrap();
    let system = System::new(&moments, &settings, true).unwrap();
    let mut optimum = crate::optimise::optimise(&system, &settings).unwrap();
    optimum.solved = system.solve(&design.theta).unwrap();
    crate::fit::assemble(system, &settings, optimum)
}

/// Henderson's mixed-model equations in full: solution and inverse over
/// [coefficients | all random effects], relative to sigma^2 (Henderson 1975).
fn mixed_model_equations(design: &Design) -> (Vec<f64>, Mat<f64>) {
    let n = design.y.len();
    let mut columns: Vec<Vec<f64>> = design.x.clone();
    let mut precision: Vec<(usize, usize, f64)> = Vec::new();
    let mut at = 0;
    for (f, (levels, effects, correlated)) in design.plan.factors.iter().enumerate() {
        let count = if *effects == 1 { 1 } else { 2 + usize::from(*correlated) };
        let t = &design.theta[at..at + count];
        at += count;
        for level in 0..*levels {
            let o = columns.len();
            let on = |i: usize| f64::from(u8::from(design.codes[f][i] == level as u32));
            columns.push((0..n).map(on).collect());
            if *effects == 1 {
                precision.push((o, o, 1.0 / (t[0] * t[0])));
                continue;
            }
            columns.push((0..n).map(|i| on(i) * design.slopes[f][i]).collect());
            let (a, b, c) = if *correlated { (t[0], t[1], t[2]) } else { (t[0], 0.0, t[1]) };
            let (g00, g01, g11) = (a * a, a * b, b * b + c * c);
            let det = g00 * g11 - g01 * g01;
            precision.push((o, o, g11 / det));
            precision.push((o + 1, o + 1, g00 / det));
            precision.push((o, o + 1, -g01 / det));
            precision.push((o + 1, o, -g01 / det));
        }
    }
    let size = columns.len();
    let product = |a: &[f64], b: &[f64]| -> f64 { (0..n).map(|i| design.w[i] * a[i] * b[i]).sum() };
    let mut m = Mat::from_fn(size, size, |i, j| product(&columns[i], &columns[j]));
    for (i, j, x) in precision {
        m[(i, j)] += x;
    }
    let right = Mat::from_fn(size, 1, |i, _| product(&columns[i], &design.y));
    let lu = m.partial_piv_lu();
    let solution = lu.solve(&right);
    let inverse = lu.solve(Mat::<f64>::identity(size, size));
    ((0..size).map(|i| solution[(i, 0)]).collect(), inverse)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn modes_and_their_variances_solve_the_mixed_model_equations(plan in plan()) {
        let mut design = plan.simulate();
        // The equations need the inverse of the effects' covariance.
        for t in design.theta.iter_mut().filter(|t| t.abs() < 0.1) {
            *t = 0.2;
        }
        let fitted = fitted_at(&design);
        let (solution, inverse) = mixed_model_equations(&design);
        let variance = fitted.sigma().powi(2);
        let size: f64 = 1.0 + solution.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
        let near = |a: f64, b: f64, s: f64| (a - b).abs() < 1e-6 * s;
        let estimates = fitted.estimates();
        let covariance = fitted.covariance();
        for j in 0..plan.columns {
            prop_assert!(near(estimates[j], solution[j], size));
            let expected = variance * inverse[(j, j)];
            prop_assert!(near(covariance[(j, j)], expected, expected));
        }
        let mut at = plan.columns;
        for name in fitted.factor_names() {
            let modes = fitted.conditional_modes(&name).unwrap();
            let k = modes.effects.len();
            for i in 0..modes.modes.n_rows() * k {
                let expected = variance * inverse[(at + i, at + i)];
                prop_assert!(near(modes.modes[(i / k, i % k)], solution[at + i], size));
                prop_assert!(near(modes.variances[(i / k, i % k)], expected, expected));
                if let Some(joint) = &modes.joint {
                    for j in 0..modes.modes.n_rows() * k {
                        let expected = variance * inverse[(at + i, at + j)];
                        prop_assert!(near(joint[(i, j)], expected, variance * (1.0 + inverse[(at + i, at + i)])));
                    }
                }
            }
            at += modes.modes.n_rows() * k;
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// The search ends at or below the criterion of any theta tried at random,
    /// boundary included.
    #[test]
    fn no_random_theta_beats_the_fit(plan in plan()) {
        // With more effects than rows the criterion can be unbounded below.
        let effects: usize = plan.factors.iter().map(|(l, k, _)| l * k).sum();
        prop_assume!(plan.rows > effects + plan.columns);
        let design = plan.simulate();
        let Ok(fitted) = crate::fit(&design.data(), &Settings::default()) else {
            return Ok(());
        };
        let mut rng = ChaCha12Rng::seed_from_u64(plan.seed ^ 1);
        let slack = 1e-7 * (1.0 + fitted.criterion().abs());
        for _ in 0..60 {
            let theta: Vec<f64> = design
                .theta
                .iter()
                .map(|_| if rng.random::<f64>() < 0.3 { 0.0 } else { 3.0 * rng.random::<f64>().powi(2) })
                .collect();
            let other = fitted.criterion_at(&theta).unwrap();
            prop_assert!(
                fitted.criterion() <= other + slack,
                "{} at {:?} ({:?}), but {other} at {theta:?}",
                fitted.criterion(), fitted.theta(), fitted.status()
            );
        }
    }
}

/// From 1, two steps of one half led exactly to the saddle at 0, and the step
/// off it led back.
#[test]
fn search_stopped_at_the_saddle_at_zero() {
    let plan = Plan {
        seed: 280_992_944_012_372_214,
        rows: 17,
        columns: 3,
        factors: vec![(2, 1, false)],
        weighting: Weighting::Counts,
        balanced: false,
    };
    let fitted = crate::fit(&plan.simulate().data(), &Settings::default()).unwrap();
    let zero = fitted.criterion_at(&[0.0]).unwrap();
    assert!(fitted.criterion() < zero - 0.02, "{} against {zero}", fitted.criterion());
    assert_eq!(fitted.status(), &crate::Status::Interior);
}

/// Sites with their own blocks and seasons, and slopes per site pair: the
/// levels fall apart by site beside a border. Takes the numbers of sites, of
/// blocks in a site, of trees in a block and of seasons.
pub fn nested_design(
    seed: u64,
    [sites, blocks, trees, seasons]: [usize; 4],
    correlated: bool,
    balanced: bool,
) -> Design {
    let plan = Plan {
        seed,
        rows: sites * blocks * trees * seasons,
        columns: 2,
        factors: vec![
            (sites * blocks, 1, true),
            (sites * blocks * trees, if balanced { 1 } else { 2 }, correlated),
            (sites * seasons, 2, correlated),
            (2, 2, correlated),
        ],
        weighting: if balanced { Weighting::None } else { Weighting::Real },
        balanced: false,
    };
    let mut design = plan.simulate();
    for row in 0..plan.rows {
        let (tree, season) = (row / seasons, row % seasons);
        let block = tree / trees;
        let site = block / blocks;
        let codes = [block, tree, site * seasons + season, site % 2];
        for (column, code) in design.codes.iter_mut().zip(codes) {
            column[row] = code as u32;
        }
    }
    design
}

fn nested() -> impl Strategy<Value = Design> {
    (any::<u64>(), 2_usize..5, 2_usize..4, 2_usize..4, any::<bool>(), any::<bool>()).prop_map(
        |(seed, sites, blocks, seasons, correlated, balanced)| {
            nested_design(seed, [sites, blocks, 3, seasons], correlated, balanced)
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    /// Elimination by blocks gives the criterion, gradient, estimates and
    /// covariance of the dense system, and the criterion of the twin.
    #[test]
    fn blocks_match_the_dense_system_and_the_twin(design in nested()) {
        let moments = Moments::accumulate(&design.data()).unwrap();
        for criterion in [Criterion::Reml, Criterion::Ml] {
            let settings = Settings { criterion, ..Settings::default() };
            let make = |pattern, pooling| {
                System::with_pattern(&moments, &settings, pooling, pattern).unwrap()
            };
            let dense = make(Pattern::Dense, true);
            let a = dense.solve(&design.theta).unwrap();
            prop_assert!(dense.shape.blocks().is_empty());
            let twin = dense_criterion(&design, criterion);
            prop_assert!(apart(dense.criterion(&a), twin) < 1e-9);
            for pooling in [true, false] {
                let blocks = make(Pattern::Blocks, pooling);
                prop_assert!(blocks.shape.blocks().len() > 1);
                let b = blocks.solve(&design.theta).unwrap();
                prop_assert!(apart(blocks.criterion(&b), dense.criterion(&a)) < 1e-10);
                let gradients = (dense.criterion_gradient(&a), blocks.criterion_gradient(&b));
                for (x, y) in gradients.0.iter().zip(&gradients.1) {
                    prop_assert!(apart(*x, *y) < 1e-8, "{gradients:?}");
                }
                for (x, y) in a.spherical.iter().zip(&b.spherical) {
                    prop_assert!(apart(*x, *y) < 1e-8);
                }
                let (p, q) = (a.inverse(), b.inverse());
                for (x, y) in p.values().iter().zip(q.values()) {
                    prop_assert!(apart(*x, *y) < 1e-8);
                }
                let fixed = b.factor.fixed_inverse();
                let first = dense.layout.q;
                for i in 0..fixed.n_rows() {
                    for j in 0..fixed.n_rows() {
                        prop_assert!(apart(fixed[(i, j)], p[(first + i, first + j)]) < 1e-8);
                    }
                }
            }
        }
    }
}
