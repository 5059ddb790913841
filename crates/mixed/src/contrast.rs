//! Contrasts of the coefficients, one by one (t) and jointly (F).

use crate::fit::Fit;
use crate::gradient::eigen;
use crate::settings::check_level;
use crate::small::dot;
use crate::{Error, Matrix};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, FisherSnedecor, StudentsT};

/// Where degrees of freedom come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum DfMethod {
    /// Moment matching on the curvature of the deviance in (theta, sigma).
    Satterthwaite,
    /// Small-sample covariance and scale of Kenward and Roger (1997).
    KenwardRoger,
}

/// A linear function of coefficients that the rows can estimate.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Estimate {
    /// Estimate in response units.
    pub estimate: f64,
    /// Standard error.
    pub std_error: f64,
    /// Degrees of freedom of the t distribution.
    pub df: f64,
    /// Where `df` comes from.
    pub df_method: DfMethod,
    /// `estimate / std_error`.
    pub statistic: f64,
    /// Two-sided p-value.
    pub p_value: f64,
    /// Lower confidence limit.
    pub conf_low: f64,
    /// Upper confidence limit.
    pub conf_high: f64,
    /// Confidence level of the limits.
    pub level: f64,
}

impl Estimate {
    /// The same estimate with an error so many times as large, for what the fit took as known and is not.
    #[must_use]
    pub fn widened(&self, times: f64) -> Estimate {
        tabulate(self.estimate, times * self.std_error, self.df, self.df_method, self.level)
    }
}

/// A contrast, or the statement that it cannot be estimated.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Contrast {
    /// Estimated.
    Estimated(Estimate),
    /// Needs a column that the rows cannot tell from others.
    NotEstimable,
}

impl Contrast {
    /// The estimate, if there is one.
    pub fn estimated(&self) -> Option<&Estimate> {
        match self {
            Contrast::Estimated(e) => Some(e),
            Contrast::NotEstimable => None,
        }
    }
}

/// A joint test that several contrasts are 0.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum JointTest {
    /// F test.
    Tested {
        /// F statistic.
        statistic: f64,
        /// Numerator degrees of freedom: rank of the contrasts.
        df_numerator: f64,
        /// Denominator degrees of freedom.
        df_denominator: f64,
        /// Where the denominator comes from.
        df_method: DfMethod,
        /// Upper tail probability.
        p_value: f64,
    },
    /// At least one contrast is not estimable, or all are 0.
    NotEstimable,
}

impl Fit {
    /// The contrast `l'b` with Satterthwaite degrees of freedom. `l` has one
    /// entry per fixed column, in user units; `level` is two-sided.
    ///
    /// # Errors
    /// Wrong length or level; no usable curvature.
    pub fn contrast(&self, l: &[f64], level: f64) -> Result<Contrast, Error> {
        check_level(level)?;
        self.check_contrast(l)?;
        let Some((target, offset)) = self.fixed_target(l) else {
            return Ok(Contrast::NotEstimable);
        };
        let (estimate, relative) = self.read(&target);
        let df = self.parameters()?.degrees_of_freedom(&self.system, &target, relative);
        Ok(Contrast::Estimated(tabulate(
            estimate + offset,
            self.sigma * relative.sqrt(),
            df,
            DfMethod::Satterthwaite,
            level,
        )))
    }

