//! Slopes within and between groups on the Grunfeld investment panel. Baltagi (2005, Econometric
//! Analysis of Panel Data, 3rd ed., table 2.1): within 0.110 (0.012) and 0.310 (0.017), between 0.135
//! and 0.032. More digits by notebooks-free-scripts/panel-reference/grunfeld.py.
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

use mixed::{Contrast, Data, Factor, FixedColumn, Settings, fit};
use std::collections::BTreeMap;

fn rows(file: &str) -> Vec<Vec<String>> {
    let path = format!("{}/../../tests/reference/panel/{file}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    text.lines().skip(1).map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

/// With the firms' means as columns of their own, a random-intercept model has the within estimates
/// as slopes, and slope plus coefficient of the mean is the between estimate, in a balanced panel
/// exactly (Mundlak, 1978, Econometrica 46(1):69-85): what the yield model rests on where it splits
/// routine intensity into a tree's own mean and its deviation from it.
#[test]
fn means_as_columns_split_within_from_between() {
    let data = rows("grunfeld.csv");
    let column =
        |k: usize| -> Vec<f64> { data.iter().map(|row| row[k].parse().unwrap()).collect() };
    let (y, value, capital) = (column(0), column(1), column(2));
    let firm: Vec<u32> = data.iter().map(|row| row[3].parse().unwrap()).collect();
    let means = |x: &[f64]| -> Vec<f64> {
        let mean = |f: u32| {
            let own: Vec<f64> =
                x.iter().zip(&firm).filter(|(_, g)| **g == f).map(|(v, _)| *v).collect();
            own.iter().sum::<f64>() / own.len() as f64
        };
        firm.iter().map(|&f| mean(f)).collect()
    };
    let (mean_value, mean_capital) = (means(&value), means(&capital));
    let ones = vec![1.0; y.len()];
    let mut model = Data::new(&y);
    for (name, values) in [
        ("intercept", &ones),
        ("value", &value),
        ("capital", &capital),
        ("mean value", &mean_value),
        ("mean capital", &mean_capital),
    ] {
        model = model.column(FixedColumn::new(name, values.as_slice()));
    }
    let fitted = fit(&model.factor(Factor::intercept("firm", &firm, 10)), &Settings::default());
    let fitted = fitted.unwrap();

    let published: BTreeMap<String, [f64; 2]> = rows("grunfeld-values.csv")
        .into_iter()
        .map(|row| (row[0].clone(), [row[1].parse().unwrap(), row[2].parse().unwrap()]))
        .collect();
    let rounded = |found: f64, printed: f64| (found - printed).abs() < 5.1e-4;
    let [within_value, within_capital] = published["within"];
    assert!(rounded(within_value, 0.110) && rounded(within_capital, 0.310));
    assert!(rounded(published["between"][0], 0.135) && rounded(published["between"][1], 0.032));

    let estimates = fitted.estimates();
    for k in 0..2 {
        let within = estimates[1 + k];
        assert!((within / published["within"][k] - 1.0).abs() < 1e-9, "{within}");
        let between = within + estimates[3 + k];
        assert!((between / published["between"][k] - 1.0).abs() < 1e-7, "{between}");
        let mut unit = [0.0; 5];
        unit[1 + k] = 1.0;
        let Contrast::Estimated(slope) = fitted.contrast(&unit, 0.95).unwrap() else {
            panic!("not estimable")
        };
        // Both estimate the error variance from what is left within firms: 188 degrees of freedom.
        assert!((slope.std_error / published["within_se"][k] - 1.0).abs() < 1e-6);
        assert!((slope.df - 188.0).abs() < 1e-3, "{}", slope.df);
    }
}
