//! Likelihood-ratio test of one spread at its boundary.

use crate::Error;
use crate::data::Covariance;
use crate::fit::Fit;
use crate::objective::Objective;
use crate::settings::Criterion;
use crate::starts::{of_effects, of_factors};
use crate::status::Status;
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Test that one random effect has no spread (and no covariance with the
/// other effects of its factor).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VarianceTest {
    /// `factor.effect`.
    pub term: String,
    /// Rise of the criterion without the term, at least 0.
    pub statistic: f64,
    /// Degrees of freedom of the two chi-squares that are mixed half and half.
    pub mixture: [f64; 2],
    /// Upper tail of the mixture.
    pub p_value: f64,
    /// Criterion without the term.
    pub reduced_criterion: f64,
    /// Criterion of both fits. REML compares equal fixed columns here.
    pub criterion: Criterion,
    /// Other terms estimated at 0. The mixture takes them to be above 0; with
    /// some listed it is conservative at best.
    pub others_at_zero: Vec<String>,
    /// How the fit with the term ended.
    pub status: Status,
}

impl Fit {
    /// Compares the fit with one in which an effect of a factor is left out.
    ///
    /// Under no spread the statistic follows a half-and-half mixture of two
    /// chi-squares: 0 and 1 degrees of freedom for a lone or independent
    /// effect, k - 1 and k for one of k correlated effects (Self and Liang
    /// 1987, case 5; Stram and Lee 1994, cases 1 to 3). This holds for many
    /// groups; with few it is conservative.
    ///
    /// # Errors
    /// [`Error::Unknown`] for a factor or effect that the model does not have;
    /// [`Error::Numerical`] when the smaller model cannot be fitted.
    pub fn variance_test(&self, factor: &str, effect: &str) -> Result<VarianceTest, Error> {
        let layout = &self.system.layout;
        let f = layout.factor_index(factor)?;
        let shape = &layout.factors[f];
        let row = shape
            .effects
            .iter()
            .position(|e| e == effect)
            .ok_or_else(|| Error::Unknown { what: format!("effect {effect} of {factor}") })?;
        let k = match shape.covariance {
            Covariance::Correlated => shape.k() as f64,
            Covariance::Independent => 1.0,
        };
        let mixture = [k - 1.0, k];
        let held = self.entries_of(f, row);
        let reduced_criterion = self.minimum_without(&held)?;
        let statistic = (reduced_criterion - self.criterion()).max(0.0);
        let p_value = mixture.iter().map(|df| 0.5 * chi_square_tail(statistic, *df)).sum();
        let mut others_at_zero = self.boundary_terms();
        let term = format!("{factor}.{effect}");
        others_at_zero.retain(|t| *t != term);
        Ok(VarianceTest {
            term,
            statistic,
            mixture,
            p_value,
            reduced_criterion,
            criterion: self.system.criterion,
            others_at_zero,
            status: self.status().clone(),
        })
    }

    /// Entries of theta in the row and the column of one effect.
    pub(crate) fn entries_of(&self, factor: usize, effect: usize) -> Vec<usize> {
        let entries = self.system.entries.iter().enumerate();
        entries
            .filter(|(_, e)| e.factor == factor && (e.row == effect || e.column == effect))
            .map(|(i, _)| i)
            .collect()
    }

    /// Smallest criterion with the entries `held` at 0.
    pub(crate) fn minimum_without(&self, held: &[usize]) -> Result<f64, Error> {
        let system = &self.system;
        let settings = &self.record().settings;
        let free: Vec<usize> = (0..system.entries.len()).filter(|i| !held.contains(i)).collect();
        let ones = system.entries.iter().zip(&system.column_rms);
        let mut starts: Vec<Vec<f64>> = vec![
            self.solved.theta.clone(),
            ones.map(|(e, rms)| if e.is_diagonal() { 1.0 / rms } else { 0.0 }).collect(),
        ];
        starts.extend(of_factors(system));
        starts.extend(of_effects(system));
        let mut objective = Objective::new(system);
        let mut best = f64::INFINITY;
        for mut start in starts {
            for i in held {
                start[*i] = 0.0;
            }
            let found =
                objective.search(&start, &free, settings.max_iterations, settings.tolerance);
            if let Some((_, minimum)) = found {
                best = best.min(minimum.value);
            }
        }
        if best.is_finite() {
            Ok(best)
        } else {
            Err(Error::Numerical { what: "the model without the term cannot be fitted" })
        }
    }
}

/// Upper tail; with 0 degrees of freedom all mass is at 0.
fn chi_square_tail(x: f64, df: f64) -> f64 {
    if df == 0.0 {
        return if x > 0.0 { 0.0 } else { 1.0 };
    }
    ChiSquared::new(df).map_or(f64::NAN, |c| c.sf(x))
}
