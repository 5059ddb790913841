//! Inputs that cannot be fitted, and degenerate ones that can.
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use mixed::{
    CoefficientValue, Contrast, Data, DropReason, Error, Factor, FixedColumn, IntegrationSettings,
    IntervalKind, JointTest, Moments, Point, PointLevel, Prior, Settings, Status, fit, fit_moments,
};

const Y: [f64; 8] = [1.0, 2.0, 4.0, 3.0, 6.0, 5.0, 9.0, 7.0];
const G: [u32; 8] = [0, 0, 1, 1, 2, 2, 3, 3];

fn simple<'a>(y: &'a [f64], g: &'a [u32]) -> Data<'a> {
    Data::new(y).intercept().factor(Factor::intercept("g", g, 4))
}

fn failure(data: &Data<'_>) -> Error {
    fit(data, &Settings::default()).unwrap_err()
}

#[test]
fn missing_rows_are_dropped_by_reason_and_counted() {
    let mut y = Y;
    y[1] = f64::NAN;
    let mut x = [0.0, 1.0, 2.0, 3.0, 4.0, 6.0, 6.0, 7.5];
    x[2] = f64::INFINITY;
    let w = [1.0, 1.0, 1.0, 0.0, 1.0, 2.0, 1.0, 1.0];
    let data = simple(&y, &G).column(FixedColumn::new("x", &x[..])).weights(&w);
    let fitted = fit(&data, &Settings::default()).unwrap();
    let rows = &fitted.record().rows;
    assert_eq!((rows.read, rows.used, fitted.n_rows()), (8, 5, 5));
    assert_eq!(
        rows.dropped,
        [(DropReason::Response, 1), (DropReason::FixedColumn, 1), (DropReason::ZeroWeight, 1)]
    );
    // The same as without those rows.
    let keep = [0, 4, 5, 6, 7];
    let y: Vec<f64> = keep.iter().map(|i| y[*i]).collect();
    let x: Vec<f64> = keep.iter().map(|i| x[*i]).collect();
    let w: Vec<f64> = keep.iter().map(|i| w[*i]).collect();
    let g: Vec<u32> = keep.iter().map(|i| G[*i]).collect();
    let short = simple(&y, &g).column(FixedColumn::new("x", x)).weights(&w);
    let short = fit(&short, &Settings::default()).unwrap();
    common::close("criterion", fitted.criterion(), short.criterion(), 1e-12);
}

#[test]
fn weights_name_their_row() {
    for bad in [-1.0, f64::NAN, f64::INFINITY] {
        let mut w = [1.0; 8];
        w[5] = bad;
        let error = failure(&simple(&Y, &G).weights(&w));
        assert!(matches!(error, Error::BadWeight { row: 5, .. }), "{error}");
    }
}

#[test]
fn codes_and_lengths_are_checked() {
    let codes = [0, 0, 1, 1, 2, 2, 3, 4];
    assert!(matches!(
        failure(&simple(&Y, &codes)),
        Error::LevelOutOfRange { row: 7, code: 4, levels: 4, .. }
    ));
    assert!(matches!(failure(&simple(&Y, &G[..7])), Error::LengthMismatch { .. }));
    let x = [1.0; 7];
    let short = simple(&Y, &G).column(FixedColumn::new("x", &x[..]));
    assert!(matches!(failure(&short), Error::LengthMismatch { .. }));
    assert!(matches!(failure(&simple(&Y, &G).weights(&x)), Error::LengthMismatch { .. }));
    let twice = simple(&Y, &G).intercept();
    assert!(matches!(failure(&twice), Error::DuplicateName { .. }));
}

#[test]
fn nothing_to_fit_is_an_error() {
    assert!(matches!(failure(&simple(&[], &[])), Error::NoRows { .. }));
    let nan = [f64::NAN; 8];
    assert!(matches!(failure(&simple(&nan, &G)), Error::NoRows { read: 8, dropped: 8 }));
    assert_eq!(failure(&simple(&[3.0; 8], &G)), Error::NoResidualVariation);
    assert_eq!(failure(&simple(&[0.0; 8], &G)), Error::NoResidualVariation);
    let one = [0; 8];
    assert!(matches!(failure(&simple(&Y, &one)), Error::TooFewLevels { observed: 1, .. }));
    assert!(matches!(
        failure(&simple(&Y[..1], &G[..1])),
        Error::TooFewLevels { .. } | Error::TooFewRows { .. }
    ));
    assert!(matches!(failure(&Data::new(&Y[..1]).intercept()), Error::TooFewRows { .. }));
    let huge = [1e300, -1e300, 1e299, 0.0, 1e300, 2e300, 3e300, 1.0];
    assert!(matches!(failure(&simple(&huge, &G)), Error::Numerical { .. }));
}

