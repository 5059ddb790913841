//! One question to all three ways of fitting: contrasts with standard errors and tests of terms.

use super::columns::Columns;
use super::mixed_model::MixedFit;
use super::orthogonal::{Factored, dot, extend, take_out};
use super::quantiles::{f_tail, finite};
use super::strata::{Share, StrataFit, Variance};
use crate::design::{Plan, Refusal, StratumKind};
use mixed::{Contrast, JointTest};
use words::say;

/// How the trial was fitted.
#[derive(Debug, Clone)]
pub(super) enum Way {
    /// Exact, by strata.
    Strata(StrataFit),
    /// Least squares with fixed blocks and one error.
    OneError {
        /// Residual sum of squares.
        rss: f64,
        /// Its degrees of freedom.
        df: usize,
    },
    /// Mixed model.
    Mixed(Box<MixedFit>),
}

/// What estimates combinations of its coefficients, and judges them by its error.
pub(crate) trait Judge {
    /// Estimate of l'b alone, needing no error.
    fn value_of(&self, l: &[f64]) -> Option<f64>;

    /// Estimate of l'b with its standard error; `None` where the units cannot estimate it, or no
    /// error judges it.
    fn estimate(&self, l: &[f64]) -> Option<Estimated>;

    /// Test that the estimable part of the rows of `l` is 0, with its sum of squares where there is
    /// one. `None` where nothing is estimable or no error judges it.
    fn test(&self, l: &[Vec<f64>]) -> Option<(Tested, Option<f64>)>;
}

/// A fitted trial.
#[derive(Debug, Clone)]
pub(super) struct Fitted {
    /// Fixed columns.
    pub columns: Columns,
    /// The treatment columns (by strata) or all fixed columns, factored.
    factored: Factored,
    /// Response by unit.
    y: Vec<f64>,
    /// Way of fitting.
    pub way: Way,
    /// The mixed model beside the strata, for what their mean squares fall short of judging.
    beside: Option<Box<MixedFit>>,
    /// Why it was fitted that way.
    pub why: String,
}

/// An estimated contrast.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Estimated {
    pub estimate: f64,
    pub std_error: f64,
    pub df: f64,
    /// Parts of the variance by stratum, where it is a sum of mean squares.
    pub shares: Vec<Share>,
}

/// A tested set of contrasts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Tested {
    pub statistic: f64,
    pub df: f64,
    pub df_denominator: f64,
    pub p_value: f64,
}

impl Fitted {
    /// Fits a plan exactly where it is balanced or has one error, else by the mixed model.
    ///
    /// # Errors
    /// Nothing left for error, or a mixed model that could not be fitted.
    pub fn new(plan: &Plan) -> Result<Fitted, Refusal> {
        Fitted::with_columns(plan, Columns::new(plan), false)
    }

    /// Fits the given columns; `mixed` asks for the mixed model even where the trial is balanced.
    ///
    /// # Errors
    /// As for [`Fitted::new`].
    pub fn with_columns(plan: &Plan, columns: Columns, mixed: bool) -> Result<Fitted, Refusal> {
        let y = plan.values();
        let treatments = Factored::new(&columns.values[..columns.treatments]);
        let why_not = if mixed {
            "the mixed model was asked for".to_owned()
        } else {
            match StrataFit::new(plan, &columns, &treatments) {
                Ok(strata) => {
                    check_error(&strata, plan)?;
                    // A model that cannot be fitted leaves those terms without a test.
                    let beside = strata.short_of_error().then(|| MixedFit::new(plan, &columns));
                    return Ok(Fitted {
                        beside: beside.and_then(Result::ok).map(Box::new),
                        columns,
                        factored: treatments,
                        y,
                        way: Way::Strata(strata),
                        why: say!("the trial is balanced: every term lies in one stratum"),
                    });
                }
                Err(why) => why,
            }
        };
        let factored = Factored::new(&columns.values);
        let units = y.len();
        if factored.rank() >= units {
            return Err(Refusal::NoErrorDf { units, model: say!("treatments and blocks") });
        }
        if plan.strata.iter().all(|s| s.kind != StratumKind::Random) {
            let mut rest = y.clone();
            take_out(&mut rest, &factored.basis);
            let rss = dot(&rest, &rest);
            check_rss(rss, &y)?;
            let way = Way::OneError { rss, df: units - factored.rank() };
            return Ok(Fitted { columns, factored, y, way, beside: None, why: why_not });
        }
        let way = Way::Mixed(Box::new(MixedFit::new(plan, &columns)?));
        Ok(Fitted { columns, factored, y, way, beside: None, why: why_not })
    }

    /// Weights of the units in the estimate of l'b.
    fn weights(&self, l: &[f64]) -> Option<(f64, Vec<f64>)> {
        let a = self.factored.coordinates(&l[..self.columns.treatments])?;
        let mut weights = vec![0.0; self.y.len()];
        for (a, q) in a.iter().zip(&self.factored.basis) {
            weights.iter_mut().zip(q).for_each(|(w, q)| *w += a * q);
        }
        Some((self.value(&a), weights))
    }

    fn value(&self, a: &[f64]) -> f64 {
        a.iter().zip(&self.factored.basis).map(|(a, q)| a * dot(q, &self.y)).sum()
    }
}

impl Judge for Fitted {
    fn value_of(&self, l: &[f64]) -> Option<f64> {
        match &self.way {
            Way::Strata(_) => self.weights(l).map(|w| w.0),
            Way::OneError { .. } => Some(self.value(&self.factored.coordinates(l)?)),
            Way::Mixed(_) => self.estimate(l).map(|e| e.estimate),
        }
    }

