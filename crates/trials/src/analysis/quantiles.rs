//! Tails and quantiles of t and F as options, so that no NaN leaves a table.

use statrs::distribution::{ContinuousCDF, FisherSnedecor, StudentsT};

/// `Some` of a finite number.
pub(super) fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

/// Upper tail of F; `None` without degrees of freedom.
pub(super) fn f_tail(statistic: f64, df1: f64, df2: f64) -> Option<f64> {
    let f = FisherSnedecor::new(df1, df2).ok()?;
    statistic.is_finite().then(|| f.sf(statistic.max(0.0))).and_then(finite)
}

/// Two-sided p-value of t.
pub(super) fn t_tail(statistic: f64, df: f64) -> Option<f64> {
    let t = StudentsT::new(0.0, 1.0, df).ok()?;
    finite(2.0 * t.sf(statistic.abs()))
}

/// Two-sided critical value of t: exceeded in absolute value with probability `alpha`.
pub(super) fn t_critical(alpha: f64, df: f64) -> Option<f64> {
    let t = StudentsT::new(0.0, 1.0, df).ok()?;
    let start = t.inverse_cdf(1.0 - 0.5 * alpha);
    if !(start.is_finite() && start > 0.0) {
        return None;
    }
    // Newton steps on the upper tail polish the library's root.
    use statrs::distribution::Continuous;
    let mut x = start;
    for _ in 0..4 {
        x += (t.sf(x) - 0.5 * alpha) / t.pdf(x);
    }
    finite(x)
}