#[test]
fn settings_and_units_reject_nan() {
    for bad in [f64::NAN, 0.0, -1.0, 1.0] {
        let settings = Settings { tolerance: bad, ..Settings::default() };
        let error = fit(&simple(&Y, &G), &settings).unwrap_err();
        assert!(matches!(error, Error::BadSetting { name: "tolerance", .. }));
    }
    let start = vec![mixed::Theta { name: "g.intercept".into(), value: f64::NAN }];
    let error = fit(&simple(&Y, &G), &Settings { start, ..Settings::default() }).unwrap_err();
    assert!(matches!(error, Error::BadSetting { name: "start", .. }));
    let x = [0.0, 1.0, 2.0, 3.0, 4.0, 6.0, 6.0, 7.5];
    for (centre, scale) in [(f64::NAN, 1.0), (0.0, 0.0), (0.0, f64::NAN), (1.0, -2.0)] {
        let data = simple(&Y, &G).column(FixedColumn::new("x", &x[..]).units(centre, scale));
        assert!(matches!(failure(&data), Error::BadScale { .. }));
    }
    let data = Data::new(&Y).column(FixedColumn::new("x", &x[..]).units(2.0, 1.0));
    assert!(matches!(failure(&data), Error::CentreWithoutIntercept { .. }));
}

#[test]
fn dependent_columns_are_named_and_not_estimable() {
    let a = [0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 1.0];
    let b: Vec<f64> = a.iter().map(|x| 1.0 - x).collect();
    let x = [0.3, 1.0, 2.0, 3.1, 4.0, 6.0, 6.0, 7.5];
    let data = simple(&Y, &G)
        .column(FixedColumn::new("a", &a[..]))
        .column(FixedColumn::new("b", b))
        .column(FixedColumn::new("x", &x[..]));
    let fitted = fit(&data, &Settings::default()).unwrap();
    assert_eq!(fitted.status(), &Status::Unidentified { columns: vec!["b".into()] });
    assert_eq!(fitted.coefficients()[2].value, CoefficientValue::NotEstimable);
    assert!(fitted.estimates()[2].is_nan());
    let contrast = |l: [f64; 4]| fitted.contrast(&l, 0.95).unwrap();
    assert_eq!(contrast([0.0, 0.0, 1.0, 0.0]), Contrast::NotEstimable);
    assert_eq!(contrast([0.0, 1.0, 0.0, 0.0]), Contrast::NotEstimable);
    // a minus b is identified, whichever of them was left out.
    let kept =
        simple(&Y, &G).column(FixedColumn::new("a", &a[..])).column(FixedColumn::new("x", &x[..]));
    let kept = fit(&kept, &Settings::default()).unwrap();
    let difference = contrast([0.0, 1.0, -1.0, 0.0]);
    common::close("a - b", difference.estimated().unwrap().estimate, kept.estimates()[1], 1e-9);
    common::close("criterion", fitted.criterion(), kept.criterion(), 1e-12);
    let test = fitted.joint_test(&[vec![0.0, 0.0, 1.0, 0.0]]).unwrap();
    assert_eq!(test, JointTest::NotEstimable);
    let mean = Point { fixed: vec![1.0, 0.5, 0.5, 3.0], ..Point::default() };
    let mean = fitted.predict(&mean, IntervalKind::PopulationMean, 0.9).unwrap();
    assert!(mean.is_some());
    let nowhere = Point { fixed: vec![1.0, 0.5, 0.2, 3.0], ..Point::default() };
    let nowhere = fitted.predict(&nowhere, IntervalKind::PopulationMean, 0.9).unwrap();
    assert!(nowhere.is_none());
}

#[test]
fn a_factor_that_is_the_residual_does_not_converge() {
    let codes: Vec<u32> = (0..8).collect();
    let data = Data::new(&Y).intercept().factor(Factor::intercept("row", &codes, 8));
    let fitted = fit(&data, &Settings::default()).unwrap();
    assert!(matches!(fitted.status(), Status::NotConverged { .. }), "{:?}", fitted.status());
}

