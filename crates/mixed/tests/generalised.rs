//! Generalised models against glmmTMB (all with random effects) and MASS.
//!
//! Tolerances, with their reasons:
//! - log-likelihood 1e-8 relative: both stand at a flat optimum, so what is
//!   left is rounding and the size of glmmTMB's last Newton step;
//! - estimates and modes 1e-5 of a standard error (of the spread): two exact
//!   gradients, two differenced Hessians;
//! - standard errors 2e-4 relative: glmmTMB's Hessian is differenced with a
//!   step of 1e-4, with an error of that order;
//! - parameters and spreads 1e-5 relative.

// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::generalised::{Case, Reference};
use mixed::{
    Family, FixedColumn, GeneralisedData, GeneralisedFit, Point, PointLevel, ResponseKind, Status,
    fit_generalised,
};

fn compare(name: &str, fit: &GeneralisedFit, reference: &Reference) {
    assert_eq!(fit.status(), &Status::Interior, "{name}");
    common::close(&format!("{name} loglik"), fit.loglik(), reference.get("loglik", "all"), 1e-8);
    for row in fit.coefficients() {
        let error = reference.get("std_error", &row.name);
        let off = (row.estimate - reference.get("estimate", &row.name)) / error;
        assert!(off.abs() < 1e-5, "{name} {}: off by {off:e} standard errors", row.name);
        common::close(&format!("{name} {}", row.name), row.std_error, error, 2e-4);
    }
    for row in fit.parameters(0.95).unwrap() {
        let at = format!("{name} {}", row.name);
        common::close(&at, row.estimate, reference.get("parameter", row.name), 1e-5);
        // MASS gives none of the joint kind.
        if let Some(error) = reference.find("parameter_std_error", row.name) {
            common::close(&at, row.std_error, error, 2e-4);
        }
        assert!(row.low < row.estimate && row.estimate < row.high);
    }
    for row in fit.spreads(0.95).unwrap() {
        let term = format!("{}.{}", row.factor, row.effect);
        let at = format!("{name} {term}");
        common::close(&at, row.estimate, reference.get("sd", &term), 1e-5);
        common::close(&at, row.std_error, reference.get("sd_std_error", &term), 2e-4);
        let (effects, modes) = fit.conditional_modes(&row.factor).unwrap();
        let column = effects.iter().position(|e| *e == row.effect).unwrap();
        for level in 0..modes.n_rows() {
            let expected = reference.get("mode", &format!("{}/{}/{level}", row.factor, row.effect));
            let off = (modes[(level, column)] - expected) / row.estimate;
            assert!(off.abs() < 1e-5, "{at} level {level}: off by {off:e} spreads");
        }
    }
}

/// Fitted means of the first rows with their standard errors on the log scale.
fn compare_links(name: &str, case: &Case, fit: &GeneralisedFit, reference: &Reference) {
    for row in 0..5 {
        let term = row.to_string();
        let part = |(factor, codes): &(String, Vec<u32>)| {
            let mut values = vec![1.0];
            values.extend(case.slopes().map(|(_, z)| z[row]));
            PointLevel { factor: factor.clone(), level: Some(codes[row]), values }
        };
        let point = Point {
            fixed: case.fixed().map(|(_, x)| x[row]).collect(),
            levels: case.codes.iter().map(part).collect(),
            observation_weight: None,
        };
        let offset = case.get("offset")[row];
        let here = fit.predict(&point, offset, ResponseKind::KnownGroup, 0.95).unwrap();
        let error = reference.get("link_std_error", &term);
        let off = (here.link - reference.get("link", &term)) / error;
        assert!(off.abs() < 1e-5, "{name} row {row}: off by {off:e} standard errors");
        common::close(&format!("{name} row {row}"), here.link_std_error, error, 5e-4);
        common::close("fitted", here.estimate, fit.fitted()[row], 1e-12);
        assert!(here.low < here.estimate && here.estimate < here.high);
    }
}

fn check(name: &str, family: Family) {
    let (case, reference) = (Case::read(name), Reference::read(name));
    let plain = fit_generalised(&case.data(false), family).unwrap();
    compare(name, &plain, &reference);
    compare_links(name, &case, &plain, &reference);
    // Declared units change nothing in the results.
    compare(name, &fit_generalised(&case.data(true), family).unwrap(), &reference);
}

#[test]
fn ticks_poisson_two_factors() {
    check("ticks-poisson", Family::Poisson);
}

#[test]
fn ticks_negative_binomial_two_factors() {
    check("ticks-negative-binomial", Family::NegativeBinomial);
}

#[test]
fn epilepsy_negative_binomial() {
    check("epil-negative-binomial", Family::NegativeBinomial);
}

/// An offset, nested factors and a factor within them.
#[test]
fn owls_nested_with_offset() {
    check("owls-nested", Family::NegativeBinomial);
}

#[test]
fn shares_of_trials() {
    check("cbpp-binomial", Family::Binomial);
    check("cbpp-nested", Family::Binomial);
}

