//! All checks of one analysis together.

use super::{
    CheckError, FieldPosition, LinearFit, OutlierCheck, TestOutcome, levene, moran,
    neighbour_correlation, nonadditivity, outliers, shapiro_wilk, trend,
};
use serde::{Deserialize, Serialize};
use words::say;

/// A check's result, or why it was not made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer<T> {
    /// Made.
    Made(T),
    /// Not made, in words.
    NotMade(String),
}

impl<T> Answer<T> {
    /// The result, if there is one.
    pub fn made(&self) -> Option<&T> {
        match self {
            Answer::Made(result) => Some(result),
            Answer::NotMade(_) => None,
        }
    }
}

impl<T> From<Result<T, CheckError>> for Answer<T> {
    fn from(result: Result<T, CheckError>) -> Self {
        match result {
            Ok(made) => Answer::Made(made),
            Err(error) => Answer::NotMade(error.to_string()),
        }
    }
}

/// A plot for the residual pictures.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ResidualPoint {
    /// Fitted value, units of the response.
    pub fitted: f64,
    /// Residual, units of the response.
    pub residual: f64,
    /// Residual over its standard error; `None` where the plot fixes its own fit.
    pub studentised: Option<f64>,
    /// Standard normal score of its rank (Blom 1958), for the normal plot.
    pub normal_score: f64,
    /// Place in the field, where known.
    pub position: Option<FieldPosition>,
}

/// Checks of the residuals of one analysis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ResidualChecks {
    /// One entry per plot.
    pub points: Vec<ResidualPoint>,
    /// Normality of the residuals.
    pub normality: Answer<TestOutcome>,
    /// Equal variances of the treatments.
    pub equal_variances: Answer<TestOutcome>,
    /// Additivity of treatments and blocks.
    pub additivity: Answer<TestOutcome>,
    /// Outlying plots.
    pub outliers: Answer<OutlierCheck>,
    /// Correlation of the residuals of touching plots.
    pub neighbours: Answer<f64>,
    /// Test of that correlation.
    pub moran: Answer<TestOutcome>,
    /// Trend along rows and columns.
    pub trend: Answer<TestOutcome>,
}

impl ResidualChecks {
    /// Checks the least-squares fit of all terms of the design (blocks and main plots among the
    /// columns). `treatment` gives each plot's treatment; `positions` its place, where recorded.
    /// Outliers are searched for at 5 %.
    #[must_use]
    pub fn new(fit: &LinearFit, treatment: &[String], positions: Option<&[FieldPosition]>) -> Self {
        let searched = outliers(fit, 0.05);
        let scores = normal_scores(fit);
        let points = fit
            .fitted
            .iter()
            .zip(&fit.residuals)
            .zip(scores)
            .enumerate()
            .map(|(row, ((fitted, residual), normal_score))| ResidualPoint {
                fitted: *fitted,
                residual: *residual,
                studentised: searched
                    .as_ref()
                    .ok()
                    .and_then(|o| o.plots.get(row))
                    .and_then(|p| p.studentised),
                normal_score,
                position: positions.and_then(|p| p.get(row)).copied(),
            })
            .collect();
        let mut groups = std::collections::BTreeMap::<&str, Vec<f64>>::new();
        for (name, residual) in treatment.iter().zip(&fit.residuals) {
            groups.entry(name).or_default().push(*residual);
        }
        let groups: Vec<Vec<f64>> = groups.into_values().collect();
        let placed = positions.ok_or_else(|| {
            CheckError::Columns(say!("no row and column of the plots are recorded"))
        });
        ResidualChecks {
            points,
            normality: normality(fit).into(),
            equal_variances: levene(&groups, true).into(),
            additivity: nonadditivity(fit).into(),
            outliers: searched.into(),
            neighbours: placed.clone().and_then(|p| neighbour_correlation(fit, p)).into(),
            moran: placed.clone().and_then(|p| moran(fit, p)).into(),
            trend: placed.and_then(|p| trend(fit, p)).into(),
        }
    }
}

/// Whether a plot's residual may differ from 0: one that fixes its own fit, as a treatment given once does, tells
/// nothing of the errors.
fn is_free(leverage: f64) -> bool {
    1.0 - leverage > 1e-9
}

/// Residuals that are rounding alone are not tested.
fn normality(fit: &LinearFit) -> Result<TestOutcome, CheckError> {
    let scale: f64 = fit.fitted.iter().map(|f| f * f).sum();
    if fit.sum_of_squares() <= 1e-24 * scale {
        return Err(CheckError::NoVariation(say!("residuals")));
    }
    let free = fit.residuals.iter().zip(&fit.leverages).filter(|(_, own)| is_free(**own));
    let free: Vec<f64> = free.map(|(residual, _)| *residual).collect();
    shapiro_wilk(&free)
}

/// Scores of the residuals that may differ from 0, and 0 for the others.
fn normal_scores(fit: &LinearFit) -> Vec<f64> {
    use statrs::distribution::{ContinuousCDF, Normal};
    let values = &fit.residuals;
    let own = fit.leverages.iter().enumerate().filter(|(_, leverage)| is_free(**leverage));
    let mut order: Vec<usize> = own.map(|(row, _)| row).collect();
    let of = |i: &usize| values.get(*i).copied().unwrap_or(0.0);
    order.sort_by(|a, b| of(a).total_cmp(&of(b)));
    let number = order.len() as f64;
    let mut scores = vec![0.0; values.len()];
    for (rank, i) in order.iter().enumerate() {
        if let Some(score) = scores.get_mut(*i) {
            let p = (rank as f64 + 0.625) / (number + 0.25);
            *score = Normal::standard().inverse_cdf(p);
        }
    }
    scores
}
