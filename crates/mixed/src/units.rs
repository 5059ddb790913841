//! The one place where declared centres and scales are undone.

use crate::Error;
use crate::layout::Layout;

/// The affine map from internal to user coefficients: b = offset + T b', where
/// T is diagonal but for the intercept's row.
#[derive(Debug, Clone)]
pub(crate) struct UserUnits {
    intercept: Option<usize>,
    diagonal: Vec<f64>,
    /// Row of the intercept in T (its own entry is in `diagonal`).
    intercept_row: Vec<f64>,
    offset: f64,
    pub response_scale: f64,
}

impl UserUnits {
    /// `ones` says which fixed columns are 1 in every used row.
    pub fn new(layout: &Layout, ones: &[bool]) -> Result<UserUnits, Error> {
        let y = &layout.response;
        let intercept = (0..layout.p())
            .find(|j| ones[*j] && layout.fixed[*j].centre == 0.0 && layout.fixed[*j].scale == 1.0);
        let centred = layout.fixed.iter().chain([y]).find(|u| u.centre != 0.0);
        if let (None, Some(units)) = (intercept, centred) {
            return Err(Error::CentreWithoutIntercept { column: units.name.clone() });
        }
        Ok(UserUnits {
            intercept,
            diagonal: layout.fixed.iter().map(|u| y.scale / u.scale).collect(),
            intercept_row: layout.fixed.iter().map(|u| -y.scale * u.centre / u.scale).collect(),
            offset: y.centre,
            response_scale: y.scale,
        })
    }

    /// Splits the user contrast L'b into (L'T, L'offset), so that
    /// L'b = (L'T) b' + L'offset.
    pub fn contrast(&self, user: &[f64]) -> (Vec<f64>, f64) {
        let mut inner: Vec<f64> = user.iter().zip(&self.diagonal).map(|(l, d)| l * d).collect();
        let mut offset = 0.0;
        if let Some(i) = self.intercept {
            offset = user[i] * self.offset;
            for (x, r) in inner.iter_mut().zip(&self.intercept_row) {
                *x += user[i] * r;
            }
        }
        (inner, offset)
    }
}
