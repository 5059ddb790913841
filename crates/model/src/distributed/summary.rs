//! What a fit of rows or of sums says, to keep and to compare.

use mixed::{CoefficientValue, Error, Fit};
use serde::{Deserialize, Serialize};

/// One variance parameter, relative to the residual standard deviation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ThetaLine {
    /// `factor.effect`.
    pub name: String,
    /// Value.
    pub value: f64,
}

/// One coefficient, on the model's scale.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CoefficientLine {
    /// Column.
    pub name: String,
    /// Estimate; `None` when the rows cannot tell it from the others.
    pub estimate: Option<f64>,
    /// Standard error.
    pub std_error: Option<f64>,
}

/// A fitted yield model in numbers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FitSummary {
    /// Tree-seasons used.
    pub rows: u64,
    /// How the fit ended, in words.
    pub status: String,
    /// -2 log restricted likelihood.
    pub criterion: f64,
    /// Residual standard deviation, on the model's scale.
    pub sigma: f64,
    /// Variance parameters.
    pub theta: Vec<ThetaLine>,
    /// Coefficients.
    pub coefficients: Vec<CoefficientLine>,
    /// Their covariance, by row; `None` beside a coefficient without an estimate.
    pub covariance: Vec<Vec<Option<f64>>>,
    /// Region by region, what its curve adds to the common one: (effect, region by position, value).
    pub regional: Vec<(String, usize, f64)>,
}

impl FitSummary {
    /// Reads a fit.
    ///
    /// # Errors
    /// Those of [`Fit::conditional_modes`].
    pub fn of(fit: &Fit) -> Result<Self, Error> {
        let covariance = fit.covariance();
        let finite = |x: f64| x.is_finite().then_some(x);
        let mut regional = Vec::new();
        if fit.factor_names().iter().any(|name| name == "region") {
            let modes = fit.conditional_modes("region")?;
            for region in 0..modes.modes.n_rows() {
                for (name, value) in modes.effects.iter().zip(modes.modes.row(region)) {
                    regional.push((name.clone(), region, *value));
                }
            }
        }
        Ok(Self {
            rows: fit.n_rows(),
            status: fit.status().to_string(),
            criterion: fit.criterion(),
            sigma: fit.sigma(),
            theta: fit
                .theta()
                .into_iter()
                .map(|theta| ThetaLine { name: theta.name, value: theta.value })
                .collect(),
            coefficients: fit
                .coefficients()
                .into_iter()
                .map(|line| match line.value {
                    CoefficientValue::Estimated { estimate, std_error } => CoefficientLine {
                        name: line.name,
                        estimate: Some(estimate),
                        std_error: Some(std_error),
                    },
                    CoefficientValue::NotEstimable => {
                        CoefficientLine { name: line.name, estimate: None, std_error: None }
                    }
                })
                .collect(),
            covariance: (0..covariance.n_rows())
                .map(|row| covariance.row(row).iter().map(|x| finite(*x)).collect())
                .collect(),
            regional,
        })
    }
}
