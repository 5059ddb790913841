//! Fits from sums by design of the groups against fits of the rows.

use super::design::{Design, Plan, Weighting};
use crate::{
    Data, DeclaredBasis, Error, Place, PooledMoments, Settings, fit, integrate::IntegrationSettings,
};
use proptest::prelude::*;
use std::collections::BTreeMap;

/// Trees, blocks and seasons, crossed; some trees have one row more.
fn design(seed: u64, rows: usize) -> Design {
    Plan {
        seed,
        rows,
        columns: 4,
        factors: vec![(5, 2, false), (30, 1, true), (8, 1, true)],
        weighting: Weighting::None,
        balanced: true,
    }
    .simulate()
}

/// The sums as a table of rows and one of groups give them, in plain arithmetic: every product of
/// two entries of a row, and of two sums of a group, one by one.
fn pooled(design: &Design, basis: &DeclaredBasis) -> Result<PooledMoments, Error> {
    let shape = Design { y: Vec::new(), ..design.rows(&[]) };
    let mut out = PooledMoments::new(&shape.data(), "f1", basis)?;
    let mut trees: BTreeMap<u32, (u32, Vec<(Place, f64)>)> = BTreeMap::new();
    for row in 0..design.y.len() {
        let x: Vec<f64> = design.x.iter().map(|x| x[row]).collect();
        let mut entries: Vec<(Place, f64)> = Vec::new();
        for (j, column) in basis.columns.iter().enumerate() {
            entries.push((Place::Fixed(j), column.iter().zip(&x).map(|(t, x)| t * x).sum()));
        }
        let fitted: f64 = basis.start.iter().zip(&x).map(|(b, x)| b * x).sum();
        entries.push((Place::Response, (design.y[row] - fitted) / basis.response_scale));
        for factor in [0, 2] {
            let level = design.codes[factor][row] as usize;
            entries.push((Place::Effect { factor, level, effect: 0 }, 1.0));
            if factor == 0 {
                let slope = design.slopes[0][row];
                entries.push((Place::Effect { factor, level, effect: 1 }, slope));
            }
        }
        out.add_rows(1);
        for (at, (a, x)) in entries.iter().enumerate() {
            for (b, y) in &entries[..=at] {
                out.add(*a, *b, x * y)?;
            }
        }
        let tree = trees.entry(design.codes[1][row]).or_default();
        tree.0 += 1;
        for (place, x) in entries {
            match tree.1.iter_mut().find(|(other, _)| *other == place) {
                Some((_, sum)) => *sum += x,
                None => tree.1.push((place, x)),
            }
        }
    }
    let mut pools: BTreeMap<u32, usize> = BTreeMap::new();
    for (rows, _) in trees.values() {
        let count = trees.values().filter(|(other, _)| other == rows).count() as u64;
        pools.entry(*rows).or_insert_with(|| out.add_groups(f64::from(*rows), count));
    }
    for (rows, sums) in trees.values() {
        for (at, (a, x)) in sums.iter().enumerate() {
            for (b, y) in &sums[..=at] {
                out.add_pooled(pools[rows], *a, *b, x * y)?;
            }
        }
    }
    Ok(out)
}

