//! The estimator through linfa's traits.
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use linfa::traits::{Fit, Predict};
use linfa::{DatasetBase, ParamGuard};
use mixed::linfa_edge::MixedParams;
use mixed::{Error, Settings};
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
