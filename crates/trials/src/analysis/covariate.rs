//! Covariance adjustment: the covariate's slope, whether slopes differ, whether treatments moved it.

use super::anova::anova;
use super::fitted::{Fitted, Judge};
use super::quantiles::f_tail;
use super::result::AnovaKind;
use crate::design::Plan;
use crate::names::name_in_words;
use serde::{Deserialize, Serialize};
use words::{say, text};

/// What a covariate did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CovariateAdjustment {
    /// Name.
    pub name: String,
    /// Mean over the units, at which means are adjusted.
    pub mean: f64,
    /// Response per unit of the covariate, the same for all treatments and strata.
    pub slope: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// F of the slope.
    pub f: f64,
    /// Its p-value.
    pub p: Option<f64>,
    /// Test that slopes are the same for all treatments: F, degrees of freedom of numerator and
    /// denominator, p. `None` where too few units are left for it.
    pub equal_slopes: Option<(f64, f64, f64, f64)>,
    /// p-value of each term in an analysis of the covariate itself. A covariate that treatments
    /// moved takes part of their effect away.
    pub moved_by: Vec<(String, f64)>,
    /// What the reader should know.
    pub words: String,
}

/// Reads the covariate off a fit that holds one.
pub(super) fn adjustment(plan: &Plan, fitted: &Fitted) -> Option<CovariateAdjustment> {
    let (column, mean) = fitted.columns.covariate?;
    let name = plan.covariate.clone()?;
    let mut l = vec![0.0; fitted.columns.names.len()];
    l[column] = 1.0;
    let e = fitted.estimate(&l)?;
    let f = (e.estimate / e.std_error).powi(2);
    let equal_slopes = equal_slopes(plan, fitted, column);
    let moved_by = moved_by(plan);
    let moved: Vec<&str> =
        moved_by.iter().filter(|(_, p)| *p < 0.05).map(|(t, _)| t.as_str()).collect();
    let name_said = name_in_words(&name);
    let mut words = say!(
        "Means are adjusted to {name} = {mean:.4} with one slope for all treatments and strata.",
        name = name_said
    );
    if !moved.is_empty() {
        words.push_str(&say!(
            " {} differ in {name} itself (p < 0.05): if it was measured after treatments began, the \
             adjustment takes part of their effect away.",
            moved.join(text!(" and ")),
            name = name_said
        ));
    }
    if equal_slopes.is_some_and(|(_, _, _, p)| p < 0.05) {
        words.push_str(text!(
            " Slopes differ between treatments (p < 0.05): adjusted means hold at that value only."
        ));
    }
    Some(CovariateAdjustment {
        name,
        mean,
        slope: e.estimate,
        std_error: e.std_error,
        df: e.df,
        f,
        p: f_tail(f, 1.0, e.df),
        equal_slopes,
        moved_by,
        words,
    })
}

/// Test of the products of the covariate with every treatment column.
fn equal_slopes(plan: &Plan, fitted: &Fitted, column: usize) -> Option<(f64, f64, f64, f64)> {
    let mut columns = fitted.columns.clone();
    let start = columns.names.len();
    for j in 1..columns.treatments {
        let product =
            columns.values[j].iter().zip(&columns.values[column]).map(|(a, b)| a * b).collect();
        columns.names.push(format!("slope of {}", columns.names[j]));
        columns.values.push(product);
    }
    let rows = columns.unit_rows(start..columns.names.len());
    let wider = Fitted::with_columns(plan, columns, false).ok()?;
    let (test, _) = wider.test(&rows)?;
    Some((test.statistic, test.df, test.df_denominator, test.p_value))
}

/// p of every term with the covariate as the response.
fn moved_by(plan: &Plan) -> Vec<(String, f64)> {
    let mut other = plan.clone();
    other.covariate = None;
    for unit in &mut other.units {
        unit.value = unit.covariate.unwrap_or(0.0);
        unit.trees = vec![unit.value];
    }
    let Ok(fitted) = Fitted::new(&other) else { return Vec::new() };
    let lines = anova(&other, &fitted).into_iter();
    lines.filter(|r| r.kind == AnovaKind::Term).filter_map(|r| Some((r.source, r.p?))).collect()
}
