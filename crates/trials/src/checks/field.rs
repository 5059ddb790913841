//! Whether residuals depend on their place in the field.

use super::linear_fit::{LinearFit, dot};
use super::variances::f_tail;
use super::{CheckError, TestOutcome};
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};
use words::say;

/// Row and column of a plot in the field, in plots.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FieldPosition {
    /// Row.
    pub row: f64,
    /// Column.
    pub column: f64,
}

impl FieldPosition {
    /// Plots that share an edge.
    fn touches(&self, other: &FieldPosition) -> bool {
        let (rows, columns) = ((self.row - other.row).abs(), (self.column - other.column).abs());
        (rows + columns - 1.0).abs() < 1e-9
    }
}

/// Pairs of rows of the data whose plots share an edge.
fn neighbours(positions: &[FieldPosition]) -> Vec<(usize, usize)> {
    let mut pairs = Vec::new();
    for (i, first) in positions.iter().enumerate() {
        for (j, second) in positions.iter().enumerate().skip(i + 1) {
            if first.touches(second) {
                pairs.push((i, j));
            }
        }
    }
    pairs
}

fn placed(fit: &LinearFit, positions: &[FieldPosition]) -> Result<(), CheckError> {
    let (found, needed) = (positions.len(), fit.residuals.len());
    if found != needed {
        return Err(CheckError::Columns(say!("{found} positions for {needed} plots")));
    }
    if fit.df() < 3 {
        let what = say!("residual degrees of freedom");
        return Err(CheckError::TooFew { what, found: fit.df(), needed: 3 });
    }
    if positions.iter().any(|p| !p.row.is_finite() || !p.column.is_finite()) {
        return Err(CheckError::Columns(say!("a plot has no row or column")));
    }
    Ok(())
}

/// Correlation of the residuals of plots that share an edge.
///
/// # Errors
/// When positions are missing, no plots touch, or residuals do not vary.
pub fn neighbour_correlation(
    fit: &LinearFit,
    positions: &[FieldPosition],
) -> Result<f64, CheckError> {
    placed(fit, positions)?;
    let pairs = neighbours(positions);
    if pairs.is_empty() {
        let what = say!("pairs of touching plots");
        return Err(CheckError::TooFew { what, found: 0, needed: 1 });
    }
    let of = |i: usize| fit.residuals.get(i).copied().unwrap_or(0.0);
    let products: f64 = pairs.iter().map(|&(i, j)| of(i) * of(j)).sum();
    let squares: f64 = pairs.iter().map(|&(i, j)| 0.5 * (of(i).powi(2) + of(j).powi(2))).sum();
    if squares > 0.0 {
        Ok(products / squares)
    } else {
        Err(CheckError::NoVariation(say!("residuals")))
    }
}

/// Moran's test of the residuals of a linear model between plots that share an edge (weights 1),
/// against positive correlation, with the moments that the fitted model implies (Cliff and Ord
/// 1981, Spatial Processes, section 8.3). The statistic is the standardised I.
///
/// # Errors
/// When positions are missing, no plots touch, or residuals do not vary.
pub fn moran(fit: &LinearFit, positions: &[FieldPosition]) -> Result<TestOutcome, CheckError> {
    placed(fit, positions)?;
    let pairs = neighbours(positions);
    if pairs.is_empty() {
        let what = say!("pairs of touching plots");
        return Err(CheckError::TooFew { what, found: 0, needed: 1 });
    }
    let rows = fit.residuals.len();
    let df = fit.df() as f64;
    // I is a ratio of quadratic forms in the residual space: with K = M W M,
    // E = tr K / df and Var = 2 (df tr K^2 - (tr K)^2) / (df^2 (df + 2)).
    let times_w = |v: &[f64]| {
        let mut result = vec![0.0; rows];
        for &(i, j) in &pairs {
            for (to, from) in [(i, j), (j, i)] {
                if let (Some(entry), Some(value)) = (result.get_mut(to), v.get(from)) {
                    *entry += value;
                }
            }
        }
        result
    };
    let (mut trace, mut trace_square) = (0.0, 0.0);
    for unit in 0..rows {
        let mut e = vec![0.0; rows];
        if let Some(entry) = e.get_mut(unit) {
            *entry = 1.0;
        }
        let k = fit.residual_of(&times_w(&fit.residual_of(&e)));
        trace += k.get(unit).copied().unwrap_or(0.0);
        trace_square += dot(&k, &k);
    }
    let squares = fit.sum_of_squares();
    if squares <= 0.0 {
        return Err(CheckError::NoVariation(say!("residuals")));
    }
    let ratio = dot(&fit.residuals, &times_w(&fit.residuals)) / squares;
    let variance = 2.0 * (df * trace_square - trace * trace) / (df * df * (df + 2.0));
    if variance <= 1e-18 {
        return Err(CheckError::NoVariation(say!("neighbours, beyond the model,")));
    }
    let z = (ratio - trace / df) / variance.sqrt();
    Ok(TestOutcome {
        test: say!("Moran's I of residuals between touching plots (Cliff and Ord 1981)"),
        statistic: z,
        df: Vec::new(),
        p_value: Normal::standard().sf(z),
    })
}

/// F test of a straight trend of the response along rows and columns beside the model.
///
/// # Errors
/// When positions are missing, nothing is left of rows and columns beside the model (blocks take
/// it up), or residuals do not vary.
pub fn trend(fit: &LinearFit, positions: &[FieldPosition]) -> Result<TestOutcome, CheckError> {
    placed(fit, positions)?;
    let centred = |values: Vec<f64>| {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let columns: Vec<f64> = values.iter().map(|v| v - mean).collect();
        let left = fit.residual_of(&columns);
        (dot(&left, &left) > 1e-16 * dot(&columns, &columns)).then_some(left)
    };
    let columns: Vec<Vec<f64>> = [
        centred(positions.iter().map(|p| p.row).collect()),
        centred(positions.iter().map(|p| p.column).collect()),
    ]
    .into_iter()
    .flatten()
    .collect();
    let with = LinearFit::new(&fit.residuals, &columns)?;
    let df = fit.df().saturating_sub(with.rank);
    if with.rank == 0 {
        return Err(CheckError::NoVariation(say!(
            "rows and columns, beyond what the design takes up,"
        )));
    }
    let rest = with.sum_of_squares();
    if df == 0 || rest <= 1e-24 * fit.sum_of_squares() {
        return Err(CheckError::NoVariation(say!("residuals")));
    }
    let (df1, df2) = (with.rank as f64, df as f64);
    let f = (fit.sum_of_squares() - rest).max(0.0) / df1 / (rest / df2);
    Ok(TestOutcome {
        test: say!("straight trend along rows and columns"),
        statistic: f,
        df: vec![df1, df2],
        p_value: f_tail(df1, df2, f)?,
    })
}
