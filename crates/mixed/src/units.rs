//! The one place where declared centres and scales are undone.

use crate::Error;
use crate::basis::Basis;
use crate::layout::Layout;
use crate::small::dot;

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
    /// Orthogonal columns behind the declared ones, if the sums were exact.
    pub basis: Option<Basis>,
}

/// The first column of ones in internal units, which absorbs centres.
pub(crate) fn intercept_of(layout: &Layout, ones: &[bool]) -> Option<usize> {
    (0..layout.p())
        .find(|j| ones[*j] && layout.fixed[*j].centre == 0.0 && layout.fixed[*j].scale == 1.0)
}

impl UserUnits {
    /// `ones` says which fixed columns are 1 in every used row.
    pub fn new(layout: &Layout, ones: &[bool]) -> Result<UserUnits, Error> {
        let y = &layout.response;
        let intercept = intercept_of(layout, ones);
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
            basis: None,
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
        if let Some(basis) = &self.basis {
            offset += dot(&inner, &basis.start);
            let turned = (0..inner.len())
                .map(|j| basis.response_scale * dot(&inner[..=j], &basis.t.column(j)[..=j]));
            inner = turned.collect();
        }
        (inner, offset)
    }
}
