//! The estimator through linfa's traits.
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use linfa::traits::{Fit, FitWith, Predict};
use linfa::{DatasetBase, ParamGuard};
use mixed::linfa_edge::MixedParams;
use mixed::linfa_generalised::GeneralisedParams;
use mixed::{Error, Family, Settings};
use ndarray::{Array1, Array2};

#[test]
fn fits_and_predicts_population_means() {
    let table = common::Table::read("sleepstudy");
    let (days, subject, y) = (table.get("z:Days"), table.get("g:Subject"), table.get("y"));
    let records = Array2::from_shape_fn((y.len(), 2), |(i, j)| [days[i], subject[i]][j]);
    let dataset = DatasetBase::new(records.clone(), Array1::from(y.to_vec()));
    let model = MixedParams::new(vec![1]).fit(&dataset).unwrap();
    // lme4's fixed effects of reaction by days with a random intercept per subject, printed in its manual.
    let b = model.fit().estimates();
    common::close("intercept", b[0], 251.4051, 1e-6);
    common::close("slope", b[1], 10.4673, 1e-5);
    let predicted: Array1<f64> = model.predict(&records);
    for (i, p) in predicted.iter().enumerate() {
        common::close("prediction", *p, b[0] + b[1] * days[i], 1e-12);
    }
    // Too few columns give NaN, not a panic.
    let narrow = Array2::<f64>::zeros((3, 0));
    assert!(model.predict(&narrow).iter().all(|p| p.is_nan()));
}

#[test]
fn unchecked_parameters_are_guarded() {
    for tolerance in [f64::NAN, 0.0, -1.0] {
        let settings = Settings { tolerance, ..Settings::default() };
        let params = MixedParams::new(vec![1]).settings(settings);
        assert!(matches!(params.check_ref(), Err(Error::BadSetting { .. })));
        let records =
            Array2::from_shape_fn((6, 2), |(i, j)| if j == 0 { i as f64 } else { (i % 3) as f64 });
        let dataset = DatasetBase::new(records, Array1::from(vec![1.0, 3.0, 2.0, 5.0, 4.0, 6.5]));
        assert!(params.fit(&dataset).is_err());
    }
    assert!(MixedParams::new(vec![1, 1]).check().is_err());
    assert!(MixedParams::new(vec![1]).check().is_ok());
}

/// Chunks given one after the other end where one fit to all rows does.
#[test]
fn fit_with_adds_chunks() {
    let table = common::Table::read("sleepstudy");
    let (days, subject, y) = (table.get("z:Days"), table.get("g:Subject"), table.get("y"));
    let chunk = |rows: std::ops::Range<usize>| {
        let records =
            Array2::from_shape_fn((rows.len(), 2), |(i, j)| [days, subject][j][rows.start + i]);
        DatasetBase::new(records, Array1::from(y[rows].to_vec()))
    };
    let params = MixedParams::new(vec![1]).levels(vec![18]).check().unwrap();
    let first = params.fit_with(None, &chunk(0..70)).unwrap();
    let second = params.fit_with(Some(first), &chunk(70..180)).unwrap();
    let whole = params.fit(&chunk(0..180)).unwrap();
    for (a, b) in second.fit().estimates().iter().zip(whole.fit().estimates()) {
        common::close("estimate", *a, b, 1e-9);
    }
    common::close("deviance", second.fit().criterion(), whole.fit().criterion(), 1e-12);
    // Without declared levels a chunk with new groups is another model.
    let loose = MixedParams::new(vec![1]).check().unwrap();
    let first = loose.fit_with(None, &chunk(0..70)).unwrap();
    assert!(matches!(
        loose.fit_with(Some(first), &chunk(70..180)),
        Err(Error::Incompatible { .. })
    ));
    assert!(MixedParams::new(vec![1]).levels(vec![18, 3]).check().is_err());
}

/// Count model of the owls: same estimates as without linfa, means of all nests.
#[test]
fn counts_through_the_traits() {
    let case = common::generalised::Case::read("owls-offset");
    let reference = common::generalised::Reference::read("owls-offset");
    let y = case.get("y");
    let mut columns: Vec<Vec<f64>> =
        case.fixed().filter(|(n, _)| *n != "intercept").map(|(_, x)| x.to_vec()).collect();
    let names: Vec<String> = case.fixed().map(|(n, _)| n.to_owned()).collect();
    columns.push(case.get("offset").to_vec());
    columns.push(case.codes[0].1.iter().map(|c| f64::from(*c)).collect());
    let last = columns.len() - 1;
    let records = Array2::from_shape_fn((y.len(), columns.len()), |(i, j)| columns[j][i]);
    let dataset = DatasetBase::new(records.clone(), Array1::from(y.to_vec()));
    let params =
        GeneralisedParams::new(Family::NegativeBinomial, vec![last]).offset_column(last - 1);
    let model = params.fit(&dataset).unwrap();
    let mut link = 0.0;
    for ((name, b), row) in names.iter().zip(model.fit().estimates()).zip(case.fixed()) {
        common::close(name, *b, reference.get("estimate", name), 1e-5);
        link += b * row.1[0];
    }
    let predicted: Array1<f64> = model.predict(&records);
    let sd = reference.get("sd", "Nest.intercept");
    let expected = (link + case.get("offset")[0] + 0.5 * sd * sd).exp();
    common::close("population mean", predicted[0], expected, 1e-5);
    let narrow = Array2::<f64>::zeros((3, 0));
    assert!(model.predict(&narrow).iter().all(|p| p.is_nan()));
    let twice = GeneralisedParams::new(Family::Poisson, vec![1]).offset_column(1);
    assert!(matches!(twice.check_ref(), Err(Error::DuplicateName { .. })));
    assert!(twice.fit(&dataset).is_err());
    let absent = GeneralisedParams::new(Family::Poisson, vec![99]);
    assert!(matches!(absent.fit(&dataset), Err(Error::Unknown { .. })));
}
