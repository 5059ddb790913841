//! The table of comparisons.

use super::adjust::{Adjustment, Family, holm};
use super::loadings::product_loadings;
use super::{CompareError, EstimatedMeans};
use crate::distributions::{NoncentralF, Sides};
use serde::{Deserialize, Serialize};
use words::{say, text};

/// Deviation of a correlation from the product form that is worth telling.
const DEVIATION_TOLD: f64 = 0.01;

/// Which differences make up the family.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Pairs {
    /// Every pair, first minus second in the order of the means.
    All,
    /// Every other mean minus the control of this name.
    WithControl(String),
}

/// One difference. Intervals and p-values hold for the family, except `p_unadjusted`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// Name of the first mean.
    pub first: String,
    /// Name of the mean subtracted.
    pub second: String,
    /// First minus second, units of the means.
    pub estimate: f64,
    /// Standard error of the difference.
    pub std_error: f64,
    /// Degrees of freedom of the standard error; `None` when the variance is taken as known.
    pub df: Option<f64>,
    /// Difference over its standard error; `None` when the standard error is 0.
    pub statistic: Option<f64>,
    /// Two-sided p-value of this difference alone.
    pub p_unadjusted: Option<f64>,
    /// p-value adjusted for the family.
    pub p_value: Option<f64>,
    /// Lower end of the simultaneous interval; `None` where it is unbounded (one-sided).
    pub conf_low: Option<f64>,
    /// Upper end of the simultaneous interval; `None` where it is unbounded (one-sided).
    pub conf_high: Option<f64>,
}

/// Smallest difference that the family calls significant: one number when all standard errors are
/// equal, else that of the most and of the least precise difference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MinimumDifference {
    /// For the most precise difference.
    pub smallest: f64,
    /// For the least precise difference.
    pub largest: f64,
}

/// Comparisons of one family.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ComparisonTable {
    /// How the family was adjusted.
    pub adjustment: Adjustment,
    /// Error level of the family (of each comparison when unadjusted), such as 0.05.
    pub level: f64,
    /// Differences.
    pub rows: Vec<Comparison>,
    /// Minimum significant difference.
    pub minimum_difference: MinimumDifference,
    /// What a reader must know of the method.
    pub notes: Vec<String>,
}

impl ComparisonTable {
    /// Compares `means` at the family's error `level`.
    ///
    /// # Errors
    /// When the level is not inside (0, 1), the control is none of the means, the adjustment is
    /// made for other pairs, or degrees of freedom are not positive.
    pub fn new(
        means: &EstimatedMeans,
        pairs: &Pairs,
        adjustment: Adjustment,
        level: f64,
    ) -> Result<Self, CompareError> {
        if !(level > 0.0 && level < 1.0) {
            return Err(CompareError::Level(level));
        }
        let indices = indices(means, pairs)?;
        let mut notes = Vec::new();
        let loadings = match (adjustment, pairs) {
            (Adjustment::Tukey, Pairs::WithControl(_)) => {
                return Err(CompareError::WrongPairs {
                    adjustment: text!("Tukey-Kramer"),
                    needed: text!("all pairs"),
                });
            }
            (Adjustment::Dunnett(_), Pairs::All) => {
                return Err(CompareError::WrongPairs {
                    adjustment: text!("Dunnett"),
                    needed: text!("comparisons with a control"),
                });
            }
            (Adjustment::Dunnett(_), Pairs::WithControl(_)) => {
                control_loadings(means, &indices, &mut notes)
            }
            _ => Vec::new(),
        };
        let family = Family {
            adjustment,
            means: means.count(),
            comparisons: indices.len(),
            loadings,
            level,
        };
        let references = family.references(indices.iter().map(|&(i, j)| means.df(i, j)))?;
        let mut rows = Vec::with_capacity(indices.len());
        let mut differences = MinimumDifference { smallest: f64::INFINITY, largest: 0.0 };
        for &(i, j) in &indices {
            let df = means.df(i, j);
            let Some(reference) = references.get(&df.to_bits()) else { continue };
            let std_error = means.std_error(i, j);
            let (Some(first), Some(second)) = (means.names.get(i), means.names.get(j)) else {
                continue;
            };
            let estimate = means.values.get(i).zip(means.values.get(j)).map_or(0.0, |(a, b)| a - b);
            let statistic = (std_error > 0.0).then(|| estimate / std_error);
            let single = NoncentralF::new(1.0, df, 0.0)?;
            let reach = reference.critical * std_error;
            differences.smallest = differences.smallest.min(reach);
            differences.largest = differences.largest.max(reach);
            rows.push(Comparison {
                first: first.clone(),
                second: second.clone(),
                estimate,
                std_error,
                df: df.is_finite().then_some(df),
                statistic,
                p_unadjusted: statistic.map(|t| single.upper_tail(t * t)),
                p_value: statistic.map(|t| reference.p_value(t)),
                conf_low: (adjustment != Adjustment::Dunnett(Sides::Below))
                    .then_some(estimate - reach),
                conf_high: (adjustment != Adjustment::Dunnett(Sides::Above))
                    .then_some(estimate + reach),
            });
        }
        if adjustment == Adjustment::Holm {
            let p: Vec<f64> = rows.iter().filter_map(|row| row.p_unadjusted).collect();
            let tested = rows.iter_mut().filter(|row| row.p_unadjusted.is_some());
            for (row, p) in tested.zip(holm(&p)) {
                row.p_value = Some(p);
            }
        }
        if rows.iter().any(|row| row.statistic.is_none()) {
            notes.push(say!("A difference without error has no test."));
        }
        Ok(ComparisonTable { adjustment, level, rows, minimum_difference: differences, notes })
    }
}

/// Pairs of indices, first and subtracted.
fn indices(means: &EstimatedMeans, pairs: &Pairs) -> Result<Vec<(usize, usize)>, CompareError> {
    let count = means.count();
    match pairs {
        Pairs::All => Ok((0..count).flat_map(|i| (i + 1..count).map(move |j| (i, j))).collect()),
        Pairs::WithControl(name) => {
            let control = means
                .names
                .iter()
                .position(|n| n == name)
                .ok_or_else(|| CompareError::NoControl(name.clone()))?;
            Ok((0..count).filter(|i| *i != control).map(|i| (i, control)).collect())
        }
    }
}

/// Loadings of the comparisons with the control, and a note where they are an approximation.
fn control_loadings(
    means: &EstimatedMeans,
    indices: &[(usize, usize)],
    notes: &mut Vec<String>,
) -> Vec<f64> {
    let correlation = |a: usize, b: usize| {
        let (Some(&(i, control)), Some(&(j, _))) = (indices.get(a), indices.get(b)) else {
            return 0.0;
        };
        let covariance =
            means.covariance(i, j) - means.covariance(i, control) - means.covariance(j, control)
                + means.covariance(control, control);
        let scale = means.std_error(i, control) * means.std_error(j, control);
        if scale > 0.0 { covariance / scale } else { 0.0 }
    };
    let (loadings, deviation) = product_loadings(indices.len(), correlation);
    if deviation > DEVIATION_TOLD {
        notes.push(say!(
            "The comparisons' correlations are approximated by products of one loading each (Hsu \
             1992); the largest deviation is {deviation:.3}."
        ));
    }
    loadings
}
