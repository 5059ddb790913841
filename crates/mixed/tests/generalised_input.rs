//! Generalised models: bad input, boundaries, and predictions of each kind.

// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::close;
use common::generalised::Reference;
use mixed::{
    CheckSettings, Error, Factor, Family, FixedColumn, GeneralisedData, GeneralisedFit, Point,
    PointLevel, ResponseKind, Status, fit_generalised,
};

const CODES: [u32; 6] = [0, 0, 1, 1, 2, 2];
const GOOD: [f64; 6] = [1.0, 2.0, 5.0, 3.0, 9.0, 0.0];

fn model(y: &[f64]) -> GeneralisedData<'_> {
    GeneralisedData::new(y).intercept().factor(Factor::intercept("g", &CODES, 3))
}

fn poisson(data: &GeneralisedData<'_>) -> Result<GeneralisedFit, Error> {
    fit_generalised(data, Family::Poisson)
}

#[test]
fn responses_are_checked() {
    let mut y = GOOD;
    y[2] = -1.0;
    assert!(matches!(poisson(&model(&y)), Err(Error::BadCount { row: 2, .. })));
    y[2] = 1.5;
    assert!(matches!(poisson(&model(&y)), Err(Error::BadCount { row: 2, .. })));
    // An amount need not be whole.
    assert!(fit_generalised(&model(&y), Family::Tweedie).is_ok());
    assert_eq!(poisson(&model(&[0.0; 6])).unwrap_err(), Error::NoResidualVariation);
    assert!(matches!(poisson(&model(&[f64::NAN; 6])), Err(Error::NoRows { read: 6, dropped: 6 })));
    y = GOOD;
    y[3] = f64::NAN;
    let fit = poisson(&model(&y)).unwrap();
    assert_eq!((fit.rows().read, fit.rows().used), (6, 5));
    // Full length, with a gap for the row set aside.
    for out in [fit.fitted(), fit.quantile_residuals(1)] {
        assert_eq!(out.len(), 6);
        assert_eq!((0..6).filter(|i| out[*i].is_nan()).collect::<Vec<usize>>(), [3]);
    }
}

#[test]
fn columns_are_checked() {
    let short = [0.0; 5];
    assert!(matches!(poisson(&model(&GOOD).offset(&short)), Err(Error::LengthMismatch { .. })));
    assert!(matches!(poisson(&model(&GOOD).weights(&short)), Err(Error::LengthMismatch { .. })));
    let bad = [1.0, 1.0, -1.0, 1.0, 1.0, 1.0];
    assert!(matches!(poisson(&model(&GOOD).weights(&bad)), Err(Error::BadWeight { row: 2, .. })));
    let zero = [1.0, 1.0, 0.0, 1.0, 1.0, 1.0];
    assert_eq!(poisson(&model(&GOOD).weights(&zero)).unwrap().rows().used, 5);
    let twice = model(&GOOD).column(FixedColumn::new("again", vec![2.0; 6]));
    let error = poisson(&twice).unwrap_err();
    assert_eq!(error, Error::DependentColumns { columns: vec!["again".into()] });
    let outside = GeneralisedData::new(&GOOD).intercept().factor(Factor::intercept("g", &CODES, 2));
    assert!(matches!(poisson(&outside), Err(Error::LevelOutOfRange { .. })));
    let one = [0; 6];
    let single = GeneralisedData::new(&GOOD).intercept().factor(Factor::intercept("g", &one, 1));
    assert!(matches!(poisson(&single), Err(Error::TooFewLevels { .. })));
    assert!(matches!(poisson(&GeneralisedData::new(&GOOD)), Err(Error::TooFewRows { .. })));
    let centred =
        GeneralisedData::new(&GOOD).column(FixedColumn::new("x", GOOD.to_vec()).units(1.0, 1.0));
    assert!(matches!(poisson(&centred), Err(Error::CentreWithoutIntercept { .. })));
}

