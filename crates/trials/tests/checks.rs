//! Residual checks against R (stats, car, spdep, lme4 with pbkrtest) on published data.
#![allow(clippy::expect_used)]

mod witness;

use serde_json::Value;
use trials::checks::{
    Answer, CheckError, FieldPosition, LinearFit, ResidualChecks, TestOutcome, bartlett,
    bartlett_of, levene, moran, neighbour_correlation, nonadditivity, outliers, shapiro_wilk,
    spatial_adjustment, trend,
};
use witness::{number, numbers, read, rows};

fn near(found: f64, expected: f64, relative: f64, what: &str) {
    let tolerance = relative * expected.abs().max(1e-3);
    assert!((found - expected).abs() <= tolerance, "{what}: {found} {expected}");
}

fn same(found: &TestOutcome, expected: &Value, relative: f64, what: &str) {
    near(found.statistic, number(&expected["statistic"]), relative, what);
    assert_eq!(found.df, numbers(&expected["df"]), "{what}");
    near(found.p_value, number(&expected["p"]), relative, what);
}

fn array(value: &Value) -> &Vec<Value> {
    value.as_array().expect("an array")
}

fn linear(case: &Value) -> LinearFit {
    LinearFit::new(&numbers(&case["y"]), &rows(&case["x"])).expect("complete columns")
}

fn positions(case: &Value) -> Vec<FieldPosition> {
    numbers(&case["row"])
        .into_iter()
        .zip(numbers(&case["column"]))
        .map(|(row, column)| FieldPosition { row, column })
        .collect()
}

#[test]
fn tests_of_equal_variances_agree_with_r() {
    let r = read("checks/checks.json");
    assert_eq!(array(&r["variances"]).len(), 3);
    for case in array(&r["variances"]) {
        let groups = rows(&case["groups"]);
        let what = case["case"].to_string();
        same(&bartlett(&groups).expect("varies"), &case["bartlett"], 1e-9, &what);
        same(&levene(&groups, true).expect("varies"), &case["median"], 1e-9, &what);
        same(&levene(&groups, false).expect("varies"), &case["mean"], 1e-9, &what);
    }
}

#[test]
fn shapiro_wilk_agrees_with_r() {
    let r = read("checks/checks.json");
    assert_eq!(array(&r["normality"]).len(), 13);
    for case in array(&r["normality"]) {
        let values = numbers(&case["values"]);
        let found = shapiro_wilk(&values).expect("varies");
        // R carries single-precision constants in places.
        near(found.statistic, number(&case["w"]), 1e-7, "W");
        let p = number(&case["p"]);
        assert!((found.p_value / p - 1.0).abs() < 1e-5, "{} {p}", found.p_value);
    }
}

#[test]
fn residuals_outliers_and_additivity_agree_with_r() {
    let r = read("checks/checks.json");
    assert_eq!(array(&r["models"]).len(), 4);
    for case in array(&r["models"]) {
        let what = case["case"].to_string();
        let fit = linear(case);
        if case["nonadditivity"]["statistic"].is_number() {
            same(&nonadditivity(&fit).expect("varies"), &case["nonadditivity"], 1e-8, &what);
        } else {
            // One factor alone leaves nothing to add.
            assert!(matches!(nonadditivity(&fit), Err(CheckError::NoVariation(_))), "{what}");
        }
        let found = outliers(&fit, 0.05).expect("varies");
        let columns = ["rstandard", "rstudent", "cook", "hat"].map(|name| numbers(&case[name]));
        for plot in &found.plots {
            near(plot.studentised.expect("free"), columns[0][plot.row], 1e-8, &what);
            near(plot.external.expect("free"), columns[1][plot.row], 1e-8, &what);
            near(plot.cook.expect("free"), columns[2][plot.row], 1e-8, &what);
            near(plot.leverage, columns[3][plot.row], 1e-8, &what);
        }
        let (row, p) = (number(&case["outlier"]["row"]) as usize, number(&case["outlier"]["p"]));
        near(found.plots[row].p_bonferroni.expect("free"), p, 1e-8, &what);
        assert_eq!(found.outlying.contains(&row), p < 0.05, "{what}");
    }
}

