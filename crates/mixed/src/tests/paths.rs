//! Every path of an evaluation against a slow twin: what small designs do not reach.

use super::design::{Design, Plan, Weighting};
use super::equations::full_criterion;
use super::twin::{nested_design, plan};
use crate::optimise::canonical;
use crate::overlap::overlapping;
use crate::settings::{Criterion, Settings};
use crate::starts::of_factors;
use crate::system::System;
use crate::{Moments, threads};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use std::collections::BTreeSet;

fn system(design: &Design, criterion: Criterion, pooling: bool) -> System {
    let settings = Settings { criterion, ..Settings::default() };
    let moments = Moments::accumulate(&design.data()).unwrap();
    System::new(&moments, &settings, pooling).unwrap()
}

/// Criterion and gradient against the twin and its differences; the same bits
/// on one thread and on two, in fresh memory and in used memory.
fn check(design: &Design, system: &System, criterion: Criterion) -> Result<(), TestCaseError> {
    let evaluate = |workers: usize| {
        threads::with_workers(workers, || {
            let s = system.solve(&design.theta).unwrap();
            (system.criterion(&s), system.criterion_gradient(&s))
        })
    };
    let (value, gradient) = evaluate(1);
    let lengths = [system.shape.panels_len; 6];
    system.scratch.soil(&lengths);
    prop_assert_eq!(&evaluate(2), &(value, gradient.clone()));
    let twin = full_criterion(design, criterion);
    prop_assert!((value - twin).abs() < 1e-9 * (1.0 + twin.abs()), "{value} against {twin}");
    for (i, g) in gradient.iter().enumerate() {
        let at = |h: f64| {
            let mut other = design.clone();
            other.theta[i] += h;
            full_criterion(&other, criterion)
        };
        let h = 1e-3;
        let numeric = (8.0 * (at(h) - at(-h)) - (at(2.0 * h) - at(-2.0 * h))) / (12.0 * h);
        let size = 1.0 + g.abs() + twin.abs() / 100.0;
        prop_assert!((g - numeric).abs() < 1e-6 * size, "entry {i}: {g} against {numeric}");
    }
    Ok(())
}

/// How the pools keep their cross-products: (summed, sparse, apart).
type Kinds = (bool, bool, bool);