    fn estimate(&self, l: &[f64]) -> Option<Estimated> {
        match &self.way {
            Way::Strata(strata) => {
                let (estimate, weights) = self.weights(l)?;
                let shares = match strata.variance(&weights) {
                    Variance::Of(shares) => shares,
                    Variance::NoError => return None,
                    Variance::FallsShort => return by_mixed_model(self.beside.as_deref()?, l),
                };
                let variance: f64 = shares.iter().map(|s| s.variance).sum();
                // Satterthwaite (1946).
                let spread: f64 = shares.iter().map(|s| s.variance.powi(2) / s.df).sum();
                positive(estimate, variance, variance * variance / spread, shares)
            }
            Way::OneError { rss, df } => {
                let a = self.factored.coordinates(l)?;
                let estimate = self.value(&a);
                let df = *df as f64;
                let variance = dot(&a, &a) * rss / df;
                positive(estimate, variance, df, Vec::new())
            }
            Way::Mixed(fit) => {
                self.factored.coordinates(l)?;
                by_mixed_model(fit, l)
            }
        }
    }

    fn test(&self, l: &[Vec<f64>]) -> Option<(Tested, Option<f64>)> {
        let width = match &self.way {
            Way::Strata(_) => self.columns.treatments,
            _ => self.columns.names.len(),
        };
        let cut: Vec<Vec<f64>> = l.iter().map(|row| row[..width].to_vec()).collect();
        let rows = self.factored.estimable(&cut);
        let df = rows.len() as f64;
        if rows.is_empty() {
            return None;
        }
        if let Way::Mixed(fit) = &self.way {
            return jointly(fit, &rows).map(|t| (t, None));
        }
        let mut span: Vec<Vec<f64>> = Vec::new();
        for row in &rows {
            extend(&mut span, &self.factored.coordinates(row)?);
        }
        let ss: f64 = span.iter().map(|u| self.value(u).powi(2)).sum();
        match &self.way {
            Way::OneError { rss, df: error } => {
                let error = *error as f64;
                tested(ss / df / (rss / error), df, error).map(|t| (t, Some(ss)))
            }
            Way::Strata(strata) => {
                // Mean of the variances of orthonormal contrasts; exact within one stratum.
                let mut shares: Vec<Share> = Vec::new();
                for u in &span {
                    let mut c = vec![0.0; self.y.len()];
                    for (a, q) in u.iter().zip(&self.factored.basis) {
                        c.iter_mut().zip(q).for_each(|(w, q)| *w += a * q);
                    }
                    let own = match strata.variance(&c) {
                        Variance::Of(own) => own,
                        Variance::NoError => return None,
                        Variance::FallsShort => {
                            return jointly(self.beside.as_deref()?, l).map(|t| (t, Some(ss)));
                        }
                    };
                    for share in own {
                        match shares.iter_mut().find(|s| s.stratum == share.stratum) {
                            Some(s) => s.variance += share.variance,
                            None => shares.push(share),
                        }
                    }
                }
                let variance: f64 = shares.iter().map(|s| s.variance).sum();
                let spread: f64 = shares.iter().map(|s| s.variance.powi(2) / s.df).sum();
                tested(ss / variance, df, variance * variance / spread).map(|t| (t, Some(ss)))
            }
            Way::Mixed(_) => None,
        }
    }
}

fn by_mixed_model(fit: &MixedFit, l: &[f64]) -> Option<Estimated> {
    match fit.kenward_roger.contrast(l, 0.95).ok()? {
        Contrast::Estimated(e) => positive(e.estimate, e.std_error.powi(2), e.df, Vec::new()),
        Contrast::NotEstimable => None,
    }
}

fn jointly(fit: &MixedFit, rows: &[Vec<f64>]) -> Option<Tested> {
    of_joint_test(&fit.kenward_roger.joint_test(rows).ok()?, rows.len())
}

/// A joint test of so many independent rows; `None` where none was made.
pub(crate) fn of_joint_test(test: &JointTest, rows: usize) -> Option<Tested> {
    let JointTest::Tested { statistic, df_denominator, .. } = test else { return None };
    tested(*statistic, rows as f64, *df_denominator)
}

/// An estimate with its error; `None` where the error is no positive number.
pub(crate) fn positive(
    estimate: f64,
    variance: f64,
    df: f64,
    shares: Vec<Share>,
) -> Option<Estimated> {
    let std_error = variance.sqrt();
    let usable = estimate.is_finite() && std_error.is_finite() && std_error > 0.0;
    (usable && df.is_finite() && df > 0.0).then_some(Estimated { estimate, std_error, df, shares })
}

/// An F test with its tail; `None` of what is no number.
pub(crate) fn tested(statistic: f64, df: f64, df_denominator: f64) -> Option<Tested> {
    let p_value = f_tail(statistic, df, df_denominator)?;
    let statistic = finite(statistic).filter(|f| *f >= 0.0)?;
    Some(Tested { statistic, df, df_denominator, p_value })
}

fn check_error(strata: &StrataFit, plan: &Plan) -> Result<(), Refusal> {
    let last = &strata.strata[strata.strata.len() - 1];
    if last.error_df == 0 {
        return Err(Refusal::NoErrorDf {
            units: plan.units.len(),
            model: say!("treatments and blocks"),
        });
    }
    check_rss(last.error_ss, &plan.values())
}

/// Refuses a residual that is rounding.
fn check_rss(rss: f64, y: &[f64]) -> Result<(), Refusal> {
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    let total: f64 = y.iter().map(|v| (v - mean).powi(2)).sum();
    if rss > 1e-20 * total { Ok(()) } else { Err(Refusal::NoError) }
}
