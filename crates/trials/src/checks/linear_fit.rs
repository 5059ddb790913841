//! Ordinary least squares as the residual checks need it: residuals, leverages, rank.

use super::CheckError;

/// Share of a column's length below which it counts as a combination of earlier columns.
const DEPENDENT: f64 = 1e-9;

/// Least squares of a response on columns by twice-repeated Gram-Schmidt orthogonalisation
/// (Giraud, Langou and Rozloznik 2005, Comput. Math. Appl. 50:1069-1075), which finds the rank on
/// the way.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearFit {
    /// Fitted values.
    pub fitted: Vec<f64>,
    /// Response less fitted value.
    pub residuals: Vec<f64>,
    /// Diagonal of the projection on the columns.
    pub leverages: Vec<f64>,
    /// Number of independent columns.
    pub rank: usize,
    basis: Vec<Vec<f64>>,
}

impl LinearFit {
    /// Fits `response` by `columns`, each with one value per row.
    ///
    /// # Errors
    /// When a column has another length or holds a value that is not finite, or no row is given.
    pub fn new(response: &[f64], columns: &[Vec<f64>]) -> Result<Self, CheckError> {
        if response.is_empty() {
            return Err(CheckError::TooFew { what: "rows".into(), found: 0, needed: 1 });
        }
        for (index, column) in columns.iter().enumerate() {
            if column.len() != response.len() {
                let (found, needed) = (column.len(), response.len());
                return Err(CheckError::Columns(format!(
                    "column {index} has {found} rows, not {needed}"
                )));
            }
        }
        let finite = |values: &[f64]| values.iter().all(|v| v.is_finite());
        if !finite(response) || !columns.iter().all(|c| finite(c)) {
            return Err(CheckError::Columns("a value is not a finite number".to_owned()));
        }
        let mut basis: Vec<Vec<f64>> = Vec::new();
        for column in columns {
            let length = dot(column, column).sqrt();
            let mut rest = column.clone();
            remove(&mut rest, &basis);
            remove(&mut rest, &basis);
            let left = dot(&rest, &rest).sqrt();
            if left > DEPENDENT * length {
                rest.iter_mut().for_each(|v| *v /= left);
                basis.push(rest);
            }
        }
        let mut residuals = response.to_vec();
        remove(&mut residuals, &basis);
        remove(&mut residuals, &basis);
        let fitted = response.iter().zip(&residuals).map(|(y, e)| y - e).collect();
        let mut leverages = vec![0.0; response.len()];
        for direction in &basis {
            for (leverage, q) in leverages.iter_mut().zip(direction) {
                *leverage += q * q;
            }
        }
        Ok(LinearFit { fitted, residuals, leverages, rank: basis.len(), basis })
    }

    /// Residual degrees of freedom.
    #[must_use]
    pub fn df(&self) -> usize {
        self.residuals.len() - self.rank
    }

    /// Residual sum of squares.
    #[must_use]
    pub fn sum_of_squares(&self) -> f64 {
        dot(&self.residuals, &self.residuals)
    }

    /// `values` less their projection on the columns.
    #[must_use]
    pub fn residual_of(&self, values: &[f64]) -> Vec<f64> {
        let mut rest = values.to_vec();
        remove(&mut rest, &self.basis);
        remove(&mut rest, &self.basis);
        rest
    }
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn remove(values: &mut [f64], basis: &[Vec<f64>]) {
    for direction in basis {
        let along = dot(values, direction);
        for (v, q) in values.iter_mut().zip(direction) {
            *v -= along * q;
        }
    }
}
