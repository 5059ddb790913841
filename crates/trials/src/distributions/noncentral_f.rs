//! The noncentral F distribution: power of an F test.

use super::{DistributionError, checked_df, checked_probability, root};
use statrs::function::{beta::beta_reg, gamma::gamma_lr, gamma::gamma_ur, gamma::ln_gamma};

/// F with `df1` and `df2` degrees of freedom and noncentrality lambda = sum of squared treatment
/// effects over the error variance of a treatment mean; the central F when lambda is 0.
///
/// A Poisson mixture of incomplete beta functions (Johnson, Kotz and Balakrishnan 1995, Continuous
/// Univariate Distributions 2, chapter 30), summed so that every term is positive: both tails keep
/// their relative accuracy down to about 1e-15.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoncentralF {
    df1: f64,
    df2: f64,
    noncentrality: f64,
}

impl NoncentralF {
    /// A distribution with `df1` finite above 0, `df2` above 0 or infinite (error variance known),
    /// noncentrality finite and at least 0.
    ///
    /// # Errors
    /// When a parameter is out of range.
    pub fn new(df1: f64, df2: f64, noncentrality: f64) -> Result<Self, DistributionError> {
        checked_df("numerator degrees of freedom", df1)?;
        if !df1.is_finite() {
            return Err(DistributionError::Parameter {
                name: "numerator degrees of freedom",
                value: df1,
                needed: "finite",
            });
        }
        checked_df("denominator degrees of freedom", df2)?;
        if !(noncentrality >= 0.0 && noncentrality.is_finite()) {
            return Err(DistributionError::Parameter {
                name: "noncentrality",
                value: noncentrality,
                needed: "at least 0",
            });
        }
        Ok(NoncentralF { df1, df2, noncentrality })
    }

    /// Probability of a value at most `x`.
    #[must_use]
    pub fn cdf(&self, x: f64) -> f64 {
        self.tail(x, Tail::Lower)
    }

    /// Probability of a value above `x`: the power of the test when `x` is its critical value.
    #[must_use]
    pub fn upper_tail(&self, x: f64) -> f64 {
        self.tail(x, Tail::Upper)
    }

    /// Value that is exceeded with probability 1 - `p`.
    ///
    /// # Errors
    /// When `p` is not inside (0, 1) or no value reaches it in floating point.
    pub fn quantile(&self, p: f64) -> Result<f64, DistributionError> {
        checked_probability(p)?;
        let guess = 1.0 + self.noncentrality / self.df1;
        root::decreasing(guess, |x| p - self.cdf(x)).ok_or(DistributionError::NotFound(p))
    }

    /// Value that is exceeded with probability `p`: the critical value of a test at level `p` when
    /// the noncentrality is 0.
    ///
    /// # Errors
    /// When `p` is not inside (0, 1) or no value reaches it in floating point.
    pub fn upper_quantile(&self, p: f64) -> Result<f64, DistributionError> {
        checked_probability(p)?;
        let guess = 1.0 + self.noncentrality / self.df1;
        root::decreasing(guess, |x| self.upper_tail(x) - p).ok_or(DistributionError::NotFound(p))
    }

    fn tail(&self, x: f64, tail: Tail) -> f64 {
        if x.is_nan() {
            return f64::NAN;
        }
        if x <= 0.0 || x == f64::INFINITY {
            return if (x <= 0.0) == (tail == Tail::Upper) { 1.0 } else { 0.0 };
        }
        let component = Component::new(self.df1, self.df2, x);
        let mean = 0.5 * self.noncentrality;
        if mean == 0.0 {
            return component.tail(0.0, tail);
        }
        // Poisson counts outside this window weigh less than 1e-20 together.
        let spread = 10.0 * mean.sqrt() + 45.0;
        let first = (mean - spread).max(0.0).floor();
        let last = (mean + spread).ceil();
        let counts = (last - first) as usize;
        let weight = |j: f64| (j * mean.ln() - mean - ln_gamma(j + 1.0)).exp();
        let mut total = 0.0;
        // The lower tail falls with the count and the upper one rises: adding positive increments
        // from the small end never cancels.
        match tail {
            Tail::Lower => {
                let mut value = component.tail(last, tail);
                for back in 0..=counts {
                    let j = last - back as f64;
                    if back > 0 {
                        value += component.increment(j);
                    }
                    total += weight(j) * value;
                }
            }
            Tail::Upper => {
                let mut value = component.tail(first, tail);
                for ahead in 0..=counts {
                    let j = first + ahead as f64;
                    if ahead > 0 {
                        value += component.increment(j - 1.0);
                    }
                    total += weight(j) * value;
                }
            }
        }
        total.min(1.0)
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Tail {
    Lower,
    Upper,
}

/// The distribution given a Poisson count: a beta, or a gamma when the error variance is known.
enum Component {
    Beta { a: f64, b: f64, share: f64, rest: f64 },
    Gamma { a: f64, half: f64 },
}

impl Component {
    fn new(df1: f64, df2: f64, x: f64) -> Self {
        let a = 0.5 * df1;
        if df2.is_infinite() {
            return Component::Gamma { a, half: 0.5 * df1 * x };
        }
        let ratio = df1 * x / df2;
        let (share, rest) = if ratio.is_finite() {
            (ratio / (1.0 + ratio), 1.0 / (1.0 + ratio))
        } else {
            (1.0, 0.0)
        };
        Component::Beta { a, b: 0.5 * df2, share, rest }
    }

    fn tail(&self, count: f64, tail: Tail) -> f64 {
        match (self, tail) {
            (Component::Beta { share: 1.0, .. }, Tail::Lower) => 1.0,
            (Component::Beta { share: 1.0, .. }, Tail::Upper) => 0.0,
            (Component::Beta { a, b, share, .. }, Tail::Lower) => beta_reg(a + count, *b, *share),
            (Component::Beta { a, b, rest, .. }, Tail::Upper) => beta_reg(*b, a + count, *rest),
            (Component::Gamma { a, half }, Tail::Lower) => gamma_lr(a + count, *half),
            (Component::Gamma { a, half }, Tail::Upper) => gamma_ur(a + count, *half),
        }
    }

    /// By how much the lower tail falls from `count` to `count` + 1.
    fn increment(&self, count: f64) -> f64 {
        match self {
            Component::Beta { a, b, share, rest } => {
                let a = a + count;
                (ln_gamma(a + b) - ln_gamma(a + 1.0) - ln_gamma(*b)
                    + a * share.ln()
                    + b * rest.ln())
                .exp()
            }
            Component::Gamma { a, half } => {
                let a = a + count;
                (a * half.ln() - half - ln_gamma(a + 1.0)).exp()
            }
        }
    }
}