#[test]
fn field_checks_agree_with_r() {
    let r = read("checks/checks.json");
    let case = &r["models"][1];
    let fit = linear(case);
    same(&moran(&fit, &positions(case)).expect("placed"), &case["moran"], 1e-8, "Moran");
    same(&trend(&fit, &positions(case)).expect("placed"), &case["trend"], 1e-8, "trend");
    // Rows and columns as blocks take the trend up.
    let square = linear(&r["models"][2]);
    let refused = trend(&square, &positions(case));
    assert!(matches!(refused, Err(CheckError::NoVariation(_))), "{refused:?}");
}

#[test]
fn the_spatial_adjustment_agrees_with_lme4_and_pbkrtest() {
    let s = &read("checks/checks.json")["spatial"];
    let columns = rows(&s["x"]);
    let mut contrast = vec![0.0; columns.len()];
    contrast[1] = 1.0;
    let found = spatial_adjustment(&numbers(&s["y"]), &columns, &[], &[contrast], &positions(s))
        .expect("rows and columns");
    near(found.aic_before, number(&s["aic_before"]), 1e-6, "AIC before");
    near(found.aic_after, number(&s["aic_after"]), 1e-6, "AIC after");
    near(found.row_variance, number(&s["row_variance"]), 1e-3, "rows");
    near(found.column_variance, number(&s["column_variance"]), 1e-3, "columns");
    near(found.residual_variance, number(&s["residual_variance"]), 1e-4, "residual");
    near(found.mean_sed_before, number(&s["sed_before"]), 1e-8, "SED before");
    near(found.mean_sed_after, number(&s["sed_after"]), 1e-4, "SED after");
    let (estimate, std_error, df) = found.differences[0].expect("estimable");
    near(estimate, number(&s["estimate"]), 1e-4, "estimate");
    near(std_error, number(&s["sed_after"]), 1e-4, "its error");
    near(df, number(&s["df"]), 1e-3, "df");
}

#[test]
fn a_smooth_field_is_found_and_a_quiet_one_is_not() {
    // 8 x 8 plots, four treatments in a fixed scattered order; a wave of amplitude 3 beside
    // alternating errors of size 1 that no neighbour shares.
    let places: Vec<FieldPosition> = (0..64)
        .map(|i| FieldPosition { row: f64::from(i / 8), column: f64::from(i % 8) })
        .collect();
    let treatment: Vec<usize> = (0..64).map(|i| (i * 5 + i / 8 * 3) % 4).collect();
    let mut columns = vec![vec![1.0; 64]];
    for t in 1..4 {
        columns.push(treatment.iter().map(|x| f64::from(u8::from(*x == t))).collect());
    }
    let error = |i: usize| ((i * 7919 + 13) % 101) as f64 / 50.0 - 1.0;
    let response = |wave: f64| -> Vec<f64> {
        places
            .iter()
            .enumerate()
            .map(|(i, p)| 10.0 + wave * (p.row / 2.0).sin() + error(i))
            .collect()
    };
    let rough = LinearFit::new(&response(3.0), &columns).expect("complete");
    assert!(moran(&rough, &places).expect("placed").p_value < 1e-6);
    assert!(neighbour_correlation(&rough, &places).expect("placed") > 0.5);
    let quiet = LinearFit::new(&response(0.0), &columns).expect("complete");
    assert!(moran(&quiet, &places).expect("placed").p_value > 0.05);
    let contrasts = [vec![0.0, 1.0, 0.0, 0.0], vec![0.0, 1.0, -1.0, 0.0]];
    let gain =
        spatial_adjustment(&response(3.0), &columns, &[], &contrasts, &places).expect("fitted");
    assert!(gain.aic_after < gain.aic_before - 20.0);
    assert!(gain.mean_sed_after < 0.5 * gain.mean_sed_before, "{gain:?}");
}