/// Small balanced designs, by effects and whether their groups share a design.
fn small(seed: u64, effects: usize, shared: bool, correlated: bool) -> Design {
    let plan = Plan {
        seed,
        rows: 96,
        columns: 2,
        factors: vec![(12, effects, correlated), (3, 1, true)],
        weighting: if shared { Weighting::None } else { Weighting::Real },
        balanced: shared,
    };
    plan.simulate()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// Pooled intercepts, pooled identical slope designs, sparse sums, and
    /// groups apart for slopes; every pool with members counted once.
    #[test]
    fn pools_of_each_kind_match_the_twin(seed: u64, correlated: bool) {
        let cases: [(usize, bool, Kinds); 4] = [
            (1, true, (true, false, false)),
            (2, true, (true, false, false)),
            (1, false, (false, true, false)),
            (2, false, (false, false, true)),
        ];
        for (effects, shared, kinds) in cases {
            let design = small(seed, effects, shared, correlated);
            for criterion in [Criterion::Reml, Criterion::Ml] {
                let system = system(&design, criterion, true);
                prop_assert_eq!(system.pools.kinds(), kinds);
                check(&design, &system, criterion)?;
            }
        }
    }

    /// Factors that fall apart by site: blocks chosen because they are cheaper.
    #[test]
    fn blocks_chosen_by_cost_match_the_twin(
        seed: u64, sites in 4_usize..7, correlated: bool, balanced: bool,
    ) {
        let design = nested_design(seed, [sites, 8, 2, 6], correlated, balanced);
        for pooling in [true, false] {
            let system = system(&design, Criterion::Reml, pooling);
            prop_assert_eq!(system.shape.blocks().len(), sites);
            check(&design, &system, Criterion::Reml)?;
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Two regions with columns of their own: a block meets a part of the border. Of one column
    /// the sums with blocks and seasons vanish, and what its trees, of three and six seasons, take
    /// from them does not.
    #[test]
    fn blocks_that_meet_part_of_the_border_match_the_twin(
        seed: u64, sites in 4_usize..7, balanced: bool,
    ) {
        let mut design = nested_design(seed, [sites, 8, 2, 6], false, balanced);
        let n = design.y.len();
        let (site, season) = (|row: usize| row / 96, |row: usize| row % 6);
        let short = |row: usize| row / 6 % 2 == 1;
        design.slopes[2] = (0..n).map(|row| (season(row) as f64).sin()).collect();
        for region in 0..2 {
            let own = |row: usize| f64::from(u8::from(site(row) % 2 == region));
            for power in [1, 2] {
                let values = (0..n)
                    .map(|row| own(row) * (1.0 + ((row * 7 + region) % 11) as f64).powi(power));
                design.x.push(values.collect());
            }
            let sign = |row: usize| if short(row) { -1.0 } else { 1.0 };
            let early = |row: usize| f64::from(u8::from(season(row) < 3));
            design.x.push((0..n).map(|row| own(row) * sign(row) * early(row)).collect());
        }
        let kept: Vec<usize> = (0..n).filter(|row| !short(*row) || season(*row) < 3).collect();
        let design = design.rows(&kept);
        for criterion in [Criterion::Reml, Criterion::Ml] {
            for pooling in [true, false] {
                let system = system(&design, criterion, pooling);
                prop_assert_eq!(system.shape.blocks().len(), sites);
                for part in system.shape.blocks() {
                    let met = part.met.as_ref().map_or(0, Vec::len);
                    prop_assert!(met > 0 && met < system.shape.border().size - 2, "{}", met);
                }
                check(&design, &system, criterion)?;
                // Without spread of the trees that column has no sums with the block's.
                let mut flat = design.clone();
                flat.theta[1] = 0.0;
                check(&flat, &system, criterion)?;
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, ..ProptestConfig::default() })]

    /// Two large crossed factors: a dense system that is factored and inverted
    /// by halves, and sparse sums that two threads share.
    #[test]
    fn large_crossed_factors_match_the_twin(
        seed: u64, own in 1_usize..3, other in 1_usize..3, correlated: bool,
    ) {
        let plan = Plan {
            seed,
            rows: 9000,
            columns: 2,
            factors: vec![(300 / other, other, correlated), (310, own, correlated), (4, 1, true)],
            weighting: if own == 1 { Weighting::None } else { Weighting::Real },
            balanced: false,
        };
        let design = plan.simulate();
        let criterion = if correlated { Criterion::Reml } else { Criterion::Ml };
        let system = system(&design, criterion, true);
        prop_assert!(system.shape.blocks().is_empty() && system.m() > 300);
        let (_, sparse, apart) = system.pools.kinds();
        prop_assert_eq!((sparse, apart), (own == 1, own == 2));
        prop_assert_eq!(system.pools.shared(), own == 1);
        check(&design, &system, criterion)?;
    }
}

/// Whether two factors group the rows alike.
fn confounded(codes: &[Vec<u32>]) -> bool {
    let groups = |pairs: Vec<(u32, u32)>| pairs.into_iter().collect::<BTreeSet<_>>().len();
    codes.iter().enumerate().any(|(i, one)| {
        codes.iter().skip(i + 1).any(|other| {
            let both = groups(one.iter().copied().zip(other.iter().copied()).collect());
            let alone = |own: &[u32]| groups(own.iter().map(|code| (*code, 0)).collect());
            both == alone(one) && both == alone(other)
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// Factors that hardly overlap get no other start: those starts lead
    /// nowhere better, and no theta tried at random is better.
    #[test]
    fn factors_apart_need_no_other_start(
        seed: u64, a in 11_u32..15, b in 11_u32..15, sizes in prop::array::uniform2(0.0..1.5_f64),
    ) {
        let rows = (2 * a * b) as usize;
        let plan = Plan {
            seed,
            rows,
            columns: 2,
            factors: vec![(a as usize, 1, true), (b as usize, 1, true)],
            weighting: Weighting::None,
            balanced: false,
        };
        let mut design = plan.simulate();
        for i in 0..rows {
            let (first, second) = (i as u32 % a, i as u32 / a % b);
            (design.codes[0][i], design.codes[1][i]) = (first, second);
            design.y[i] += sizes[0] * (2.3 * f64::from(first)).sin();
            design.y[i] += sizes[1] * (1.9 * f64::from(second)).sin();
        }
        let settings = Settings::default();
        let system = system(&design, Criterion::Reml, true);
        prop_assert!(!overlapping(&system));
        let fitted = crate::fit(&design.data(), &settings).unwrap();
        let best = fitted.criterion() - 1e-8 * (1.0 + fitted.criterion().abs());
        let mut objective = crate::objective::Objective::new(&system);
        for start in of_factors(&system) {
            let (theta, end) = objective.search(&start, &[0, 1], 200, 1e-6).unwrap();
            prop_assert!(best <= end.value, "{theta:?} {}", end.value);
        }
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        for _ in 0..20 {
            design.theta = vec![2.0 * rng.random::<f64>(), 2.0 * rng.random::<f64>()];
            prop_assert!(best <= full_criterion(&design, Criterion::Reml));
        }
    }

    /// The Hessian that the last steps leave behind agrees with the careful
    /// one of differences about the end, and both ways end at one theta.
    #[test]
    fn the_hessian_of_the_last_steps_is_that_of_the_end(plan in plan()) {
        // With more effects than rows there are many minima.
        let effects: usize = plan.factors.iter().map(|(l, k, _)| l * k).sum();
        prop_assume!(plan.rows > effects + plan.columns);
        let design = plan.simulate();
        // Of two factors that group the rows alike only the sum of their variances shows: their thetas
        // end anywhere on a ridge of one height.
        prop_assume!(!confounded(&design.codes));
        let system = system(&design, Criterion::Reml, true);
        let mut objective = crate::objective::Objective::new(&system);
        let ones = system.entries.iter().map(|e| f64::from(u8::from(e.is_diagonal())));
        let start: Vec<f64> = ones.zip(&system.column_rms).map(|(x, rms)| x / rms).collect();
        let (near, rested) = objective.approach(&start, &|_, _| false).unwrap();
        let found = if rested { objective.newton(&near, 1e-6) } else { None };
        let Some(found) = found else { return Ok(()) };
        let careful = objective.curvature(&found.theta).unwrap();
        let size = |i: usize| careful[(i, i)].abs().sqrt();
        if let Some(hessian) = &found.hessian {
            for i in 0..near.len() {
                for j in 0..near.len() {
                    let error = (hessian[(i, j)] - careful[(i, j)]) / (size(i) * size(j));
                    prop_assert!(error.abs() < 0.1, "{hessian:?} against {careful:?}");
                }
            }
        }
        let all: Vec<usize> = (0..near.len()).collect();
        let (theta, end) = objective.search(&near, &all, 200, 1e-6).unwrap();
        prop_assert!((end.value - found.minimum.value).abs() < 1e-8 * (1.0 + end.value.abs()));
        let (one, other) = (canonical(&system, &theta), canonical(&system, &found.theta));
        for (i, rms) in system.column_rms.iter().enumerate() {
            // In standard errors, up to sqrt(2): some directions are nearly flat.
            let apart = (one[i] - other[i]) * rms / (other[i] * rms).abs().max(1.0) * size(i);
            prop_assert!(apart.abs() < 1e-3, "{one:?} {other:?} {careful:?}");
        }
    }
}