#[test]
fn owls_correlated_slopes() {
    check("owls-correlated", Family::Poisson);
    let (case, reference) = (Case::read("owls-correlated"), Reference::read("owls-correlated"));
    let fit = fit_generalised(&case.data(false), Family::Poisson).unwrap();
    let theta: Vec<f64> = fit.theta().iter().map(|t| t.value).collect();
    let correlation = theta[1] / theta[1].hypot(theta[2]);
    common::close("correlation", correlation, reference.get("correlation", "Nest"), 1e-5);
}

/// glmmTMB creeps towards a correlation of -1 and a slope's spread of 0 here;
/// the boundary is reached exactly, with at least its likelihood.
#[test]
fn epilepsy_slopes_end_at_the_boundary() {
    let (case, reference) = (Case::read("epil-slope"), Reference::read("epil-slope"));
    let fit = fit_generalised(&case.data(false), Family::NegativeBinomial).unwrap();
    assert_eq!(fit.status(), &Status::Boundary { terms: vec!["subject.Visit01".into()] });
    let expected = reference.get("loglik", "all");
    common::close("loglik", fit.loglik(), expected, 1e-6);
    assert!(fit.loglik() > expected - 1e-6);
    for row in fit.coefficients() {
        let error = reference.get("std_error", &row.name);
        let off = (row.estimate - reference.get("estimate", &row.name)) / error;
        assert!(off.abs() < 1e-2, "{}: off by {off:e} standard errors", row.name);
    }
}

#[test]
fn owls_with_offset() {
    check("owls-offset", Family::NegativeBinomial);
}

#[test]
fn owls_independent_slopes() {
    check("owls-slopes", Family::Poisson);
}

#[test]
fn salamanders_with_weights() {
    check("salamanders-weighted", Family::Poisson);
}

#[test]
fn salamanders_negative_binomial() {
    check("salamanders-negative-binomial", Family::NegativeBinomial);
}

#[test]
fn insurance_with_offset() {
    check("insurance-offset", Family::Poisson);
}

#[test]
fn salamanders_tweedie() {
    check("salamanders-tweedie", Family::Tweedie);
}

#[test]
fn owls_tweedie_amounts() {
    check("owls-tweedie", Family::Tweedie);
}

/// glm.nb of MASS alternates between size and coefficients until neither moves.
#[test]
fn quine_without_random_effects() {
    let (case, reference) = (Case::read("quine"), Reference::read("quine"));
    let fit = fit_generalised(&case.data(false), Family::NegativeBinomial).unwrap();
    compare("quine", &fit, &reference);
}

/// A weight is a frequency: rows given twice and rows with weight 2 agree.
#[test]
fn weights_are_frequencies() {
    let case = Case::read("epil-negative-binomial");
    let two = vec![2.0; case.get("y").len()];
    let weighted = case.data(false).weights(&two);
    let weighted = fit_generalised(&weighted, Family::NegativeBinomial).unwrap();
    let twice = |v: &[f64]| [v, v].concat();
    let (y, codes) = (twice(case.get("y")), [&case.codes[0].1[..], &case.codes[0].1[..]].concat());
    let mut data = GeneralisedData::new(&y);
    for (name, x) in case.fixed() {
        data = data.column(FixedColumn::new(name, twice(x)));
    }
    data = data.factor(mixed::Factor::intercept("subject", &codes, 59));
    let doubled = fit_generalised(&data, Family::NegativeBinomial).unwrap();
    common::close("loglik", weighted.loglik(), doubled.loglik(), 1e-11);
    for (a, b) in weighted.coefficients().iter().zip(doubled.coefficients()) {
        assert!((a.estimate - b.estimate).abs() < 1e-6 * b.std_error);
        common::close(&a.name, a.std_error, b.std_error, 1e-6);
    }
}

/// The order of the rows and the names of the levels do not matter.
#[test]
fn rows_in_any_order() {
    let case = Case::read("ticks-negative-binomial");
    let forward = fit_generalised(&case.data(false), Family::NegativeBinomial).unwrap();
    let backward = |v: &[f64]| v.iter().rev().copied().collect::<Vec<f64>>();
    let y = backward(case.get("y"));
    let codes: Vec<Vec<u32>> = case
        .codes
        .iter()
        .map(|(_, c)| {
            let last = *c.iter().max().unwrap();
            c.iter().rev().map(|c| last - c).collect()
        })
        .collect();
    let mut data = GeneralisedData::new(&y);
    for (name, x) in case.fixed() {
        data = data.column(FixedColumn::new(name, backward(x)));
    }
    for ((name, _), codes) in case.codes.iter().zip(&codes).rev() {
        let levels = *codes.iter().max().unwrap() as usize + 1;
        data = data.factor(mixed::Factor::intercept(name.clone(), codes, levels));
    }
    let reversed = fit_generalised(&data, Family::NegativeBinomial).unwrap();
    common::close("loglik", forward.loglik(), reversed.loglik(), 1e-11);
    for (a, b) in forward.coefficients().iter().zip(reversed.coefficients()) {
        assert!((a.estimate - b.estimate).abs() < 1e-6 * b.std_error);
    }
    let (fitted, backwards) = (forward.fitted(), backward(&reversed.fitted()));
    for (a, b) in fitted.iter().zip(&backwards) {
        common::close("fitted", *a, *b, 1e-6);
    }
}

