//! Extended sums against the plain ones and the dense twin.

use super::design::{Design, Plan, Weighting};
use super::twin::{dense_criterion, plan};
use crate::exact::{ExactMoments, cancels};
use crate::fit::assemble;
use crate::optimise::optimise;
use crate::system::System;
use crate::{Criterion, Data, Deletion, Fit, FixedColumn, GroupSums, Moments, Settings};
use proptest::prelude::*;

/// With units that leave most of every number in place.
fn in_units(design: &Design) -> Data<'_> {
    let mut data = design.data().response_units(-0.3, 2.5);
    for column in &mut data.fixed[1..] {
        column.centre = 0.2;
        column.scale = 0.7;
    }
    data
}

fn held_at(system: System, theta: &[f64]) -> Fit {
    let settings = Settings::default();
    let mut optimum = optimise(&system, &settings).unwrap();
    optimum.solved = system.solve(theta).unwrap();
    assemble(system, &settings, optimum)
}

fn near(a: f64, b: f64, tolerance: f64) -> bool {
    a == b || (a - b).abs() < tolerance * (1.0 + b.abs()) || (a.is_nan() && b.is_nan())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, ..ProptestConfig::default() })]

    #[test]
    fn exact_sums_give_the_same_fit(plan in plan()) {
        let design = plan.simulate();
        let settings = Settings::default();
        let data = in_units(&design);
        let plain = Moments::accumulate(&data).unwrap();
        for criterion in [Criterion::Reml, Criterion::Ml] {
            let settings = Settings { criterion, ..settings.clone() };
            let slow = dense_criterion(&design, criterion);
            for exact in [
                ExactMoments::about_first_row(plain.clone(), &data),
                ExactMoments::accumulate(&data).unwrap(),
                in_chunks(&design),
            ] {
                let system = exact.system(&settings).unwrap();
                let fast = system.criterion(&system.solve(&design.theta).unwrap());
                prop_assert!(near(fast, slow, 1e-9), "{fast} against {slow}");
            }
        }
        let exact = ExactMoments::about_first_row(plain.clone(), &data);
        let a = held_at(exact.system(&settings).unwrap(), &design.theta);
        let b = held_at(System::new(&plain, &settings, true).unwrap(), &design.theta);
        prop_assert!(a.record().exact_sums && !b.record().exact_sums);
        prop_assert!(near(a.sigma(), b.sigma(), 1e-8));
        for (x, y) in a.estimates().iter().zip(b.estimates()) {
            prop_assert!(near(*x, y, 1e-7), "{x} against {y}");
        }
        for (x, y) in a.covariance().values().iter().zip(b.covariance().values()) {
            prop_assert!(near(*x, *y, 1e-7));
        }
        for name in a.factor_names() {
            let (m, n) =
                (a.conditional_modes(&name).unwrap(), b.conditional_modes(&name).unwrap());
            for (x, y) in m.modes.values().iter().zip(n.modes.values()) {
                prop_assert!(near(*x, *y, 1e-7));
            }
            for (x, y) in m.variances.values().iter().zip(n.variances.values()) {
                prop_assert!(near(*x, *y, 1e-7));
            }
        }
        let sums = GroupSums::accumulate(&data).unwrap();
        let (m, n) = (a.influence(&sums).unwrap(), b.influence(&sums).unwrap());
        for (x, y) in m.groups.iter().zip(&n.groups) {
            if let (
                Deletion::Changed { change: c, cooks_distance: d },
                Deletion::Changed { change: e, cooks_distance: f },
            ) = (&x.deletion, &y.deletion)
            {
                prop_assert!(near(*d, *f, 1e-6));
                for (x, y) in c.iter().zip(e) {
                    prop_assert!(near(*x, *y, 1e-6));
                }
            } else {
                prop_assert!(x.deletion == y.deletion);
            }
        }
    }
}

fn in_chunks(design: &Design) -> ExactMoments {
    let order: Vec<usize> = (0..design.y.len()).rev().collect();
    let mut merged = ExactMoments::accumulate(&in_units(&design.rows(&[]))).unwrap();
    for chunk in order.chunks(7) {
        let rows = design.rows(chunk);
        merged.merge(&ExactMoments::accumulate(&in_units(&rows)).unwrap()).unwrap();
    }
    merged
}

/// Columns that depend on earlier ones, one of them all zeros, are left out
/// alike, and the same contrasts stay estimable.
#[test]
fn dependent_columns_are_left_out_alike() {
    let plan = Plan {
        seed: 11,
        rows: 40,
        columns: 4,
        factors: vec![(6, 1, false)],
        weighting: Weighting::Real,
        balanced: false,
    };
    let mut design = plan.simulate();
    for i in 0..40 {
        design.x[2][i] = 3.0 * design.x[1][i] - 2.0;
        design.x[3][i] = 0.0;
    }
    let data = design.data();
    let settings = Settings::default();
    let moments = Moments::accumulate(&data).unwrap();
    let plain = crate::fit_moments(&moments, &settings).unwrap();
    let exact = crate::fit_exact(&data, &settings).unwrap();
    assert_eq!(plain.status(), exact.status());
    let asked = [
        ([1.0, 0.0, 0.0, 0.0], false),
        ([0.0, 1.0, 0.0, 0.0], false),
        ([0.0, 1.0, 3.0, 0.0], true),
        ([1.0, 0.0, -2.0, 0.0], true),
        ([1.0, 0.0, -2.0, 1.0], false),
    ];
    for (l, estimable) in asked {
        let (a, b) = (exact.contrast(&l, 0.95).unwrap(), plain.contrast(&l, 0.95).unwrap());
        assert_eq!(a.estimated().is_some(), estimable, "{l:?}");
        assert_eq!(b.estimated().is_some(), estimable, "{l:?}");
        if let (Some(a), Some(b)) = (a.estimated(), b.estimated()) {
            assert!(near(a.estimate, b.estimate, 1e-8) && near(a.std_error, b.std_error, 1e-8));
            assert!(near(a.df, b.df, 1e-5));
        }
    }
}

/// Rounding of many rows makes a column that depends on others look like one of its own, about
/// 1e-14 of its sum of squares; extended sums would tell nothing more of it.
#[test]
fn a_column_within_rounding_of_many_rows_needs_no_extended_sums() {
    let rows = 200_000;
    let mut state = 7_u64;
    let mut draw = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let [a, e, y] = [(); 3].map(|()| (0..rows).map(|_| 0.1 + draw()).collect::<Vec<f64>>());
    let b: Vec<f64> = a.iter().zip(&e).map(|(a, e)| a + 0.2 * e).collect();
    // What a and b differ by, and with a step something of its own: above rounding, below 1e-7.
    let near = |step: f64| -> Vec<f64> {
        let noise = y.iter().rev();
        a.iter().zip(&b).zip(noise).map(|((a, b), own)| b - a + step * own).collect()
    };
    let moments = |third: Vec<f64>| {
        let data = Data::new(&y)
            .intercept()
            .column(FixedColumn::new("a", &a[..]))
            .column(FixedColumn::new("b", &b[..]))
            .column(FixedColumn::new("third", third));
        Moments::accumulate(&data).unwrap()
    };
    assert!(!cancels(&moments(near(0.0))));
    assert!(cancels(&moments(near(1e-5))));
}
