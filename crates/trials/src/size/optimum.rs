//! How well a trial would locate an optimum, by simulation through the quadratic fit.

use super::comparison::Comparison;
use super::components::Components;
use super::error::{SizeError, checked};
use super::precision::precision;
use super::quadratic::Polynomials;
use super::trial_size::TrialSize;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// A true response: `top + bend (x - optimum)^2`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Curve {
    /// Level of the highest response.
    pub optimum: f64,
    /// Highest response, in the trait's unit.
    pub top: f64,
    /// Curvature, below 0.
    pub bend: f64,
}

/// What is asked of a trial that is to locate an optimum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OptimumQuestion {
    /// Design and numbers; the compared term has as many means as there are levels.
    pub size: TrialSize,
    /// Variance components.
    pub components: Components,
    /// Which means lie along the factor: treatments, main or sub plots.
    pub comparison: Comparison,
    /// Levels of the factor.
    pub levels: Vec<f64>,
    /// Response supposed true.
    pub curve: Curve,
    /// The estimate is good when it is this near to the truth.
    pub tolerance: f64,
    /// Level of the interval, such as 0.95.
    pub level: f64,
    /// Trials simulated.
    pub simulations: usize,
    /// Seed.
    pub seed: u64,
}

/// How well the optimum is located. Shares are of the simulated trials.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OptimumPrecision {
    /// Estimates within the tolerance of the true optimum.
    pub within_tolerance: f64,
    /// Standard error of that share from the number of simulations.
    pub simulation_error: f64,
    /// Fitted curves that bend down.
    pub bends_down: f64,
    /// Estimates at the lower end of the tested range.
    pub at_lower_end: f64,
    /// Estimates at the upper end.
    pub at_upper_end: f64,
    /// Mean width of the inversion set inside the tested range.
    pub mean_width: f64,
    /// Sets that exclude nothing of the tested range.
    pub whole_range: f64,
    /// Sets that hold the true optimum.
    pub coverage: f64,
    /// Standard error of a mean, and degrees of freedom of error.
    pub mean_se: f64,
    /// Degrees of freedom of error.
    pub df: f64,
    /// Trials simulated.
    pub simulations: usize,
}

