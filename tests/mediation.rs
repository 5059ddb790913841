//! The arithmetic of the path against statsmodels on a published experiment.
//!
//! Data: Brader, Valentino and Suhat (2008), American Journal of Political Science 52:959-978, as
//! shipped with statsmodels; values, versions and output from
//! notebooks-free-scripts/mediation-reference.

// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used)]

use mixed::{Data, Fit, FixedColumn, Settings, fit};
use model::{Effects, Scale, Summary, split};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};
use std::collections::BTreeMap;
use workspace_tests::repository;

const COVARIATES: [&str; 4] = ["age", "educ", "gender", "income"];
const DRAWS: usize = 20_000;

fn columns() -> BTreeMap<String, Vec<f64>> {
    let text =
        std::fs::read_to_string(repository("tests/reference/mediation/framing.csv")).unwrap();
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    let mut columns: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for line in lines {
        for (name, cell) in names.iter().zip(line.split(',')) {
            columns.entry((*name).to_owned()).or_default().push(cell.parse().unwrap());
        }
    }
    columns
}

struct Values(BTreeMap<(String, String), f64>);

impl Values {
    fn read() -> Self {
        let text =
            std::fs::read_to_string(repository("tests/reference/mediation/values.csv")).unwrap();
        let row = |line: &str| {
            let cells: Vec<&str> = line.split(',').collect();
            ((cells[0].to_owned(), cells[1].to_owned()), cells[2].parse().unwrap())
        };
        Self(text.lines().skip(1).map(row).collect())
    }

    fn get(&self, model: &str, quantity: &str) -> f64 {
        self.0[&(model.to_owned(), quantity.to_owned())]
    }
}

fn linear(columns: &BTreeMap<String, Vec<f64>>, response: &str, terms: &[&str]) -> Fit {
    let mut data = Data::new(&columns[response]).intercept();
    for term in terms.iter().chain(&COVARIATES) {
        data = data.column(FixedColumn::new(*term, columns[*term].as_slice()));
    }
    fit(&data, &Settings::default()).unwrap()
}

/// Draws of effects from independent normal draws of the mediator's slope and joint ones of the
/// outcome's, with the standard errors that statsmodels printed. statsmodels simulates the mediator
/// of every person anew under both treatments, so that its effects are those of one sample: the
/// difference of two means of `n` residuals comes to the mediator's slope, which expectations do
/// not have.
fn draws(
    values: &Values,
    model: &str,
    (scale, before): (Scale, f64),
    (sigma, n): (f64, usize),
) -> Vec<Effects> {
    let sample = sigma * (2.0 / n as f64).sqrt();
    let get = |quantity: &str| values.get(model, quantity);
    let (a, a_error) = (get("mediator.treat"), get("mediator.treat.std_error"));
    let (c, c_error) = (get("outcome.treat"), get("outcome.treat.std_error"));
    let (b, b_error) = (get("outcome.emo"), get("outcome.emo.std_error"));
    let along = get("outcome.covariance.treat.emo") / c_error;
    let rest = (b_error * b_error - along * along).sqrt();
    let mut rng = ChaCha12Rng::seed_from_u64(1);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    (0..DRAWS)
        .map(|_| {
            let (z, x) = (normal(), normal());
            let (c, b) = (c + c_error * z, b + along * z + rest * x);
            let a = a + a_error * normal() + sample * normal();
            let after = match scale {
                Scale::Log => before * (c + a * b).exp(),
                Scale::SquareRoot | Scale::Identity => before + c + a * b,
            };
            split(scale, [before, after], 0.0, a * b)
        })
        .collect()
}

fn compare(values: &Values, model: &str, draws: &[Effects], tolerance: f64) {
    for (k, name) in ["acme", "ade", "total"].into_iter().enumerate() {
        let get = |quantity: &str| values.get(model, &format!("{name}.{quantity}"));
        let part = |e: &Effects| [e.indirect, e.direct, e.total][k];
        let found = Summary::of(draws.iter().map(part), 0.95);
        for (found, quantity) in [
            (found.mean, "mean"),
            (found.median, "median"),
            (found.low, "low"),
            (found.high, "high"),
        ] {
            let off = (found - get(quantity)) / get("sd");
            assert!(off.abs() < tolerance, "{model} {name} {quantity}: off by {off} sd");
        }
    }
}

/// Linear: the engine's estimates are statsmodels' (1e-10: two exact least squares), the split of
/// the point estimates is the closed form a b and c', and draws agree within Monte Carlo error: a
/// 2.5 % point of 20,000 normal draws has an error of 0.018 standard deviations, the difference of
/// two of 0.026; three of these are 0.08.
#[test]
fn linear_effects_are_those_of_statsmodels() {
    let (columns, values) = (columns(), Values::read());
    let mediator = linear(&columns, "emo", &["treat"]);
    let outcome = linear(&columns, "immigr", &["treat", "emo"]);
    let (a, c, b) = (mediator.estimates()[1], outcome.estimates()[1], outcome.estimates()[2]);
    for (found, quantity) in [(a, "mediator.treat"), (c, "outcome.treat"), (b, "outcome.emo")] {
        assert!((found / values.get("linear", quantity) - 1.0).abs() < 1e-10, "{quantity}");
    }
    let point = split(Scale::Identity, [3.0, 3.0 + c + a * b], 0.2, a * b);
    assert!((point.indirect - a * b).abs() < 1e-14 && (point.direct - c).abs() < 1e-14);
    let sample = (mediator.sigma(), columns["age"].len());
    compare(&values, "linear", &draws(&values, "linear", (Scale::Identity, 3.0), sample), 0.08);
}

/// Log link: the same, from the expected response without treatment. It is held at its estimate,
/// which statsmodels draws anew: worth up to 0.05 standard deviations more.
#[test]
fn effects_on_a_log_scale_are_those_of_statsmodels() {
    let (columns, values) = (columns(), Values::read());
    let mediator = linear(&columns, "emo", &["treat"]);
    let get = |model: &str, term: &str| values.get("log", &format!("{model}.{term}"));
    let slope = get("outcome", "emo");
    let rows = columns["age"].len();
    let untreated: f64 = (0..rows)
        .map(|row| {
            let sum = |model: &str| {
                let of = |name: &&str| get(model, name) * columns[*name][row];
                get(model, "const") + COVARIATES.iter().map(of).sum::<f64>()
            };
            let spread = (slope * mediator.sigma()).powi(2) / 2.0;
            (sum("outcome") + slope * sum("mediator") + spread).exp()
        })
        .sum::<f64>()
        / rows as f64;
    let sample = (mediator.sigma(), rows);
    compare(&values, "log", &draws(&values, "log", (Scale::Log, untreated), sample), 0.13);
}
