//! Leaving a group out against the same criterion's solution without its rows.

use super::design::{Design, Plan, Weighting};
use super::twin::{fitted_at, plan};
use crate::{Deletion, GroupSums};
use faer::linalg::solvers::Solve;
use faer::{Mat, Side};
use proptest::prelude::*;

/// (X'V^-1X)^-1 X'V^-1y with V = W^-1 + Z Lambda Lambda'Z', and X'V^-1X.
fn dense_coefficients(design: &Design) -> Option<(Vec<f64>, Mat<f64>)> {
    let (n, p) = (design.y.len(), design.x.len());
    let v = super::twin::dense_covariance(design);
    let x = Mat::from_fn(n, p, |i, j| design.x[j][i]);
    let y = Mat::from_fn(n, 1, |i, _| design.y[i]);
    let vx = v.llt(Side::Lower).ok()?.solve(&x);
    let xvx = x.transpose() * &vx;
    let spectrum = xvx.self_adjoint_eigen(Side::Lower).ok()?;
    if spectrum.S()[0] < 1e-6 * spectrum.S()[p - 1] {
        return None;
    }
    let b = xvx.llt(Side::Lower).ok()?.solve(vx.transpose() * &y);
    Some(((0..p).map(|j| b[(j, 0)]).collect(), xvx))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, ..ProptestConfig::default() })]

    #[test]
    fn leaving_a_group_out_matches_the_dense_twin(plan in plan()) {
        let design = plan.simulate();
        let fitted = fitted_at(&design);
        let half = plan.rows / 2;
        let mut sums = GroupSums::accumulate(
            &design.rows(&(0..half).collect::<Vec<_>>()).data()).unwrap();
        sums.merge(&GroupSums::accumulate(
            &design.rows(&(half..plan.rows).collect::<Vec<_>>()).data()).unwrap()).unwrap();
        let influence = fitted.influence(&sums).unwrap();
        let f: usize = influence.factor[1..].parse().unwrap();
        let (all, information) = dense_coefficients(&design).unwrap();
        let variance = fitted.sigma().powi(2);
        for group in &influence.groups {
            let rest: Vec<usize> =
                (0..plan.rows).filter(|i| design.codes[f][*i] != group.level).collect();
            prop_assert_eq!(rest.len() + group.rows as usize, plan.rows);
            let Some((without, _)) = dense_coefficients(&design.rows(&rest)) else { continue };
            let Deletion::Changed { change, cooks_distance } = &group.deletion else {
                prop_assert!(false, "the rest identifies the coefficients");
                continue;
            };
            let p = all.len();
            let expected: Vec<f64> = (0..p).map(|j| without[j] - all[j]).collect();
            let size = 1.0 + expected.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
            for (a, b) in change.iter().zip(&expected) {
                prop_assert!((a - b).abs() < 1e-8 * size, "{a} against {b}");
            }
            let mut cook = 0.0;
            for i in 0..p {
                for j in 0..p {
                    cook += expected[i] * information[(i, j)] * expected[j];
                }
            }
            cook /= p as f64 * variance;
            prop_assert!((cooks_distance - cook).abs() < 1e-7 * (1.0 + cook));
        }
    }
}

/// A column that only one group carries cannot be estimated without it.
#[test]
fn a_column_of_one_group_goes_with_it() {
    let plan = Plan {
        seed: 5,
        rows: 40,
        columns: 2,
        factors: vec![(5, 1, false)],
        weighting: Weighting::None,
        balanced: false,
    };
    let mut design = plan.simulate();
    for i in 0..40 {
        design.x[1][i] = if design.codes[0][i] == 3 { 1.0 + i as f64 } else { 0.0 };
    }
    let fit = crate::fit(&design.data(), &crate::Settings::default()).unwrap();
    let influence = fit.influence(&GroupSums::accumulate(&design.data()).unwrap()).unwrap();
    for group in influence.groups {
        assert_eq!(group.deletion == Deletion::NotEstimable, group.level == 3, "{group:?}");
    }
    // Sums of other rows are refused.
    let fewer = design.rows(&(0..39).collect::<Vec<_>>());
    assert!(fit.influence(&GroupSums::accumulate(&fewer.data()).unwrap()).is_err());
}
