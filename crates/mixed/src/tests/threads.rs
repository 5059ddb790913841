//! The same data give the same bytes on one thread, on two and on three.

use super::design::{Plan, Weighting};
use super::twin::nested_design;
use crate::integrate::{IntegrationSettings, Prior};
use crate::threads::with_workers;
use crate::{Data, Family, Fit, FixedColumn, GeneralisedData, Settings, fit, fit_generalised};
use std::fmt::Debug;

/// Debug writes every number in full: equal texts are equal bits.
fn same<T: Debug>(what: &str, run: impl Fn() -> T) {
    let alone = format!("{:?}", with_workers(1, &run));
    for workers in [2, 3] {
        assert!(alone == format!("{:?}", with_workers(workers, &run)), "{what} on {workers}");
    }
}

fn everything(fitted: &Fit, factors: &[&str]) -> String {
    let modes: Vec<_> = factors.iter().map(|f| fitted.conditional_modes(f).unwrap()).collect();
    format!(
        "{:?} {:?} {:?} {:?} {modes:?}",
        fitted.criterion(),
        fitted.record(),
        fitted.coefficients(),
        fitted.covariance()
    )
}

/// A pass in two parts, sparse and summed pools, halves of a dense system,
/// differences on threads.
#[test]
fn crossed_fit() {
    let plan = Plan {
        seed: 7,
        rows: 70_000,
        columns: 2,
        factors: vec![(280, 1, true), (3000, 1, true), (5, 1, true)],
        weighting: Weighting::None,
        balanced: false,
    };
    let design = plan.simulate();
    same("crossed", || {
        everything(&fit(&design.data(), &Settings::default()).unwrap(), &["f0", "f1", "f2"])
    });
}

/// Blocks and a border, groups apart, other starts on threads, degrees of
/// freedom, integration and draws.
#[test]
fn nested_fit_and_draws() {
    let design = nested_design(5, [5, 8, 3, 6], true, false);
    same("nested", || everything(&fit(&design.data(), &Settings::default()).unwrap(), &["f0"]));
    let plan = Plan {
        seed: 3,
        rows: 90,
        columns: 2,
        factors: vec![(14, 1, true), (5, 1, true)],
        weighting: Weighting::Counts,
        balanced: false,
    };
    let design = plan.simulate();
    same("draws", || {
        let fitted = fit(&design.data(), &Settings::default()).unwrap();
        let settings = IntegrationSettings::default();
        let posterior = fitted.integrate(&Prior::half_normal(1.0), &settings).unwrap();
        (posterior.record().clone(), posterior.draws(200, 1, &["f1"]).unwrap())
    });
}

/// The Hessian of a generalised model, a parameter at a time.
#[test]
fn generalised_fit() {
    let plan = Plan {
        seed: 9,
        rows: 2500,
        columns: 2,
        factors: vec![(60, 1, true), (9, 1, true)],
        weighting: Weighting::None,
        balanced: false,
    };
    let design = plan.simulate();
    let counts: Vec<f64> = design.y.iter().map(|y| (1.5 * y).exp().floor()).collect();
    let Data { factors, .. } = design.data();
    for family in [Family::Poisson, Family::NegativeBinomial] {
        same("generalised", || {
            let mut data = GeneralisedData::new(&counts)
                .intercept()
                .column(FixedColumn::new("x", design.x[1].as_slice()));
            for factor in &factors {
                data = data.factor(factor.clone());
            }
            let fitted = fit_generalised(&data, family).unwrap();
            format!("{:?} {:?}", fitted.record(), fitted.coefficients())
        });
    }
}