#[test]
fn questions_are_checked() {
    let fitted = fit(&simple(&Y, &G), &Settings::default()).unwrap();
    assert!(fitted.contrast(&[1.0, 2.0], 0.95).is_err());
    assert!(fitted.contrast(&[f64::NAN], 0.95).is_err());
    for level in [0.0, 1.0, f64::NAN, 95.0] {
        assert!(fitted.contrast(&[1.0], level).is_err());
    }
    assert!(fitted.conditional_modes("h").is_err());
    assert!(fitted.criterion_at(&[]).is_err());
    assert!(fitted.criterion_at(&[f64::NAN]).is_err());
    let point = |factor: &str, level: Option<u32>, values: Vec<f64>| Point {
        fixed: vec![1.0],
        levels: vec![PointLevel { factor: factor.into(), level, values }],
        observation_weight: None,
    };
    let ask = |p: &Point| fitted.predict(p, IntervalKind::KnownGroup, 0.9);
    assert!(ask(&point("g", Some(2), vec![1.0])).unwrap().is_some());
    assert!(ask(&point("g", Some(9), vec![1.0])).is_err());
    assert!(ask(&point("g", None, vec![1.0])).is_err());
    assert!(ask(&point("h", Some(0), vec![1.0])).is_err());
    assert!(ask(&point("g", Some(0), vec![])).is_err());
    let bad_prior =
        fitted.integrate(&Prior::half_normal(f64::NAN), &IntegrationSettings::default());
    assert!(bad_prior.is_err());
    let few = IntegrationSettings { panel_nodes: 0, ..IntegrationSettings::default() };
    assert!(fitted.integrate(&Prior::half_normal(1.0), &few).is_err());
    let posterior =
        fitted.integrate(&Prior::half_normal(1.0), &IntegrationSettings::default()).unwrap();
    assert!(posterior.draws(3, 1, &["h"]).is_err());
    assert!(posterior.draws(0, 1, &["g"]).unwrap().is_empty());
    let ml = fit(&simple(&Y, &G), &Settings::ml()).unwrap();
    assert!(matches!(ml.kenward_roger(), Err(Error::NeedsReml)));
}

#[test]
fn unlike_moments_do_not_merge() {
    let mut a = Moments::accumulate(&simple(&Y, &G)).unwrap();
    let other = Data::new(&Y).intercept().factor(Factor::intercept("h", &G, 4));
    let b = Moments::accumulate(&other).unwrap();
    assert!(matches!(a.merge(&b), Err(Error::Incompatible { .. })));
    let again = a.clone();
    a.merge(&again).unwrap();
    assert_eq!(a.rows().used, 16);
    assert!(fit_moments(&a, &Settings::default()).is_ok());
}

/// Interval kinds widen in order: population mean, then a new group.
#[test]
fn interval_kinds_differ() {
    let fitted = fit(&simple(&Y, &G), &Settings::default()).unwrap();
    let mut point = Point {
        fixed: vec![1.0],
        levels: vec![PointLevel { factor: "g".into(), level: None, values: vec![1.0] }],
        observation_weight: None,
    };
    let mean = fitted.predict(&point, IntervalKind::PopulationMean, 0.9).unwrap().unwrap();
    let new = fitted.predict(&point, IntervalKind::NewGroup, 0.9).unwrap().unwrap();
    let parts = fitted.variance_components().unwrap();
    let between = parts.factors[0].standard_deviations[0].powi(2);
    common::close("new", new.std_error.powi(2), mean.std_error.powi(2) + between, 1e-10);
    point.observation_weight = Some(4.0);
    let one = fitted.predict(&point, IntervalKind::NewGroup, 0.9).unwrap().unwrap();
    let expected = new.std_error.powi(2) + parts.residual.powi(2) / 4.0;
    common::close("observation", one.std_error.powi(2), expected, 1e-10);
    assert!(mean.low > new.low && new.high > mean.high);
}

/// The record is data: it serialises, and holds the whole path.
#[test]
fn the_record_serialises() {
    let fitted = fit(&simple(&Y, &G), &Settings::default()).unwrap();
    let record = fitted.record();
    let text = serde_json::to_string(record).unwrap();
    assert!(text.contains("\"visited\"") && text.contains("\"Interior\""));
    let best = record.visited.iter().map(|v| v.criterion).fold(f64::MAX, f64::min);
    common::close("best visited", best, fitted.criterion(), 1e-10);
    assert!(record.visited.iter().any(|v| v.theta == [0.0]), "0 was not tried");
    assert!(record.evidence.gradient_norm < 1e-6);
}

