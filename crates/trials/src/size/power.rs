//! Power of a test, and what is needed for a power.

use super::comparison::Comparison;
use super::components::Components;
use super::error::{SizeError, checked};
use super::precision::{Precision, precision};
use super::trial_size::TrialSize;
use crate::distributions::NoncentralF;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

/// What is to be found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Effect {
    /// A difference between two means, by its t-test (two-sided).
    Difference(f64),
    /// A largest difference between means, by the overall F test when the other means lie half-way:
    /// the pattern that is hardest to find.
    AnyDifference(f64),
    /// These means, by the overall F test.
    Means(Vec<f64>),
}

/// Probability that a test at level `alpha` finds the effect: the upper tail of noncentral F with
/// noncentrality d^2 / V(d) for a difference d, sum (m - mean)^2 / (V(d) / 2) for means
/// (Scheffe 1959, The Analysis of Variance, section 2.8). Exact when the error has a single mean
/// square.
///
/// # Errors
/// Numbers out of range; means that are not those of the comparison.
pub fn power(precision: &Precision, effect: &Effect, alpha: f64) -> Result<f64, SizeError> {
    checked("level of the test", alpha, "between 0 and 1", |a| a > 0.0 && a < 1.0)?;
    let (term_df, noncentrality) = match effect {
        Effect::Difference(d) => (1.0, difference(*d)?.powi(2) / precision.variance),
        Effect::AnyDifference(d) => {
            (precision.term_df, difference(*d)?.powi(2) / precision.variance)
        }
        Effect::Means(means) => {
            if precision.comparison == Comparison::MainBySub
                || means.len() as f64 != precision.term_df + 1.0
            {
                return Err(SizeError::NotOfDesign(format!(
                    "{} means for a term of {} degrees of freedom",
                    means.len(),
                    precision.term_df
                )));
            }
            for &mean in means {
                checked("mean", mean, "a finite number", |_| true)?;
            }
            let centre = means.iter().sum::<f64>() / means.len() as f64;
            let spread: f64 = means.iter().map(|mean| (mean - centre).powi(2)).sum();
            (precision.term_df, 2.0 * spread / precision.variance)
        }
    };
    let critical = NoncentralF::new(term_df, precision.df, 0.0)?.upper_quantile(alpha)?;
    Ok(NoncentralF::new(term_df, precision.df, noncentrality)?.upper_tail(critical))
}

fn difference(d: f64) -> Result<f64, SizeError> {
    checked("difference", d, "a finite number", |_| true)
}

/// Least difference between two means that the t-test at level `alpha` finds with a power.
///
/// # Errors
/// Numbers out of range.
pub fn detectable_difference(
    precision: &Precision,
    alpha: f64,
    target: f64,
) -> Result<f64, SizeError> {
    checked("power", target, "above the level of the test and below 1", |p| p > alpha && p < 1.0)?;
    let at = |d: f64| power(precision, &Effect::Difference(d), alpha);
    let mut high = precision.sed;
    while at(high)? < target {
        high *= 2.0;
        checked("detectable difference", high, "finite", |d| d < 1e12 * precision.sed)?;
    }
    let mut low = 0.0;
    // Halving sixty times reaches the last place.
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if at(middle)? < target { low = middle } else { high = middle }
    }
    Ok(high)
}

/// Replicates for a difference by the normal approximation r = 2 (z + z')^2 (cv / d)^2 with z and z'
/// the upper alpha/2 and 1 - power points, d and cv relative to the mean (Cochran and Cox 1957,
/// section 2.2): the rule of thumb. It is too few when error degrees of freedom are few.
///
/// # Errors
/// Numbers out of range.
pub fn replicates_by_normal(
    cv: f64,
    difference: f64,
    alpha: f64,
    target: f64,
) -> Result<f64, SizeError> {
    checked("coefficient of variation", cv, "above 0", |v| v > 0.0)?;
    checked("difference", difference, "other than 0", |d| d != 0.0)?;
    checked("level of the test", alpha, "between 0 and 1", |a| a > 0.0 && a < 1.0)?;
    checked("power", target, "between 0 and 1", |p| p > 0.0 && p < 1.0)?;
    let normal = Normal::standard();
    let z = normal.inverse_cdf(1.0 - alpha / 2.0) + normal.inverse_cdf(target);
    Ok(2.0 * (z * cv / difference).powi(2))
}

/// Replicates that reach a power.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReplicatesNeeded {
    /// Size with the least number of replicates.
    pub size: TrialSize,
    /// Its precision.
    pub precision: Precision,
    /// Its power.
    pub power: f64,
}

/// Fewest replicates whose power reaches `target`, up to `most`; `None` when even those do not. A
/// Latin square has as many replicates as treatments: `None` or that.
///
/// # Errors
/// Numbers out of range; a comparison that the design does not have.
pub fn replicates_needed(
    size: &TrialSize,
    components: &Components,
    comparison: Comparison,
    effect: &Effect,
    (alpha, target): (f64, f64),
    most: usize,
) -> Result<Option<ReplicatesNeeded>, SizeError> {
    checked("power", target, "between 0 and 1", |p| p > 0.0 && p < 1.0)?;
    let mut refusal = None;
    let mut found = None;
    for replicates in 2..=most.max(2) {
        let size = TrialSize { replicates, ..*size };
        match precision(&size, components, comparison) {
            Ok(precision) => {
                refusal = None;
                let power = power(&precision, effect, alpha)?;
                if power >= target {
                    found = Some(ReplicatesNeeded { size, precision, power });
                    break;
                }
            }
            // More replicates may leave degrees of freedom.
            Err(error @ SizeError::NoError { .. }) => refusal = Some(error),
            Err(error) => return Err(error),
        }
    }
    match (found, refusal) {
        (None, Some(error)) => Err(error),
        (found, _) => Ok(found),
    }
}
