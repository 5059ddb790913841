//! Variance components, with upper limits for those estimated at 0.

use crate::fit::Fit;
use crate::objective::Objective;
use crate::optimise::free_entries;
use crate::small::{product, transpose};
use crate::{Error, Matrix};
use serde::Serialize;

/// Deviance rise at a one-sided 95 % limit: the 90 % point of chi-square with
/// 1 degree of freedom, about 2.71.
const ONE_SIDED_RISE: f64 = 2.705_543_454_095_404;

/// Doublings of the first try, a quarter of the residual: a spread that the
/// deviance does not bound below 1000 residual standard deviations has no
/// limit, and further out a flat profile drowns in rounding.
const DOUBLINGS: usize = 12;

/// Spread of the effects of one factor, in response units per unit of the
/// effect's column.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VarianceComponent {
    /// Factor.
    pub factor: String,
    /// Effects.
    pub effects: Vec<String>,
    /// Standard deviation of each effect.
    pub standard_deviations: Vec<f64>,
    /// Correlations of the effects; NaN with an effect of standard deviation 0.
    pub correlation: Matrix,
    /// For an effect whose own spread (diagonal of Lambda) is estimated at 0:
    /// one-sided 95 % upper limit of its standard deviation, where the
    /// profiled deviance has risen by 2.71. `None` elsewhere, or when the
    /// profile stays below that rise.
    pub upper_limits: Vec<Option<f64>>,
}

/// All variance components.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VarianceComponents {
    /// By factor.
    pub factors: Vec<VarianceComponent>,
    /// Residual standard deviation at weight 1.
    pub residual: f64,
}

impl Fit {
    /// Standard deviations and correlations by factor.
    ///
    /// # Errors
    /// [`Error::Numerical`] when the criterion cannot be profiled.
    pub fn variance_components(&self) -> Result<VarianceComponents, Error> {
        let system = &self.system;
        let sigma = self.sigma();
        let mut factors = Vec::new();
        for (f, shape) in system.layout.factors.iter().enumerate() {
            let k = shape.k();
            let standard_deviations = deviations(&self.solved.lambdas[f], k, sigma);
            let lambda = &self.solved.lambdas[f];
            let cov = product(lambda, &transpose(lambda, k), k);
            let mut correlation = Matrix::zeros(k, k);
            for i in 0..k {
                for j in 0..k {
                    correlation[(i, j)] = cov[i * k + j] / (cov[i * k + i] * cov[j * k + j]).sqrt();
                }
            }
            let mut upper_limits = vec![None; k];
            for i in &self.boundary {
                let entry = &system.entries[*i];
                if entry.factor == f {
                    upper_limits[entry.row] = self.upper_limit(*i)?;
                }
            }
            factors.push(VarianceComponent {
                factor: shape.name.clone(),
                effects: shape.effects.clone(),
                standard_deviations,
                correlation,
                upper_limits,
            });
        }
        Ok(VarianceComponents { factors, residual: sigma })
    }

    /// Standard deviation at which the profiled deviance of theta entry `i`
    /// has risen by 2.71; other entries at 0 stay there.
    fn upper_limit(&self, i: usize) -> Result<Option<f64>, Error> {
        let system = &self.system;
        let entry = &system.entries[i];
        let k = system.layout.factors[entry.factor].k();
        let free = free_entries(system, &self.solved.theta, &self.boundary);
        let mut objective = Objective::new(system);
        let mut theta = self.solved.theta.clone();
        let mut profile = |value: f64| -> Result<(f64, f64), Error> {
            theta[i] = value;
            let (at, minimum) = objective
                .search(&theta, &free, 100, 1e-5)
                .ok_or(Error::Numerical { what: "the profile of a variance at its boundary" })?;
            theta = at;
            let s = system.solve(&theta)?;
            let sigma = (s.rss / system.divisor()).sqrt() * system.units.response_scale;
            let sd = deviations(&s.lambdas[entry.factor], k, sigma)[entry.row];
            Ok((minimum.value - self.criterion() - ONE_SIDED_RISE, sd))
        };
        let mut low = 0.0;
        let mut high = 0.25 / system.column_rms[i];
        let mut rise = profile(high)?.0;
        for _ in 0..DOUBLINGS {
            if rise > 0.0 {
                break;
            }
            low = high;
            high *= 2.0;
            rise = profile(high)?.0;
        }
        if rise <= 0.0 {
            return Ok(None);
        }
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if profile(middle)?.0 > 0.0 {
                high = middle;
            } else {
                low = middle;
            }
            if high - low < 1e-9 * high {
                break;
            }
        }
        Ok(Some(profile(high)?.1))
    }
}

fn deviations(lambda: &[f64], k: usize, sigma: f64) -> Vec<f64> {
    (0..k)
        .map(|r| {
            let row = &lambda[r * k..(r + 1) * k];
            sigma * crate::small::dot(row, row).sqrt()
        })
        .collect()
}
