//! Conditional modes of the random effects with their prediction-error covariance.

use crate::criterion::shrinkage;
use crate::fit::Fit;
use crate::layout::check_cells;
use crate::small::dot;
use crate::target::Target;
use crate::{Error, Matrix};
use serde::Serialize;

/// Best linear unbiased predictions of the effects of every level of a factor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConditionalModes {
    /// Factor.
    pub factor: String,
    /// Its effects, the columns of `modes` and `variances`.
    pub effects: Vec<String>,
    /// Modes, levels x effects, in response units per unit of the effect's column.
    pub modes: Matrix,
    /// Prediction-error variances var(b_hat - b), levels x effects; they carry
    /// the uncertainty of the coefficients (Henderson 1975).
    pub variances: Matrix,
    /// Joint prediction-error covariance, (levels x effects) squared, level by
    /// level; only for factors that are not eliminated group by group.
    pub joint: Option<Matrix>,
}

impl Fit {
    /// Names of the grouping factors.
    pub fn factor_names(&self) -> Vec<String> {
        let factors = self.system.layout.factors.iter();
        factors.map(|f| f.name.clone()).collect()
    }

    /// Conditional modes of a factor alone, levels x effects: those of
    /// [`Fit::conditional_modes`] without the work of their covariance.
    ///
    /// # Errors
    /// [`Error::Unknown`] for a factor that the model does not have,
    /// [`Error::PooledGroups`] for one whose groups came summed.
    pub fn modes(&self, factor: &str) -> Result<Matrix, Error> {
        let (system, solved) = (&self.system, &self.solved);
        let f = system.layout.factor_index(factor)?;
        let shape = &system.layout.factors[f];
        let (k, scale) = (shape.k(), system.units.response_scale);
        let mut modes = Matrix::zeros(shape.levels, k);
        if let Some(start) = shape.column_start {
            let solution = solved.solution();
            for level in 0..shape.levels {
                for (effect, mode) in modes.row_mut(level).iter_mut().enumerate() {
                    *mode = scale * solution[start + level * k + effect];
                }
            }
            return Ok(modes);
        }
        system.each_group()?;
        for (level, place) in system.group_of_level.iter().enumerate() {
            // A level without rows keeps its prior mean.
            let Some(place) = place else { continue };
            let group = &system.groups[*place];
            let (d, _, _) = shrinkage(&solved.lambdas[f], &group.zz, k);
            let sums = group.times(&solved.residual, k);
            for (effect, mode) in modes.row_mut(level).iter_mut().enumerate() {
                *mode = scale * dot(&d[effect * k..(effect + 1) * k], &sums);
            }
        }
        Ok(modes)
    }

    /// Conditional modes of a factor.
    ///
    /// # Errors
    /// [`Error::Unknown`] for a factor that the model does not have,
    /// [`Error::PooledGroups`] for one whose groups came summed,
    /// [`Error::TooManyCells`] when the joint covariance has too many.
    pub fn conditional_modes(&self, factor: &str) -> Result<ConditionalModes, Error> {
        let system = &self.system;
        let f = system.layout.factor_index(factor)?;
        let shape = &system.layout.factors[f];
        let k = shape.k();
        let scale = system.units.response_scale;
        let variance = (self.sigma * scale).powi(2);
        let modes = self.modes(factor)?;
        let mut variances = Matrix::zeros(shape.levels, k);
        let mut joint = None;
        match shape.column_start {
            Some(start) => {
                let size = shape.levels * k;
                check_cells(system.m() * system.m())?;
                let relative = system.unscale_both(&self.solved.inverse(), &self.solved.lambdas);
                let mut block = Matrix::zeros(size, size);
                for i in 0..size {
                    variances[(i / k, i % k)] = variance * relative[(start + i, start + i)];
                    for j in 0..size {
                        block[(i, j)] = variance * relative[(start + i, start + j)];
                    }
                }
                joint = Some(block);
            }
            None => {
                for level in 0..shape.levels {
                    for effect in 0..k {
                        let mut z = vec![0.0; k];
                        z[effect] = 1.0;
                        let target = Target {
                            direct: vec![0.0; system.m()],
                            group: Some((level, z)),
                            ..Target::default()
                        };
                        let relative = target.relative_variance(system, &self.solved);
                        variances[(level, effect)] = variance * relative;
                    }
                }
            }
        }
        Ok(ConditionalModes {
            factor: shape.name.clone(),
            effects: shape.effects.clone(),
            modes,
            variances,
            joint,
        })
    }
}
