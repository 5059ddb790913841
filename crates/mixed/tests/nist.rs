//! Correct digits on the NIST Statistical Reference Datasets, beside those of R.
//! Data and certified values by notebooks-free-scripts/nist-reference.
//!
//! Correct digits are -log10 of the relative error, at most 15 (that is what
//! is certified). A set's digits are those of its worst quantity. Where the
//! numbers as rounded to f64 have another answer than the decimal numbers of
//! the set, that answer, found in exact rational arithmetic, bounds the digits.
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use mixed::{
    Data, Fit, FixedColumn, JointTest, Moments, Settings, Status, fit, fit_exact, fit_moments,
};
use std::collections::BTreeMap;
use std::path::PathBuf;

fn read(name: &str) -> Vec<Vec<String>> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/nist");
    let text = std::fs::read_to_string(folder.join(name)).unwrap();
    text.lines().skip(1).map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

/// Quantity and term -> value, of one set.
fn values(file: &str, set: &str) -> BTreeMap<(String, String), f64> {
    let rows = read(file).into_iter().filter(|r| r[0] == set);
    rows.map(|r| ((r[1].clone(), r[2].clone()), r[3].trim().parse().unwrap())).collect()
}

/// The exact answer for Filip's powers multiplied up in f64, written by
/// notebooks-free-scripts/benchmarks/filip_limit.py.
fn filip_columns() -> BTreeMap<(String, String), f64> {
    let rows = include_str!("filip_columns.csv").lines().skip(1);
    rows.map(|line| {
        let cells: Vec<&str> = line.split(',').collect();
        ((cells[1].to_owned(), cells[2].to_owned()), cells[3].parse().unwrap())
    })
    .collect()
}

fn digits(found: f64, certified: f64) -> f64 {
    let error = ((found - certified) / certified).abs();
    if error == 0.0 { 15.0 } else { (-error.log10()).clamp(0.0, 15.0) }
}

/// Fewest digits over the quantities of a set.
#[derive(Clone, Copy)]
struct Score {
    ours: f64,
    theirs: f64,
    /// Of the exact answer for the numbers as f64 hold them.
    possible: f64,
    /// Of ours against that exact answer.
    solved: f64,
}

fn score(set: &str, found: &[(&str, Option<usize>, f64)]) -> Score {
    let (certified, peer) = (values("certified.csv", set), values("peer.csv", set));
    let mut rounded = values("rounded.csv", set);
    if set == "filip" {
        rounded = filip_columns();
    }
    let mut out = Score { ours: 15.0, theirs: 15.0, possible: 15.0, solved: 15.0 };
    for (quantity, term, value) in found {
        let term = term.map_or("all".to_owned(), |t| t.to_string());
        let key = ((*quantity).to_owned(), term);
        out.ours = out.ours.min(digits(*value, certified[&key]));
        out.theirs = out.theirs.min(digits(peer[&key], certified[&key]));
        if let Some(exact) = rounded.get(&key) {
            out.possible = out.possible.min(digits(*exact, certified[&key]));
            out.solved = out.solved.min(digits(*value, *exact));
        }
    }
    out
}

/// Never fewer digits than R, which counts up to 13 (beyond, the last
/// certified digit decides); at least 10, or what f64 can hold less the
/// rounding of the comparison; and at least `solved` against the exact answer.
fn judge(set: &str, s: Score, least: f64, solved: f64) {
    println!(
        "{set:8} {:5.1} digits, R {:5.1}; f64 holds {:5.1}, of which solved {:5.1}",
        s.ours, s.theirs, s.possible, s.solved
    );
    assert!(s.ours >= least.min(s.possible - 0.1), "{set}: {:.1} digits", s.ours);
    assert!(s.ours >= s.theirs.min(13.0) - 0.05, "{set}: {:.1}, R {:.1}", s.ours, s.theirs);
    assert!(s.solved >= solved, "{set}: {:.1} digits of the rounded problem", s.solved);
}

fn one_way(set: &str) -> (Vec<f64>, Vec<usize>) {
    let (mut y, mut treatment) = (Vec::new(), Vec::new());
    for row in read("anova.csv").iter().filter(|r| r[0] == set) {
        for _ in 0..row[3].parse::<usize>().unwrap() {
            treatment.push(row[1].parse::<usize>().unwrap() - 1);
            y.push(row[2].parse().unwrap());
        }
    }
    (y, treatment)
}

fn anova(set: &str, exact: bool) -> Score {
    let (y, treatment) = one_way(set);
    let levels = treatment.iter().max().unwrap() + 1;
    let mut data = Data::new(&y).intercept();
    for level in 1..levels {
        let column: Vec<f64> = treatment.iter().map(|t| f64::from(u8::from(*t == level))).collect();
        data = data.column(FixedColumn::new(format!("t{level}"), column));
    }
    let settings = Settings::default();
    let fit = if exact { fit_exact(&data, &settings) } else { fit(&data, &settings) }.unwrap();
    let contrasts: Vec<Vec<f64>> =
        (1..levels).map(|j| (0..levels).map(|i| f64::from(u8::from(i == j))).collect()).collect();
    let JointTest::Tested { statistic, df_numerator, df_denominator, .. } =
        fit.joint_test(&contrasts).unwrap()
    else {
        panic!("{set}: not estimable")
    };
    let certified = values("certified.csv", set);
    let all = |quantity: &str| certified[&(quantity.to_owned(), "all".to_owned())];
    assert_eq!(df_numerator, all("df_between"));
    assert!((df_denominator - all("df_within")).abs() < 1e-6 * df_denominator);
    let variance = fit.sigma().powi(2);
    let within = variance * fit.df_residual();
    let between = statistic * df_numerator * variance;
    score(
        set,
        &[
            ("ss_between", None, between),
            ("ss_within", None, within),
            ("f", None, statistic),
            ("r_squared", None, between / (between + within)),
            ("residual_sd", None, fit.sigma()),
        ],
    )
}

