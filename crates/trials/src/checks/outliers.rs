//! Outlying plots and how much they matter.

use super::CheckError;
use super::linear_fit::LinearFit;
use super::variances::f_tail;
use serde::{Deserialize, Serialize};
use words::say;

/// One plot's residual and influence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlotInfluence {
    /// Row of the data, from 0.
    pub row: usize,
    /// Residual over its own standard error; `None` where the plot fixes its own fit.
    pub studentised: Option<f64>,
    /// Residual over its standard error from the other plots: a t statistic of one df less.
    pub external: Option<f64>,
    /// Share of its own fitted value that the plot determines.
    pub leverage: f64,
    /// Cook's distance (1977, Technometrics 19:15-18).
    pub cook: Option<f64>,
    /// p-value of the plot as an outlier, times the number of plots.
    pub p_bonferroni: Option<f64>,
}

/// Every plot, and those called outlying.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OutlierCheck {
    /// One entry per row.
    pub plots: Vec<PlotInfluence>,
    /// Rows whose adjusted p-value is below the level.
    pub outlying: Vec<usize>,
    /// Error level of the whole search.
    pub level: f64,
}

/// Externally studentised residuals with Bonferroni's bound (Cook and Weisberg 1982, Residuals and
/// Influence in Regression, section 2.2) and Cook's distances. An outlier found is to be looked up
/// in the field book, not to be dropped.
///
/// # Errors
/// When fewer than 2 residual degrees of freedom are left, or residuals do not vary.
pub fn outliers(fit: &LinearFit, level: f64) -> Result<OutlierCheck, CheckError> {
    if fit.df() < 2 {
        return Err(CheckError::TooFew {
            what: say!("residual degrees of freedom"),
            found: fit.df(),
            needed: 2,
        });
    }
    let (rows, df, rank) = (fit.residuals.len() as f64, fit.df() as f64, fit.rank as f64);
    let scale: f64 = fit.fitted.iter().zip(&fit.residuals).map(|(f, e)| (f + e).powi(2)).sum();
    let variance = fit.sum_of_squares() / df;
    if fit.sum_of_squares() <= 1e-24 * scale {
        return Err(CheckError::NoVariation(say!("residuals")));
    }
    let mut plots = Vec::with_capacity(fit.residuals.len());
    for (row, (residual, leverage)) in fit.residuals.iter().zip(&fit.leverages).enumerate() {
        let rest = 1.0 - leverage;
        let studentised = (rest > 1e-9).then(|| residual / (variance * rest).sqrt());
        // The variance without the plot, in closed form.
        let without = |r: f64| (df - r * r) / (df - 1.0);
        let external = studentised.filter(|r| without(*r) > 1e-12).map(|r| r / without(r).sqrt());
        let p_bonferroni = match external {
            Some(t) => Some((f_tail(1.0, df - 1.0, t * t)? * rows).min(1.0)),
            None => None,
        };
        let cook = studentised.map(|r| r * r * leverage / (rest * rank));
        plots.push(PlotInfluence {
            row,
            studentised,
            external,
            leverage: *leverage,
            cook,
            p_bonferroni,
        });
    }
    let outlying =
        plots.iter().filter(|p| p.p_bonferroni.is_some_and(|p| p < level)).map(|p| p.row).collect();
    Ok(OutlierCheck { plots, outlying, level })
}
