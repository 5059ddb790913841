//! Count models against lme4's glmer and glmer.nb (Laplace), and bad counts.
//!
//! Tolerances: deviance 1e-6 relative and estimates 1e-3 of their standard
//! errors; both searches work without an exact gradient. The size of the
//! negative binomial 1e-3: lme4 finds it by alternating searches.

// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::{Table, Values, close};
use mixed::{CountData, CountFamily, CountFit, Error, Factor, FixedColumn, Status, fit_counts};

fn check(case: &str, factors: &[&str], family: CountFamily, with_units: bool) -> CountFit {
    let table = Table::read(case);
    let codes: Vec<Vec<u32>> = factors.iter().map(|f| table.codes(f)).collect();
    let fixed = table.columns.iter().filter_map(|(name, values)| {
        let name = name.strip_prefix("x:")?;
        let column = FixedColumn::new(name, values.as_slice());
        let units = with_units && name != "intercept";
        Some(if units { column.units(0.7, 3.0) } else { column })
    });
    let data = CountData {
        counts: table.get("y"),
        offset: Some(table.get("offset")),
        fixed: fixed.collect(),
        factors: factors
            .iter()
            .zip(&codes)
            .map(|(f, c)| Factor::intercept(*f, c, *c.iter().max().unwrap() as usize + 1))
            .collect(),
    };
    let fit = fit_counts(&data, family).unwrap();
    let values = Values::read(case);
    assert_eq!(fit.status(), &Status::Interior);
    close("deviance", -2.0 * fit.loglik(), values.get("criterion", "all"), 1e-6);
    for theta in fit.theta() {
        close(&theta.name, theta.value, values.get("theta", &theta.name), 1e-3);
    }
    for row in fit.coefficients() {
        let (expected, error) =
            (values.get("estimate", &row.name), values.get("std_error", &row.name));
        let off = (row.estimate - expected) / error;
        assert!(off.abs() < 1e-3, "{case} {}: off by {off} standard errors", row.name);
        close(&row.name, row.std_error, error, 2e-3);
    }
    for factor in factors {
        let (_, modes) = fit.conditional_modes(factor).unwrap();
        for level in 0..modes.n_rows() {
            let expected = values.get("mode", &format!("{factor}/intercept/{level}"));
            assert!((modes[(level, 0)] - expected).abs() < 2e-3, "{case} {factor} {level}");
        }
    }
    fit
}

#[test]
fn poisson_ticks_with_offset() {
    let fit = check("ticks-poisson", &["BROOD", "LOCATION"], CountFamily::Poisson, false);
    assert_eq!(fit.size(), None);
    check("ticks-poisson", &["BROOD", "LOCATION"], CountFamily::Poisson, true);
}

#[test]
fn negative_binomial_epilepsy() {
    let case = "epil-negative-binomial";
    let fit = check(case, &["subject"], CountFamily::NegativeBinomial, false);
    close("size", fit.size().unwrap(), Values::read(case).get("size", "all"), 1e-3);
}

#[test]
fn counts_are_checked() {
    let codes = [0, 0, 1, 1, 2, 2];
    let model = |counts: &[f64], offset: Option<&[f64]>| {
        fit_counts(
            &CountData {
                counts,
                offset,
                fixed: vec![FixedColumn::intercept(6)],
                factors: vec![Factor::intercept("g", &codes, 3)],
            },
            CountFamily::Poisson,
        )
    };
    let good = [1.0, 2.0, 5.0, 3.0, 9.0, 0.0];
    assert!(matches!(
        model(&[1.0, 2.0, -1.0, 3.0, 9.0, 0.0], None),
        Err(Error::BadCount { row: 2, .. })
    ));
    assert!(matches!(model(&good, Some(&[0.0; 5])), Err(Error::LengthMismatch { .. })));
    assert!(model(&[0.0; 6], None).is_err());
    let mut missing = good;
    missing[3] = f64::NAN;
    let fit = model(&missing, None).unwrap();
    assert_eq!((fit.rows().read, fit.rows().used), (6, 5));
    let twice = CountData {
        counts: &good,
        offset: None,
        fixed: vec![FixedColumn::intercept(6), FixedColumn::new("again", vec![2.0; 6])],
        factors: vec![Factor::intercept("g", &codes, 3)],
    };
    let error = fit_counts(&twice, CountFamily::Poisson).unwrap_err();
    assert_eq!(error, Error::DependentColumns { columns: vec!["again".into()] });
}

/// Counts that vary less between groups than Poisson counts do.
#[test]
fn no_spread_is_a_boundary() {
    let counts = [3.0, 4.0, 5.0, 4.0, 3.0, 5.0, 4.0, 4.0, 5.0, 3.0, 4.0, 4.0];
    let codes = [0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3];
    let data = CountData {
        counts: &counts,
        offset: None,
        fixed: vec![FixedColumn::intercept(12)],
        factors: vec![Factor::intercept("g", &codes, 4)],
    };
    let fit = fit_counts(&data, CountFamily::Poisson).unwrap();
    assert_eq!(fit.status(), &Status::Boundary { terms: vec!["g.intercept".into()] });
    // Without spread the estimate is the log of the mean count.
    let mean = counts.iter().sum::<f64>() / 12.0;
    close("intercept", fit.estimates()[0], mean.ln(), 1e-5);
}
