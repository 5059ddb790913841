//! A linear function of coefficients and random effects, with its estimate and variance at any theta.

use crate::criterion::{Solved, shrinkage};
use crate::small::{dot, product, transpose};
use crate::spread::Spread;
use crate::system::System;

/// z'b + c'b_fixed in internal units.
#[derive(Debug, Clone, Default)]
pub(crate) struct Target {
    /// Coefficients over [Z_other | kept X].
    pub direct: Vec<f64>,
    /// Level of the eliminated factor with the values of its effects.
    pub group: Option<(usize, Vec<f64>)>,
    /// Unseen levels: factor and values of its effects; mean 0.
    pub new: Vec<(usize, Vec<f64>)>,
    /// 1 / weight of a new observation; 0 for a mean.
    pub residual: f64,
}

impl Target {
    /// A contrast of the kept fixed columns.
    pub fn fixed(system: &System, inner: &[f64]) -> Target {
        let mut direct = vec![0.0; system.m()];
        for (at, j) in system.screen.kept.iter().enumerate() {
            direct[system.layout.q + at] = inner[*j];
        }
        Target { direct, ..Target::default() }
    }

    /// With b_g = D (S_y - S_G c) plus independent noise of covariance D, the
    /// function is offset + row . c + noise; returns (row, offset, z'Dz).
    fn reduced(&self, system: &System, s: &Solved) -> (Vec<f64>, f64, f64) {
        let mut row = self.direct.clone();
        let (Some((level, z)), Some(f)) = (&self.group, system.layout.eliminated) else {
            return (row, 0.0, 0.0);
        };
        let k = system.layout.k();
        let lambda = &s.lambdas[f];
        let Some(g) = system.group_of_level[*level] else {
            // A level without rows keeps its prior spread.
            return (row, 0.0, prior_variance(lambda, z, k));
        };
        let group = &system.groups[g];
        let (d, _, _) = shrinkage(lambda, &group.zz, k);
        let dz: Vec<f64> = (0..k).map(|a| dot(&d[a * k..(a + 1) * k], z)).collect();
        let mut offset = 0.0;
        for (place, column) in group.columns.iter().enumerate() {
            let x = dot(&dz, &group.cross[place * k..(place + 1) * k]);
            match row.get_mut(*column as usize) {
                Some(r) => *r -= x,
                None => offset = x,
            }
        }
        (row, offset, dot(z, &dz))
    }

    /// Best linear unbiased prediction.
    pub fn estimate(&self, system: &System, s: &Solved) -> f64 {
        let (row, offset, _) = self.reduced(system, s);
        offset - dot(&row, &s.residual)
    }

    /// Prediction error variance divided by sigma^2 (Henderson 1975).
    pub fn relative_variance(&self, system: &System, s: &Solved) -> f64 {
        let (row, _, own) = self.reduced(system, s);
        let mut out = own + self.residual;
        for (f, z) in &self.new {
            out += prior_variance(&s.lambdas[*f], z, system.layout.factors[*f].k());
        }
        let mut half = system.shape.ordered(&row);
        Spread::transposed(&system.shape, &s.lambdas).vector(&system.shape, &mut half);
        s.factor.forward(&mut half);
        out += dot(&half, &half);
        out
    }
}

/// z' Lambda Lambda' z.
fn prior_variance(lambda: &[f64], z: &[f64], k: usize) -> f64 {
    let cov = product(lambda, &transpose(lambda, k), k);
    (0..k).map(|a| z[a] * dot(&cov[a * k..(a + 1) * k], z)).sum()
}
