//! Fits of published data against lme4, lmerTest and pbkrtest, whose values
//! are made by notebooks-free-scripts/mixed-reference.
//!
//! Tolerances: criterion 1e-8 relative (both are at the optimum, where it is
//! flat); theta 1e-4 and coefficients 1e-6, standard errors 1e-5 (lme4's
//! search has no gradient); degrees of freedom 1e-3 (numeric curvature there).
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::{Case, Shape, Table, Values, close, intercept};
use mixed::{
    CoefficientValue, Contrast, Covariance, Data, Fit, FixedColumn, JointTest, Settings, Status,
    fit,
};

fn check(case: &str, shapes: Vec<Shape>, settings: &Settings) -> Fit {
    let owned = Case::new(case, shapes);
    let fit = fit(&owned.data(), settings).unwrap();
    let values = Values::read(case);
    close("criterion", fit.criterion(), values.get("criterion", "all"), 1e-8);
    close("sigma", fit.sigma(), values.get("sigma", "all"), 1e-5);
    assert_eq!(fit.n_rows() as f64, values.get("rows", "all"));
    for theta in fit.theta() {
        let expected = values.get("theta", &theta.name);
        assert!(
            (theta.value - expected).abs() <= 1e-4 * expected.abs().max(1.0),
            "{case} theta {}: {} against {expected}",
            theta.name,
            theta.value
        );
    }
    let p = fit.coefficients().len();
    let covariance = fit.covariance();
    for (j, c) in fit.coefficients().into_iter().enumerate() {
        let CoefficientValue::Estimated { estimate, std_error } = c.value else {
            panic!("{} not estimable", c.name)
        };
        let size = values.get("std_error", &c.name);
        let expected = values.get("estimate", &c.name);
        assert!(
            (estimate - expected).abs() <= 1e-6 * expected.abs().max(size),
            "{case} {}: {estimate} against {expected}",
            c.name
        );
        close(&c.name, std_error, size, 1e-5);
        close(&c.name, covariance[(j, j)].sqrt(), size, 1e-5);
        let mut l = vec![0.0; p];
        l[j] = 1.0;
        let Contrast::Estimated(row) = fit.contrast(&l, 0.95).unwrap() else {
            panic!("{} not estimable", c.name)
        };
        close(&format!("{case} df {}", c.name), row.df, values.get("df", &c.name), 1e-3);
        let expected = values.get("p_value", &c.name);
        assert!((row.p_value - expected).abs() <= 1e-3 * expected + 1e-12);
    }
    if p > 1 {
        let l: Vec<Vec<f64>> =
            (1..p).map(|j| (0..p).map(|i| f64::from(u8::from(i == j))).collect()).collect();
        let JointTest::Tested { statistic, df_numerator, df_denominator, .. } =
            fit.joint_test(&l).unwrap()
        else {
            panic!("joint test not estimable")
        };
        close("F", statistic, values.get("joint_f", "all"), 1e-4);
        close("F df", df_numerator, values.get("joint_ndf", "all"), 0.0);
        close("F ddf", df_denominator, values.get("joint_ddf", "all"), 1e-3);
    }
    check_kenward_roger(&fit, &values);
    // glmmTMB, by automatic differentiation; its search stops near 1e-6.
    for (_, expected) in values.all("tmb_criterion") {
        close("glmmTMB criterion", fit.criterion(), expected, 1e-8);
        close("glmmTMB sigma", fit.sigma(), values.get("tmb_sigma", "all"), 1e-4);
    }
    for factor in fit.factor_names() {
        let modes = fit.conditional_modes(&factor).unwrap();
        for level in 0..modes.modes.n_rows() {
            for (e, effect) in modes.effects.iter().enumerate() {
                let expected = values.get("mode", &format!("{factor}/{effect}/{level}"));
                let found = modes.modes[(level, e)];
                assert!(
                    (found - expected).abs() <= 1e-4 * fit.sigma(),
                    "{case} mode {factor} {level} {effect}: {found} against {expected}"
                );
            }
        }
    }
    assert!(!matches!(fit.status(), Status::NotConverged { .. }), "{:?}", fit.status());
    fit
}

/// Against pbkrtest, where it has values (REML, no weights, interior).
fn check_kenward_roger(fit: &Fit, values: &Values) {
    if values.all("kr_df").is_empty() {
        return;
    }
    let names = fit.coefficient_names();
    let p = names.len();
    let kr = fit.kenward_roger().unwrap();
    let unit = |j: usize| -> Vec<f64> { (0..p).map(|i| f64::from(u8::from(i == j))).collect() };
    for (j, name) in names.iter().enumerate() {
        let row = kr.contrast(&unit(j), 0.95).unwrap();
        let row = row.estimated().unwrap();
        close(&format!("kr se {name}"), row.std_error, values.get("kr_std_error", name), 1e-5);
        close(&format!("kr df {name}"), row.df, values.get("kr_df", name), 1e-4);
    }
    if p > 1 {
        let l: Vec<Vec<f64>> = (1..p).map(unit).collect();
        let JointTest::Tested { statistic, df_denominator, .. } = kr.joint_test(&l).unwrap() else {
            panic!("joint test not estimable")
        };
        close("kr F", statistic, values.get("kr_joint_f", "all"), 1e-4);
        close("kr F ddf", df_denominator, values.get("kr_joint_ddf", "all"), 1e-4);
    }
}

