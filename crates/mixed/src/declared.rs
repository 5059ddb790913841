//! Orthogonal columns declared before the rows are summed, so that plain sums lose no digits.

use crate::Error;
use crate::basis::Basis;
use crate::data::Data;
use crate::exact::ExactMoments;
use crate::matrix::Matrix;
use crate::settings::Settings;
use serde::{Deserialize, Serialize};

/// Internal columns X' = X T and the internal response y' = (y - X b0) / s, for the declared columns
/// X and response y. Taken from some of the rows, they are nearly orthogonal over all of them; what
/// is fitted does not depend on them, only how many digits the sums keep.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeclaredBasis {
    /// T, upper triangular: of column j the entries 0 to j.
    pub columns: Vec<Vec<f64>>,
    /// b0, in declared units.
    pub start: Vec<f64>,
    /// s, in declared units.
    pub response_scale: f64,
}

impl DeclaredBasis {
    /// Columns that are orthogonal over the rows of `data`, with mean square 1, and the response
    /// left over by its least squares fit.
    ///
    /// # Errors
    /// Those of [`crate::Moments::accumulate`]; [`Error::DependentColumns`] when the rows cannot
    /// tell the columns apart.
    pub fn of(data: &Data<'_>) -> Result<DeclaredBasis, Error> {
        let mut plain = data.clone();
        plain.factors.clear();
        let moments = ExactMoments::accumulate(&plain)?;
        let basis = moments.basis(&Settings::default())?;
        let p = basis.start.len();
        Ok(DeclaredBasis {
            columns: (0..p).map(|j| basis.t.column(j)[..=j].to_vec()).collect(),
            start: basis.start,
            response_scale: basis.response_scale,
        })
    }

    /// The same for the engine, once it fits `p` columns.
    pub(crate) fn checked(&self, p: usize) -> Result<Basis, Error> {
        let shaped = self.columns.iter().enumerate().all(|(j, column)| column.len() == j + 1);
        if self.columns.len() != p || self.start.len() != p || !shaped {
            return Err(Error::LengthMismatch {
                what: "the declared basis".into(),
                expected: p,
                found: self.columns.len(),
            });
        }
        let scales = self.columns.iter().filter_map(|column| column.last());
        for scale in scales.clone().chain([&self.response_scale]) {
            // Written so that NaN fails.
            if !(*scale > 0.0 && scale.is_finite()) {
                return Err(Error::BadSetting {
                    name: "scale of a declared basis",
                    value: *scale,
                    need: "finite and above 0",
                });
            }
        }
        let mut t = Matrix::zeros(p, p);
        let mut from_declared = Matrix::zeros(p + 1, p + 1);
        for (j, column) in self.columns.iter().enumerate() {
            for (i, x) in column.iter().enumerate() {
                t[(i, j)] = *x;
                from_declared[(i, j)] = *x;
            }
            from_declared[(j, p)] = -self.start[j] / self.response_scale;
        }
        from_declared[(p, p)] = 1.0 / self.response_scale;
        Ok(Basis {
            log_det: scales.map(|scale| scale.ln()).sum(),
            t,
            start: self.start.clone(),
            response_scale: self.response_scale,
            from_declared,
        })
    }
}