fn near(a: f64, b: f64, size: f64) -> bool {
    (a - b).abs() <= 1e-10 * size
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// The criterion anywhere, and at the minimum everything that is read off a fit.
    #[test]
    fn pooled_sums_give_the_fit_of_the_rows(seed: u64, rows in 90_usize..140) {
        let design = design(seed, rows);
        let settings = Settings::default();
        let whole = fit(&design.data(), &settings).unwrap();
        let basis = DeclaredBasis::of(&design.rows(&(0..60).collect::<Vec<_>>()).data()).unwrap();
        let small = pooled(&design, &basis).unwrap().fit(&settings).unwrap();
        prop_assert_eq!(small.n_rows(), whole.n_rows());
        prop_assert_eq!(small.status(), whole.status());
        let (a, b) = (small.criterion_at(&design.theta).unwrap(),
            whole.criterion_at(&design.theta).unwrap());
        prop_assert!(near(a, b, 1.0 + b.abs()), "{a} {b}");
        for (a, b) in small.theta().iter().zip(whole.theta()) {
            prop_assert!(near(a.value, b.value, 1.0 + b.value.abs()), "{a:?} {b:?}");
        }
        let (a, b) = (small.criterion(), whole.criterion());
        prop_assert!(near(a, b, 1.0 + b.abs()), "{a} {b}");
        for (a, b) in small.estimates().iter().zip(whole.estimates()) {
            prop_assert!(near(*a, b, 1.0 + b.abs()), "{a} {b}");
        }
        let (c, d) = (small.covariance(), whole.covariance());
        for i in 0..4 {
            for j in 0..4 {
                let size = (d[(i, i)] * d[(j, j)]).sqrt();
                prop_assert!(near(c[(i, j)], d[(i, j)], size), "{} {}", c[(i, j)], d[(i, j)]);
            }
        }
        // Integration and the levels of the other factors need no tree. The points of an integral
        // lie where its search for the mode ended, so both fits are drawn from at the same points.
        let prior = crate::Prior::half_normal(1.0);
        let integration = IntegrationSettings { points: 64, ..IntegrationSettings::default() };
        let rows = whole.integrate(&prior, &integration).unwrap();
        let carried = rows.carried(&small).unwrap();
        let (a, b) = (carried.draws(5, 3, &["f2"]).unwrap(), rows.draws(5, 3, &["f2"]).unwrap());
        for (a, b) in a.values().values().iter().zip(b.values().values()) {
            prop_assert!(near(*a, *b, 1.0 + b.abs()), "{a} {b}");
        }
        let own = small.integrate(&prior, &integration).unwrap();
        let (a, b) = (own.record().effective_nodes, rows.record().effective_nodes);
        prop_assert!((a - b).abs() < 1e-3 * b, "{a} {b}");
    }
}

#[test]
fn what_needs_each_group_is_refused() {
    let design = design(7, 120);
    let basis = DeclaredBasis::of(&design.data()).unwrap();
    let fit = pooled(&design, &basis).unwrap().fit(&Settings::default()).unwrap();
    let refused = Error::PooledGroups { factor: "f1".into() };
    assert_eq!(fit.conditional_modes("f1").unwrap_err(), refused);
    assert_eq!(fit.kenward_roger().unwrap_err(), refused);
    assert!(fit.conditional_modes("f2").is_ok());
    let posterior = fit.integrate(&crate::Prior::half_normal(1.0), &IntegrationSettings::default());
    assert_eq!(posterior.unwrap().draws(3, 1, &["f1"]).unwrap_err(), refused);
    let shape = design.rows(&[]);
    assert!(matches!(PooledMoments::new(&shape.data(), "f9", &basis), Err(Error::Unknown { .. })));
    assert_eq!(
        PooledMoments::new(&shape.data(), "f0", &basis).unwrap_err(),
        Error::PooledGroups { factor: "f0".into() }
    );
}

/// A basis of other columns, and columns that depend on each other, are refused.
#[test]
fn a_basis_that_does_not_fit_is_refused() {
    let design = design(7, 120);
    let basis = DeclaredBasis::of(&design.data()).unwrap();
    let short = DeclaredBasis { start: vec![0.0; 3], ..basis };
    let shape = design.rows(&[]);
    assert!(matches!(
        PooledMoments::new(&shape.data(), "f1", &short),
        Err(Error::LengthMismatch { .. })
    ));
    let twice = Data::new(&design.y).intercept();
    let column = crate::FixedColumn::new("again", vec![2.0; design.y.len()]);
    assert_eq!(
        DeclaredBasis::of(&twice.column(column)).unwrap_err(),
        Error::DependentColumns { columns: vec!["again".into()] }
    );
}