fn slopes(covariance: Covariance) -> Vec<Shape> {
    vec![Shape { name: "Subject", slopes: &["Days"], covariance }]
}

#[test]
fn oats_split_plot() {
    // The comparison with pbkrtest is skipped without values: here it must not be.
    assert_eq!(Values::read("oats").all("kr_df").len(), 12);
    let fit = check("oats", vec![intercept("plot"), intercept("B")], &Settings::default());
    assert_eq!(fit.status(), &Status::Interior);
    // Yates (1935) by analysis of variance: block 214.48, main plot 106.06, residual 177.08.
    let parts = fit.variance_components().unwrap();
    close("plot", parts.factors[0].standard_deviations[0].powi(2), 106.06, 1e-4);
    close("block", parts.factors[1].standard_deviations[0].powi(2), 214.48, 1e-4);
    close("residual", parts.residual.powi(2), 177.08, 1e-4);
}

#[test]
fn oats_by_maximum_likelihood() {
    check("oats-linear-ml", vec![intercept("plot"), intercept("B")], &Settings::ml());
}

#[test]
fn oats_with_weights() {
    check("oats-weighted", vec![intercept("plot"), intercept("B")], &Settings::default());
}

#[test]
fn dyestuff() {
    check("dyestuff", vec![intercept("Batch")], &Settings::default());
    check("dyestuff-ml", vec![intercept("Batch")], &Settings::ml());
}

#[test]
fn dyestuff2_is_on_the_boundary() {
    let fit = check("dyestuff2", vec![intercept("Batch")], &Settings::default());
    assert_eq!(fit.status(), &Status::Boundary { terms: vec!["Batch.intercept".into()] });
    let parts = fit.variance_components().unwrap();
    assert_eq!(parts.factors[0].standard_deviations[0], 0.0);
    let upper = parts.factors[0].upper_limits[0].unwrap();
    // For a balanced one-way layout the profiled deviance is known in closed
    // form from the two sums of squares (Searle, Casella, McCulloch 1992).
    let table = Table::read("dyestuff2");
    let (y, batch) = (table.get("y"), table.codes("Batch"));
    let (a, n) = (6.0, 5.0);
    let grand = y.iter().sum::<f64>() / 30.0;
    let mut between = 0.0;
    let mut within = 0.0;
    for g in 0..6 {
        let mine = || (0..30).filter(|i| batch[*i] == g).map(|i| y[i]);
        let mean = mine().sum::<f64>() / n;
        between += n * (mean - grand).powi(2);
        within += mine().map(|v| (v - mean).powi(2)).sum::<f64>();
    }
    let parts_at = |t: f64| {
        let c = 1.0 + n * t * t;
        let rss = within + between / c;
        ((a - 1.0) * c.ln() + 29.0 * rss.ln(), (rss / 29.0).sqrt())
    };
    let (mut low, mut high) = (0.0, 10.0);
    for _ in 0..200 {
        let mid = 0.5 * (low + high);
        if parts_at(mid).0 - parts_at(0.0).0 > 2.705_543_454 {
            high = mid;
        } else {
            low = mid;
        }
    }
    close("upper limit", upper, high * parts_at(high).1, 1e-6);
}

#[test]
fn penicillin_crossed() {
    check("penicillin", vec![intercept("plate"), intercept("sample")], &Settings::default());
}

#[test]
fn sleepstudy_slopes() {
    check("sleepstudy", slopes(Covariance::Correlated), &Settings::default());
    check("sleepstudy-ml", slopes(Covariance::Correlated), &Settings::ml());
    check("sleepstudy-independent", slopes(Covariance::Independent), &Settings::default());
    check("sleepstudy-weighted", slopes(Covariance::Correlated), &Settings::default());
}

#[test]
fn cake() {
    check("cake", vec![intercept("batch")], &Settings::default());
}

#[test]
fn kiwishade() {
    check("kiwishade", vec![intercept("plot"), intercept("block")], &Settings::default());
}