/// A column per season leaves the season factor nothing: its profile is flat, so it has no limit.
/// The search for one went out until rounding broke it, and the fit could not be described.
#[test]
fn a_spread_that_the_columns_absorb_has_no_upper_limit() {
    let y: Vec<f64> = (0..36).map(|i| f64::from(i * 37 % 17) + f64::from(i % 3)).collect();
    let season: Vec<u32> = (0..36).map(|i| i % 3).collect();
    let tree: Vec<u32> = (0..36).map(|i| i / 3).collect();
    let age: Vec<f64> = season.iter().map(|&s| f64::from(10 + s).ln()).collect();
    let squared: Vec<f64> = age.iter().map(|a| a * a).collect();
    let data = Data::new(&y)
        .intercept()
        .column(FixedColumn::new("log age", &age[..]).units(2.3, 0.1))
        .column(FixedColumn::new("log age squared", &squared[..]).units(5.3, 0.5))
        .factor(Factor::intercept("tree", &tree, 12))
        .factor(Factor::intercept("season", &season, 3));
    let parts = fit(&data, &Settings::default()).unwrap().variance_components().unwrap();
    let absorbed = parts.factors.iter().find(|factor| factor.factor == "season").unwrap();
    assert_eq!(absorbed.upper_limits, [None]);
}

/// Levels that meet few others are no matter of their number: the estimates of a balanced nested
/// layout are those of its analysis of variance (Searle, Casella and McCulloch 1992, Variance
/// Components, section 4.4). Crossed, as many cannot be factored.
#[test]
fn many_levels_must_not_all_meet() {
    use rand::{RngExt, SeedableRng};
    let mut rng = rand_chacha::ChaCha12Rng::seed_from_u64(11);
    // Uniform, variance 1: the analysis of variance needs no normal distribution.
    let mut noise = |sd: f64| sd * (12.0_f64).sqrt() * (rng.random::<f64>() - 0.5);
    let (blocks, trees, rows) = (20_000, 2, 2);
    let (mut y, mut block, mut tree) = (Vec::new(), Vec::new(), Vec::new());
    let (mut squares, mut means) = ([0.0; 2], Vec::new());
    for b in 0..blocks {
        let of_block = noise(0.8);
        let mut of_trees = [0.0; 2];
        for (t, mean) in of_trees.iter_mut().enumerate() {
            let level = of_block + noise(0.6);
            let own = [level + noise(1.0), level + noise(1.0)];
            *mean = 0.5 * (own[0] + own[1]);
            squares[0] += 0.5 * (own[0] - own[1]).powi(2);
            y.extend(own);
            block.extend([b as u32; 2]);
            tree.extend([(b * trees + t) as u32; 2]);
        }
        squares[1] += (of_trees[0] - of_trees[1]).powi(2);
        means.push(0.5 * (of_trees[0] + of_trees[1]));
    }
    let grand = means.iter().sum::<f64>() / blocks as f64;
    let between = means.iter().map(|m| 4.0 * (m - grand).powi(2)).sum::<f64>();
    let within = squares[0] / (blocks * trees) as f64;
    let of_tree = squares[1] / blocks as f64;
    let of_block = between / (blocks - 1) as f64;
    let data = Data::new(&y)
        .intercept()
        .factor(Factor::intercept("tree", &tree, blocks * trees))
        .factor(Factor::intercept("block", &block, blocks));
    let fitted = fit(&data, &Settings::default()).unwrap();
    let components = fitted.variance_components().unwrap();
    common::close("residual", components.residual.powi(2), within, 1e-6);
    for (factor, expected) in
        [(0, (of_tree - within) / rows as f64), (1, (of_block - of_tree) / (rows * trees) as f64)]
    {
        let found = components.factors[factor].standard_deviations[0].powi(2);
        common::close(&components.factors[factor].factor, found, expected, 1e-5);
    }

    // The modes of trees come without their covariance, that of so many blocks is refused.
    assert_eq!(fitted.modes("tree").unwrap().n_rows(), blocks * trees);
    let refused = fitted.conditional_modes("block").unwrap_err();
    assert!(matches!(refused, Error::TooManyCells { .. }), "{refused}");

    let crossed: Vec<u32> = (0..y.len() as u32).map(|i| i.wrapping_mul(7919) % 19_997).collect();
    let data = Data::new(&y)
        .intercept()
        .factor(Factor::intercept("block", &block, blocks))
        .factor(Factor::intercept("picker", &crossed, 19_997));
    let refused = failure(&data);
    assert!(matches!(refused, Error::TooManyCells { .. }), "{refused}");
}
