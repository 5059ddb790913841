//! Tukey's test that treatments and blocks add.

use super::linear_fit::{LinearFit, dot};
use super::variances::f_tail;
use super::{CheckError, TestOutcome};
use words::say;

/// One degree of freedom for non-additivity (Tukey 1949, Biometrics 5:232-242), in the form that
/// also serves unbalanced data: the squared fitted values, less what the model explains of them,
/// are added to the model (Milliken and Graybill 1970, JASA 65:797-807).
///
/// A small p-value calls for a transformation: differences grow or shrink with the mean.
///
/// # Errors
/// When no residual degree of freedom is left, or neither fitted values nor residuals vary.
pub fn nonadditivity(fit: &LinearFit) -> Result<TestOutcome, CheckError> {
    if fit.df() < 2 {
        return Err(CheckError::TooFew {
            what: say!("residual degrees of freedom"),
            found: fit.df(),
            needed: 2,
        });
    }
    // Centred, so that the squares do not lose digits to a large mean.
    let mean = fit.fitted.iter().sum::<f64>() / fit.fitted.len() as f64;
    let squared: Vec<f64> = fit.fitted.iter().map(|v| (v - mean).powi(2)).collect();
    let product = fit.residual_of(&squared);
    let length = dot(&product, &product);
    if length <= 1e-18 * dot(&squared, &squared) || fit.sum_of_squares() <= 0.0 {
        return Err(CheckError::NoVariation(say!(
            "fitted values or residuals, beyond one factor,"
        )));
    }
    let one = dot(&product, &fit.residuals).powi(2) / length;
    let df = (fit.df() - 1) as f64;
    let rest = fit.sum_of_squares() - one;
    if rest <= 0.0 {
        return Err(CheckError::NoVariation(say!("residuals")));
    }
    let f = one * df / rest;
    Ok(TestOutcome {
        test: say!("Tukey's one degree of freedom for non-additivity (1949)"),
        statistic: f,
        df: vec![1.0, df],
        p_value: f_tail(1.0, df, f)?,
    })
}