#[test]
fn declared_units_do_not_leak() {
    // The same fit with other internal units gives the same results in user units.
    let case = Case::new("cake", vec![intercept("batch")]);
    let plain = fit(&case.data(), &Settings::default()).unwrap();
    let mut data = case.data().response_units(30.0, 8.0);
    for column in &mut data.fixed {
        if column.name.contains("temp") {
            column.centre = 200.0;
            column.scale = 17.0;
        }
    }
    let scaled = fit(&data, &Settings::default()).unwrap();
    close("criterion", scaled.criterion(), plain.criterion(), 1e-12);
    close("sigma", scaled.sigma(), plain.sigma(), 1e-8);
    for (a, b) in scaled.estimates().iter().zip(plain.estimates()) {
        close("estimate", *a, b, 1e-8);
    }
    let (a, b) = (scaled.covariance(), plain.covariance());
    for (x, y) in a.values().iter().zip(b.values()) {
        close("covariance", *x, *y, 1e-6);
    }
    let (a, b) =
        (scaled.conditional_modes("batch").unwrap(), plain.conditional_modes("batch").unwrap());
    for (x, y) in a.modes.values().iter().zip(b.modes.values()) {
        close("mode", *x, *y, 1e-7);
    }
    for (x, y) in a.variances.values().iter().zip(b.variances.values()) {
        close("variance", *x, *y, 1e-7);
    }
}

/// Certified values of NIST StRD Norris, read from scipy's own test of them.
#[test]
fn nist_norris() {
    let table = Table::read("norris");
    let text = std::fs::read_to_string(common::folder().join("norris-certified.csv")).unwrap();
    let certified = |name: &str| -> f64 {
        let line = text.lines().find(|l| l.starts_with(&format!("result.{name},")));
        line.unwrap().split(',').nth(1).unwrap().parse().unwrap()
    };
    let data = Data::new(table.get("y"))
        .response_units(400.0, 1.0)
        .intercept()
        .column(FixedColumn::new("x", table.get("x")).units(400.0, 300.0));
    let fit = fit(&data, &Settings::default()).unwrap();
    let digits = |a: f64, b: f64| -((a - b).abs() / b.abs()).max(1e-16).log10();
    let b = fit.estimates();
    let v = fit.covariance();
    let found = [
        ("intercept", b[0], 10.0),
        ("slope", b[1], 10.0),
        ("intercept_stderr", v[(0, 0)].sqrt(), 9.0),
        ("stderr", v[(1, 1)].sqrt(), 9.0),
    ];
    for (name, value, least) in found {
        let d = digits(value, certified(name));
        println!("norris {name}: {d:.1} digits");
        assert!(d >= least, "{name}: {d:.1} digits");
    }
    // Without random effects the degrees of freedom are n - p.
    let row = fit.contrast(&[0.0, 1.0], 0.95).unwrap();
    close("df", row.estimated().unwrap().df, 34.0, 1e-6);
}

#[test]
fn pastes_nested() {
    check("pastes", vec![intercept("sample"), intercept("batch")], &Settings::default());
}

#[test]
fn machines_nested_balanced_and_not() {
    check("machines", vec![intercept("cell"), intercept("Worker")], &Settings::default());
    check(
        "machines-unbalanced",
        vec![intercept("cell"), intercept("Worker")],
        &Settings::default(),
    );
}

#[test]
fn machines_with_three_correlated_effects() {
    let shape = Shape { name: "Worker", slopes: &["MB", "MC"], covariance: Covariance::Correlated };
    check("machines-three-effects", vec![shape], &Settings::default());
}

#[test]
fn orthodont_growth_curves() {
    let shape = Shape { name: "Subject", slopes: &["age11"], covariance: Covariance::Correlated };
    check("orthodont", vec![shape], &Settings::default());
}

#[test]
fn rail_and_ergostool() {
    check("rail", vec![intercept("Rail")], &Settings::default());
    check("ergostool", vec![intercept("Subject")], &Settings::default());
}

#[test]
fn pixel_with_slopes_and_a_nested_factor() {
    let shape = Shape { name: "Dog", slopes: &["day"], covariance: Covariance::Correlated };
    check("pixel", vec![intercept("side"), shape], &Settings::default());
}

#[test]
fn oxide_nested() {
    check("oxide", vec![intercept("wafer"), intercept("Lot")], &Settings::default());
}

#[test]
fn bodyweight_slopes() {
    let shape = Shape { name: "Rat", slopes: &["Time"], covariance: Covariance::Correlated };
    check("bodyweight", vec![shape], &Settings::default());
}

#[test]
fn assay_crossed_within_blocks_on_the_boundary() {
    let shapes = vec![intercept("column"), intercept("row"), intercept("Block")];
    let fit = check("assay", shapes, &Settings::default());
    assert_eq!(fit.boundary_terms(), vec!["column.intercept".to_owned()]);
}

#[test]
fn petrol_and_schools_unbalanced() {
    check("petrol", vec![intercept("No")], &Settings::default());
    check("nlschools", vec![intercept("class")], &Settings::default());
}

#[test]
fn ratings_of_two_departments_crossed() {
    check("insteval-two-departments", vec![intercept("s"), intercept("d")], &Settings::default());
}