/// Witness: algebra. Rows that are the blocks of the design add nothing to its columns, so that the
/// model with columns of the field alone is the model with both.
#[test]
fn rows_that_the_design_carries_are_left_out() {
    let s = &read("checks/checks.json")["spatial"];
    let (columns, y, places) = (rows(&s["x"]), numbers(&s["y"]), positions(s));
    let distinct = |of: fn(&FieldPosition) -> f64| {
        let mut values: Vec<f64> = places.iter().map(of).collect();
        values.sort_by(f64::total_cmp);
        values.dedup();
        values
    };
    let indicators = |values: &[f64], of: fn(&FieldPosition) -> f64| -> Vec<Vec<f64>> {
        let flags =
            |value: &f64| places.iter().map(|p| f64::from(u8::from(of(p) == *value))).collect();
        values.iter().skip(1).map(flags).collect()
    };
    let (of_row, of_column): (fn(&FieldPosition) -> f64, _) =
        (|p| p.row, |p: &FieldPosition| p.column);
    let blocked = [columns.clone(), indicators(&distinct(of_row), of_row)].concat();
    let mut contrast = vec![0.0; blocked.len()];
    contrast[1] = 1.0;
    let contrasts = [contrast];
    let found = spatial_adjustment(&y, &blocked, &[], &contrasts, &places).expect("by column");
    assert!(found.reading.starts_with("Columns of the field, whose rows"), "{}", found.reading);
    assert_eq!(found.row_variance, 0.0);
    // Only one variance is added, so the AIC rises by no more than 2.
    assert!(found.aic_after <= found.aic_before + 2.0 + 1e-9, "{found:?}");
    // The same rows as a random stratum of the design.
    let row = |p: &FieldPosition| distinct(of_row).iter().position(|v| *v == p.row).expect("one");
    let strata = [places.iter().map(row).collect::<Vec<_>>()];
    let mut short = vec![0.0; columns.len()];
    short[1] = 1.0;
    let random = spatial_adjustment(&y, &columns, &strata, &[short], &places).expect("by column");
    assert!(random.reading.starts_with("Columns of the field, whose rows"), "{}", random.reading);
    // Both carried: nothing is left.
    let both = [blocked, indicators(&distinct(of_column), of_column)].concat();
    let mut contrast = vec![0.0; both.len()];
    contrast[1] = 1.0;
    let refused = spatial_adjustment(&y, &both, &[], &[contrast], &places);
    assert!(matches!(refused, Err(CheckError::Columns(_))), "{refused:?}");
}

#[test]
fn all_equal_responses_and_lost_positions_are_answered_without_nan() {
    let columns = vec![vec![1.0; 6], vec![0.0, 1.0, 0.0, 1.0, 0.0, 1.0]];
    let fit = LinearFit::new(&[4.0; 6], &columns).expect("complete");
    let treatment: Vec<String> = ["a", "b"].iter().cycle().take(6).map(|t| (*t).into()).collect();
    let checks = ResidualChecks::new(&fit, &treatment, None);
    assert!(matches!(checks.normality, Answer::NotMade(_)));
    assert!(matches!(checks.outliers, Answer::NotMade(_)));
    assert!(matches!(checks.equal_variances, Answer::NotMade(_)));
    assert!(matches!(checks.additivity, Answer::NotMade(_)));
    assert!(matches!(checks.moran, Answer::NotMade(_)));
    let text = serde_json::to_string(&checks).expect("serialises");
    assert!(!text.contains("null,\"leverage\"") && !text.contains("NaN"));
    assert!(shapiro_wilk(&[1.0, 2.0]).is_err() && shapiro_wilk(&[2.0; 5]).is_err());
    assert!(bartlett_of(&[1.0], &[4.0]).is_err() && bartlett_of(&[1.0, 0.0], &[4.0; 2]).is_err());
    assert!(levene(&[vec![1.0, 2.0], vec![3.0]], true).is_err());
    assert!(LinearFit::new(&[1.0, f64::NAN], &[vec![1.0; 2]]).is_err());
}