    /// F test that all rows of `l` times b are 0, with the denominator of Fai
    /// and Cornelius (1996): t tests of the eigen-contrasts are combined.
    ///
    /// # Errors
    /// Wrong length; no usable curvature.
    pub fn joint_test(&self, l: &[Vec<f64>]) -> Result<JointTest, Error> {
        let q = self.system.layout.q;
        let mut targets = Vec::with_capacity(l.len());
        for row in l {
            self.check_contrast(row)?;
            match self.fixed_target(row) {
                Some(target) => targets.push(target),
                None => return Ok(JointTest::NotEstimable),
            }
        }
        let inner = self.inner_covariance();
        let mut v = Matrix::zeros(targets.len(), targets.len());
        for (i, (a, _)) in targets.iter().enumerate() {
            for (j, (b, _)) in targets.iter().enumerate() {
                v[(i, j)] = inner.quadratic(&a.direct[q..], &b.direct[q..]);
            }
        }
        let estimates: Vec<f64> = targets.iter().map(|(t, o)| self.read(t).0 + o).collect();
        let (values, vectors) =
            eigen(&v).ok_or(Error::Numerical { what: "covariance of the contrasts" })?;
        let largest = values.last().copied().unwrap_or(0.0);
        let parameters = self.parameters()?;
        let (mut sum, mut dfs) = (0.0, Vec::new());
        for (c, value) in values.iter().enumerate() {
            // Rows that repeat others add nothing.
            if *value > 1e-10 * largest {
                let weights = vectors.column(c);
                let t = dot(&weights, &estimates);
                sum += t * t / value;
                let mut combined = targets[0].0.clone();
                combined.direct.iter_mut().for_each(|x| *x = 0.0);
                for (w, (target, _)) in weights.iter().zip(&targets) {
                    for (x, d) in combined.direct.iter_mut().zip(&target.direct) {
                        *x += w * d;
                    }
                }
                let relative = combined.relative_variance(&self.system, &self.solved);
                dfs.push(parameters.degrees_of_freedom(&self.system, &combined, relative));
            }
        }
        if dfs.is_empty() {
            return Ok(JointTest::NotEstimable);
        }
        let rank = dfs.len() as f64;
        let df_denominator = combine(&dfs);
        let statistic = sum / rank;
        Ok(JointTest::Tested {
            statistic,
            df_numerator: rank,
            df_denominator,
            df_method: DfMethod::Satterthwaite,
            p_value: f_tail(statistic, rank, df_denominator),
        })
    }

    pub(crate) fn check_contrast(&self, l: &[f64]) -> Result<(), Error> {
        let expected = self.system.layout.p();
        if l.len() != expected {
            return Err(Error::LengthMismatch {
                what: "contrast".into(),
                expected,
                found: l.len(),
            });
        }
        match l.iter().find(|x| !x.is_finite()) {
            Some(value) => {
                Err(Error::BadSetting { name: "contrast", value: *value, need: "finite" })
            }
            None => Ok(()),
        }
    }
}

/// Denominator of the F test from the degrees of freedom of its t tests.
fn combine(dfs: &[f64]) -> f64 {
    let q = dfs.len() as f64;
    let mean = dfs.iter().sum::<f64>() / q;
    if dfs.iter().all(|d| (d - mean).abs() < 1e-8 * mean) {
        return mean;
    }
    // An F mean exists only for each df above 2.
    if dfs.iter().any(|d| *d <= 2.0) {
        return 2.0;
    }
    let e: f64 = dfs.iter().map(|d| d / (d - 2.0)).sum();
    2.0 * e / (e - q)
}

/// Upper tail of F; 1 for an unusable statistic is never reported, NaN is.
pub(crate) fn f_tail(statistic: f64, df1: f64, df2: f64) -> f64 {
    FisherSnedecor::new(df1, df2).map_or(f64::NAN, |f| f.sf(statistic.max(0.0)))
}

/// Completes a t table row.
pub(crate) fn tabulate(
    estimate: f64,
    std_error: f64,
    df: f64,
    df_method: DfMethod,
    level: f64,
) -> Estimate {
    let statistic = estimate / std_error;
    let t = StudentsT::new(0.0, 1.0, df).ok();
    let p_value = t.map_or(f64::NAN, |t| 2.0 * t.sf(statistic.abs()));
    let half = std_error * t.map_or(f64::NAN, |t| t.inverse_cdf(0.5 + 0.5 * level));
    Estimate {
        estimate,
        std_error,
        df,
        df_method,
        statistic,
        p_value,
        conf_low: estimate - half,
        conf_high: estimate + half,
        level,
    }
}
