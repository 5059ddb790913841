//! Means to be compared, with their covariance and degrees of freedom.

use super::CompareError;
use crate::analysis::MeansOfTerm;
use serde::{Deserialize, Serialize};

/// Degrees of freedom of the error of a difference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PairDf {
    /// The same for every difference; infinite when the variance is known.
    Common(f64),
    /// One per ordered pair, row by row, `count * count` entries; the diagonal is not read.
    Pairs(Vec<f64>),
}

/// Estimated means of treatments on the scale of the analysis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EstimatedMeans {
    pub(super) names: Vec<String>,
    pub(super) values: Vec<f64>,
    covariance: Vec<f64>,
    df: PairDf,
}

impl EstimatedMeans {
    /// Means by name with `covariance` row by row (`count * count` entries, units of the values
    /// squared; only differences are read, so covariances may share any constant).
    ///
    /// # Errors
    /// When lengths differ, fewer than two means are given, or an entry is no number.
    pub fn new(
        names: Vec<String>,
        values: Vec<f64>,
        covariance: Vec<f64>,
        df: PairDf,
    ) -> Result<Self, CompareError> {
        let count = names.len();
        if count < 2 {
            return Err(CompareError::TooFew(count));
        }
        let length = |what, found, needed| {
            if found == needed { Ok(()) } else { Err(CompareError::Length { what, found, needed }) }
        };
        length("values", values.len(), count)?;
        length("covariance", covariance.len(), count * count)?;
        if let PairDf::Pairs(pairs) = &df {
            length("degrees of freedom", pairs.len(), count * count)?;
        }
        for (name, value) in names.iter().zip(&values) {
            if !value.is_finite() {
                return Err(CompareError::NotFinite { what: "mean", name: name.clone() });
            }
        }
        for (at, value) in covariance.iter().enumerate() {
            if !value.is_finite() {
                let name = names.get(at / count).cloned().unwrap_or_default();
                return Err(CompareError::NotFinite { what: "covariance", name });
            }
        }
        Ok(EstimatedMeans { names, values, covariance, df })
    }

    /// Independent means of `replicates` plots each with a common error mean square on `df`
    /// degrees of freedom: balanced or unbalanced completely randomised trials, complete blocks.
    ///
    /// # Errors
    /// As [`EstimatedMeans::new`].
    pub fn of_replicates(
        names: Vec<String>,
        values: Vec<f64>,
        replicates: &[f64],
        error_mean_square: f64,
        df: f64,
    ) -> Result<Self, CompareError> {
        let count = names.len();
        let mut covariance = vec![0.0; replicates.len() * replicates.len()];
        for (entry, n) in covariance.iter_mut().step_by(count + 1).zip(replicates) {
            *entry = error_mean_square / n;
        }
        EstimatedMeans::new(names, values, covariance, PairDf::Common(df))
    }

    /// Means of a term of an analysed trial, with their covariance and the degrees of freedom of
    /// each difference.
    ///
    /// # Errors
    /// When the analysis gives no covariance because a mean or a difference is missing, or lists no
    /// pairs.
    pub fn of_term(term: &MeansOfTerm) -> Result<Self, CompareError> {
        let count = term.means.len();
        let names: Vec<String> = term.means.iter().map(|m| m.levels.join(" / ")).collect();
        let values = term.means.iter().map(|m| m.mean.unwrap_or(f64::NAN)).collect();
        let missing = || CompareError::NotFinite { what: "a difference", name: term.term.clone() };
        let covariance: Vec<f64> =
            term.covariance.as_ref().ok_or_else(missing)?.iter().flatten().copied().collect();
        let mut df = vec![f64::NAN; count * count];
        for pair in &term.pairs {
            for at in [pair.first * count + pair.second, pair.second * count + pair.first] {
                if let Some(entry) = df.get_mut(at) {
                    *entry = pair.df;
                }
            }
        }
        EstimatedMeans::new(names, values, covariance, PairDf::Pairs(df))
    }

    /// Names of the means.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Values of the means.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// Number of means.
    #[must_use]
    pub fn count(&self) -> usize {
        self.names.len()
    }

    /// Covariance of means `i` and `j`.
    pub(super) fn covariance(&self, i: usize, j: usize) -> f64 {
        self.covariance.get(i * self.count() + j).copied().unwrap_or(f64::NAN)
    }

    /// Standard error of the difference of means `i` and `j`; 0 when rounding makes it negative.
    pub(super) fn std_error(&self, i: usize, j: usize) -> f64 {
        let variance = self.covariance(i, i) + self.covariance(j, j) - 2.0 * self.covariance(i, j);
        variance.max(0.0).sqrt()
    }

    /// Degrees of freedom of the difference of means `i` and `j`.
    pub(super) fn df(&self, i: usize, j: usize) -> f64 {
        match &self.df {
            PairDf::Common(df) => *df,
            PairDf::Pairs(pairs) => pairs.get(i * self.count() + j).copied().unwrap_or(f64::NAN),
        }
    }
}