/// Near 1e12 a step of f64 is 1.2e-4 beside a standard deviation of 0.1, near
/// 1e6 it is 1.2e-10: what such numbers hold is less than 10 digits.
#[test]
fn one_way_analysis_of_variance() {
    let sets = [
        "SiRstv", "SmLs01", "SmLs02", "SmLs03", "AtmWtAg", "SmLs04", "SmLs05", "SmLs06", "SmLs07",
        "SmLs08", "SmLs09",
    ];
    for set in sets {
        for exact in [false, true] {
            judge(set, anova(set, exact), 10.0, 12.0);
        }
    }
}

fn regression(set: &str, exact: bool) -> (Fit, Vec<String>) {
    let rows: Vec<Vec<String>> =
        read("regression.csv").into_iter().filter(|r| r[0] == set).collect();
    let column = |at: usize| -> Option<Vec<f64>> {
        rows.iter().map(|r| r.get(at).and_then(|c| c.parse().ok())).collect()
    };
    let y = column(1).unwrap();
    let mut columns: Vec<Vec<f64>> = (2..8).filter_map(column).collect();
    let powers = match set {
        "pontius" => 2,
        "filip" => 10,
        _ => 1,
    };
    let x = columns[0].clone();
    for _ in 2..=powers {
        let last = columns.last().unwrap();
        columns.push(last.iter().zip(&x).map(|(a, b)| a * b).collect());
    }
    let mut data = Data::new(&y);
    let mut terms = Vec::new();
    if !set.starts_with("noint") {
        data = data.intercept();
        terms.push("0".to_owned());
    }
    for (j, column) in columns.into_iter().enumerate() {
        data = data.column(FixedColumn::new(format!("x{}", j + 1), column));
        terms.push((j + 1).to_string());
    }
    let settings = Settings::default();
    let fit = if exact { fit_exact(&data, &settings) } else { fit(&data, &settings) };
    (fit.unwrap(), terms)
}

fn score_regression(set: &str, exact: bool) -> Score {
    let (fit, terms) = regression(set, exact);
    let covariance = fit.covariance();
    let mut found = vec![("ss_residual", None, fit.sigma().powi(2) * fit.df_residual())];
    for ((j, estimate), term) in fit.estimates().iter().enumerate().zip(&terms) {
        let term = term.parse().unwrap();
        found.push(("estimate", Some(term), *estimate));
        found.push(("std_error", Some(term), covariance[(j, j)].sqrt()));
    }
    score(set, &found)
}

/// Filip's polynomial of degree 10: x and y as f64 would hold 14 digits, but
/// rounding the powers of x to f64 moves the coefficients in the 8th digit. The
/// answer for the columns given is found to 12 digits, as for the other sets.
#[test]
fn linear_regression() {
    for set in ["norris", "pontius", "noint1", "noint2", "longley", "filip"] {
        for exact in [false, true] {
            judge(set, score_regression(set, exact), 10.0, 12.0);
        }
    }
}

/// Plain moments cannot see the higher powers, and say so.
#[test]
fn plain_moments_of_a_polynomial_are_not_identified() {
    let rows: Vec<Vec<String>> =
        read("regression.csv").into_iter().filter(|r| r[0] == "filip").collect();
    let number = |at: usize| -> Vec<f64> { rows.iter().map(|r| r[at].parse().unwrap()).collect() };
    let (y, x) = (number(1), number(2));
    let mut data = Data::new(&y).intercept();
    for k in 1..=10 {
        let column: Vec<f64> = x.iter().map(|v| v.powi(k)).collect();
        data = data.column(FixedColumn::new(format!("x{k}"), column));
    }
    let plain = fit_moments(&Moments::accumulate(&data).unwrap(), &Settings::default()).unwrap();
    assert!(matches!(plain.status(), Status::Unidentified { .. }), "{:?}", plain.status());
}

/// Responses with 7 equal digits are summed again in extended precision.
#[test]
fn cancellation_is_noticed() {
    let (y, _) = one_way("SmLs04");
    let noticed = fit(&Data::new(&y).intercept(), &Settings::default()).unwrap();
    assert!(noticed.record().exact_sums);
    let centred = Data::new(&y).response_units(1_000_000.4, 1.0).intercept();
    let declared = fit(&centred, &Settings::default()).unwrap();
    assert!(!declared.record().exact_sums);
    assert!((noticed.criterion() - declared.criterion()).abs() < 1e-9 * noticed.criterion().abs());
}