/// Counts that vary less between groups, and within, than Poisson counts do.
#[test]
fn no_spread_is_a_boundary_with_limits() {
    let y = [3.0, 4.0, 5.0, 4.0, 3.0, 5.0, 4.0, 4.0, 5.0, 3.0, 4.0, 4.0];
    let codes = [0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3];
    let data = GeneralisedData::new(&y).intercept().factor(Factor::intercept("g", &codes, 4));
    let fit = fit_generalised(&data, Family::NegativeBinomial).unwrap();
    let terms = vec!["g.intercept".into(), "1 / size".into()];
    assert_eq!(fit.status(), &Status::Boundary { terms });
    // Without spread the estimate is the log of the mean count, and its
    // standard error that of a Poisson total.
    let total = y.iter().sum::<f64>();
    close("intercept", fit.estimates()[0], (total / 12.0).ln(), 1e-6);
    close("standard error", fit.coefficients()[0].std_error, 1.0 / total.sqrt(), 1e-4);
    assert_eq!(fit.size(), Some(f64::INFINITY));
    // Against profiles of glmmTMB and MASS with the parameter held. In the
    // latter the other parameter stays at its boundary, as here. The limits are
    // bisected to 1e-4 of the way, for the size that is 1e-3 of its log.
    let limits = Reference::read("limits");
    let spread = &fit.spreads(0.95).unwrap()[0];
    assert_eq!((spread.estimate, spread.low), (0.0, 0.0));
    close("upper limit", spread.high, limits.get("high", "sd"), 2e-3);
    let size = &fit.parameters(0.95).unwrap()[0];
    assert_eq!(size.high, f64::INFINITY);
    close("lower limit", size.low, limits.get("low", "size"), 2e-3);
}

#[test]
fn predictions_of_each_kind() {
    let fit = poisson(&model(&GOOD)).unwrap();
    let b = fit.estimates()[0];
    let sd = fit.spreads(0.95).unwrap()[0].estimate;
    let at = |level: Option<Option<u32>>| Point {
        fixed: vec![1.0],
        levels: level
            .map(|level| PointLevel { factor: "g".into(), level, values: vec![1.0] })
            .into_iter()
            .collect(),
        observation_weight: None,
    };
    let predict = |point: &Point, kind| fit.predict(point, 0.5, kind, 0.9);
    let typical = predict(&at(None), ResponseKind::TypicalGroup).unwrap();
    close("typical", typical.estimate, (b + 0.5).exp(), 1e-12);
    close("its error", typical.link_std_error, fit.coefficients()[0].std_error, 1e-10);
    let mean = predict(&at(None), ResponseKind::PopulationMean).unwrap();
    close("mean", mean.estimate, (b + 0.5 + 0.5 * sd * sd).exp(), 1e-12);
    let new = predict(&at(Some(None)), ResponseKind::NewGroup).unwrap();
    close("new", new.link_std_error.powi(2), typical.link_std_error.powi(2) + sd * sd, 1e-10);
    let known = predict(&at(Some(Some(1))), ResponseKind::KnownGroup).unwrap();
    let (_, modes) = fit.conditional_modes("g").unwrap();
    close("known", known.link, b + 0.5 + modes[(1, 0)], 1e-12);
    assert!(predict(&at(Some(None)), ResponseKind::KnownGroup).is_err());
    assert!(predict(&at(Some(Some(3))), ResponseKind::KnownGroup).is_err());
    assert!(fit.predict(&at(None), 0.0, ResponseKind::TypicalGroup, f64::NAN).is_err());
    let short = Point::default();
    assert!(fit.predict(&short, 0.0, ResponseKind::TypicalGroup, 0.9).is_err());
    let few = CheckSettings { simulations: 18, seed: 1 };
    assert!(matches!(fit.checks(few), Err(Error::BadSetting { .. })));
}

/// Same input and seed, same answer to the last bit.
#[test]
fn answers_repeat() {
    let run = || {
        let fit = poisson(&model(&GOOD)).unwrap();
        let checks = fit.checks(CheckSettings { simulations: 39, seed: 7 }).unwrap();
        (fit.loglik().to_bits(), fit.quantile_residuals(3), checks)
    };
    let (a, b) = (run(), run());
    assert_eq!(a, b);
}