/// lme4 as a second witness for Poisson counts, where the expected weights
/// that it uses are the observed ones: deviance to 1e-6, estimates to 1e-3
/// standard errors, its search having no gradient.
#[test]
fn lme4_agrees_for_poisson() {
    let (table, values) =
        (common::Table::read("ticks-poisson"), common::Values::read("ticks-poisson"));
    let factors = ["BROOD", "LOCATION"];
    let codes = factors.map(|f| table.codes(f));
    let mut data = GeneralisedData::new(table.get("y")).offset(table.get("offset"));
    for (column, x) in &table.columns {
        if let Some(column) = column.strip_prefix("x:") {
            data = data.column(FixedColumn::new(column, x.as_slice()));
        }
    }
    for (factor, codes) in factors.iter().zip(&codes) {
        let levels = *codes.iter().max().unwrap() as usize + 1;
        data = data.factor(mixed::Factor::intercept(*factor, codes, levels));
    }
    let fit = fit_generalised(&data, Family::Poisson).unwrap();
    common::close("deviance", -2.0 * fit.loglik(), values.get("criterion", "all"), 1e-6);
    for row in fit.coefficients() {
        let off = (row.estimate - values.get("estimate", &row.name)) / row.std_error;
        assert!(off.abs() < 1e-3, "{}: off by {off:e} standard errors", row.name);
    }
}

/// For the negative binomial lme4 takes expected weights. Its answer is then
/// another one (here by 0.07 of log-likelihood and 0.12 standard errors of the
/// intercept), and a third program says which definition is which: Laplace's
/// approximation by hand in R, whose search is good to 1e-8 in log-likelihood
/// and 1e-4 in the estimate.
#[test]
fn lme4_differs_by_its_definition_for_the_negative_binomial() {
    check("epil-plain", Family::NegativeBinomial);
    let (case, hand) = (Case::read("epil-plain"), Reference::read("epil-plain"));
    let lme4 = common::Values::read("epil-negative-binomial");
    let fit = fit_generalised(&case.data(false), Family::NegativeBinomial).unwrap();
    common::close("ours, observed", fit.loglik(), hand.get("by_hand", "observed"), 1e-8);
    let theirs = -0.5 * lme4.get("criterion", "all");
    common::close("lme4, expected", theirs, hand.get("by_hand", "expected"), 1e-8);
    let intercept = |which| hand.get("by_hand_intercept", which);
    common::close("our intercept", fit.estimates()[0], intercept("observed"), 1e-4);
    let theirs = lme4.get("estimate", "intercept");
    common::close("lme4's intercept", theirs, intercept("expected"), 1e-4);
}

/// Draws have the covariance of the estimates, within five Monte Carlo errors
/// (of a standard deviation: 1 / sqrt(2 n)), and their modes lie around the
/// conditional ones.
#[test]
fn draws_follow_the_covariance() {
    let case = Case::read("ticks-negative-binomial");
    let fit = fit_generalised(&case.data(false), Family::NegativeBinomial).unwrap();
    let n = 800;
    let draws = fit.draws(n, 5, &["BROOD"]).unwrap();
    let moments = |values: &[f64]| {
        let mean = values.iter().sum::<f64>() / n as f64;
        let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
        (mean, (square / (n - 1) as f64).sqrt())
    };
    let error = 1.0 / (n as f64).sqrt();
    for (j, row) in fit.coefficients().iter().enumerate() {
        let (mean, sd) = moments(&draws.coefficients.column(j));
        assert!((mean - row.estimate).abs() < 5.0 * error * row.std_error, "{}", row.name);
        assert!((sd / row.std_error - 1.0).abs() < 3.6 * error, "{}", row.name);
    }
    for (j, row) in fit.spreads(0.95).unwrap().iter().enumerate() {
        let (mean, sd) = moments(&draws.spreads.column(j));
        let expected = row.std_error * row.estimate;
        assert!((mean - row.estimate).abs() < 5.0 * error * expected, "{}", row.factor);
        assert!((sd / expected - 1.0).abs() < 3.6 * error, "{}", row.factor);
    }
    let (_, modes) = fit.conditional_modes("BROOD").unwrap();
    let spread = fit.spreads(0.95).unwrap()[0].estimate;
    for level in 0..modes.n_rows() {
        let of_level: Vec<f64> = draws.modes.iter().map(|m| m[0][(level, 0)]).collect();
        assert!((moments(&of_level).0 - modes[(level, 0)]).abs() < 0.2 * spread);
    }
    assert_eq!(draws, fit.draws(n, 5, &["BROOD"]).unwrap());
}