/// Simulates balanced trials: treatment means about the true curve and the independent estimate of
/// their error from the stratum of the comparison, which is what exact least squares by strata
/// leaves of the plots; then fits the quadratic, takes the highest point of the tested range and
/// inverts the test of zero slope (Fieller 1954).
///
/// # Errors
/// Numbers out of range; a comparison with another number of means than levels; fewer than three
/// different levels; an optimum outside the tested range.
pub fn optimum(question: &OptimumQuestion) -> Result<OptimumPrecision, SizeError> {
    let q = question;
    let precision = precision(&q.size, &q.components, q.comparison)?;
    if !matches!(
        q.comparison,
        Comparison::Treatments | Comparison::Main | Comparison::Sub | Comparison::SubSub
    ) || q.levels.len() as f64 != precision.term_df + 1.0
    {
        return Err(SizeError::NotOfDesign(format!(
            "{} levels and {} means to compare: the means are those of the levels, one of each",
            q.levels.len(),
            precision.term_df + 1.0
        )));
    }
    for &level in &q.levels {
        checked("level", level, "a finite number", |_| true)?;
    }
    let Some(polynomials) = Polynomials::of(&q.levels) else {
        return Err(SizeError::NotOfDesign(
            "a curve with an optimum needs three different levels or more".to_owned(),
        ));
    };
    let low = q.levels.iter().copied().fold(f64::INFINITY, f64::min);
    let high = q.levels.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    checked("true optimum", q.curve.optimum, "inside the tested range", |x| {
        (low..=high).contains(&x)
    })?;
    checked("top of the curve", q.curve.top, "a finite number", |_| true)?;
    checked("bend of the curve", q.curve.bend, "below 0", |bend| bend < 0.0)?;
    checked("tolerance", q.tolerance, "above 0", |t| t > 0.0)?;
    checked("level of the interval", q.level, "between 0 and 1", |l| l > 0.0 && l < 1.0)?;
    checked("number of simulations", q.simulations as f64, "1 or more", |n| n >= 1.0)?;

    let number = |_| SizeError::Number {
        what: "degrees of freedom",
        value: precision.df,
        needed: "above 0",
    };
    let student = StudentsT::new(0.0, 1.0, precision.df).map_err(number)?;
    let t_squared = student.inverse_cdf(f64::midpoint(1.0, q.level)).powi(2);
    let error = ChiSquared::new(precision.df).map_err(|_| SizeError::Number {
        what: "degrees of freedom",
        value: precision.df,
        needed: "above 0",
    })?;
    let mean_se = (precision.variance / 2.0).sqrt();
    let mut rng = ChaCha8Rng::seed_from_u64(q.seed);
    let mut counts = [0_usize; 6];
    let mut width = 0.0;
    for _ in 0..q.simulations {
        let means: Vec<f64> = q
            .levels
            .iter()
            .map(|x| {
                let noise: f64 = rng.sample(StandardNormal);
                q.curve.top + q.curve.bend * (x - q.curve.optimum).powi(2) + mean_se * noise
            })
            .collect();
        let variance = precision.variance / 2.0 * error.sample(&mut rng) / precision.df;
        let fitted = polynomials.fit(&means);
        let best = fitted.best((low, high));
        let set = fitted.set(t_squared * variance, (low, high));
        let length: f64 = set.iter().map(|(from, to)| to - from).sum();
        width += length;
        let seen = [
            (best - q.curve.optimum).abs() <= q.tolerance,
            fitted.bend < 0.0,
            best <= low,
            best >= high,
            length >= (high - low) * (1.0 - 1e-12),
            set.iter().any(|&(from, to)| (from..=to).contains(&q.curve.optimum)),
        ];
        for (count, seen) in counts.iter_mut().zip(seen) {
            *count += usize::from(seen);
        }
    }
    let n = q.simulations as f64;
    let [within, down, lower, upper, whole, covered] = counts.map(|count| count as f64 / n);
    Ok(OptimumPrecision {
        within_tolerance: within,
        simulation_error: (within * (1.0 - within) / n).sqrt(),
        bends_down: down,
        at_lower_end: lower,
        at_upper_end: upper,
        mean_width: width / n,
        whole_range: whole,
        coverage: covered,
        mean_se,
        df: precision.df,
        simulations: q.simulations,
    })
}

/// Fewest of the replicates tried with which the estimate is within the tolerance with a
/// probability; `None` when even the most do not suffice, or none is tried. Found by halving: the
/// probability grows with replicates but for simulation error.
///
/// # Errors
/// As [`optimum`].
pub fn replicates_for_optimum(
    question: &OptimumQuestion,
    target: f64,
    tried: &[usize],
) -> Result<Option<(usize, OptimumPrecision)>, SizeError> {
    checked("probability", target, "between 0 and 1", |p| p > 0.0 && p < 1.0)?;
    let at = |replicates: usize| {
        optimum(&OptimumQuestion {
            size: TrialSize { replicates, ..question.size },
            ..question.clone()
        })
    };
    let mut tried = tried.to_vec();
    tried.sort_unstable();
    tried.dedup();
    let Some(most) = tried.pop() else { return Ok(None) };
    let found = at(most)?;
    if found.within_tolerance < target {
        return Ok(None);
    }
    let mut answer = (most, found);
    // What is left is known neither to suffice nor to fail.
    let mut left = tried.as_slice();
    while let Some(&replicates) = left.get(left.len() / 2) {
        let (fewer, more) = left.split_at(left.len() / 2);
        match at(replicates) {
            Ok(found) if found.within_tolerance >= target => {
                (answer, left) = ((replicates, found), fewer);
            }
            Ok(_) | Err(SizeError::NoError { .. }) => left = more.get(1..).unwrap_or_default(),
            Err(error) => return Err(error),
        }
    }
    Ok(Some(answer))
}
