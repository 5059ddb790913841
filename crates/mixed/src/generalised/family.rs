//! Distributions of a response with a log link, and their derivatives row by row.

use super::tweedie;
use serde::Serialize;
use statrs::function::gamma::{digamma, ln_gamma};

/// Distribution of a response y given its mean mu; log mu is linear, for
/// [`Family::Binomial`] the logit of mu.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Family {
    /// Counts with variance mu.
    Poisson,
    /// Counts with variance mu + mu^2 / size; the size is estimated.
    NegativeBinomial,
    /// Amounts of at least 0, with zeros: a Poisson number of gamma parts
    /// (Tweedie with 1 < power < 2; Dunn and Smyth 2005). Variance
    /// dispersion mu^power; dispersion and power are estimated.
    Tweedie,
    /// Shares y of w trials, w the row's prior weight: w y is binomial with
    /// mean w mu, and the logit of mu is linear.
    Binomial,
}

impl Family {
    /// Names of the parameters beside theta and the coefficients.
    pub fn parameters(self) -> &'static [&'static str] {
        match self {
            Family::Poisson | Family::Binomial => &[],
            Family::NegativeBinomial => &["size"],
            Family::Tweedie => &["dispersion", "power"],
        }
    }

    /// Whether responses are whole numbers.
    pub(crate) fn is_count(self) -> bool {
        matches!(self, Family::Poisson | Family::NegativeBinomial)
    }

    /// The law at unconstrained parameters: log size; log dispersion and the
    /// logit of power - 1.
    pub(crate) fn law(self, free: &[f64]) -> Law {
        match (self, free) {
            (Family::NegativeBinomial, [log_size, ..]) => {
                Law::NegativeBinomial { size: log_size.clamp(-15.0, LARGEST_LOG_SIZE).exp() }
            }
            (Family::Tweedie, [log_dispersion, logit, ..]) => Law::Tweedie {
                dispersion: log_dispersion.clamp(-30.0, 30.0).exp(),
                power: 1.0 + share(*logit),
            },
            (Family::Binomial, _) => Law::Binomial,
            _ => Law::Poisson,
        }
    }
}

/// Log size at which a negative binomial is Poisson to rounding.
pub(crate) const LARGEST_LOG_SIZE: f64 = 16.0;

/// The logistic function, kept off 0 and 1 where the series has no end.
pub(crate) fn share(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit.clamp(-7.0, 7.0)).exp())
}

/// A family with its parameters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Law {
    Poisson,
    NegativeBinomial { size: f64 },
    Tweedie { dispersion: f64, power: f64 },
    Binomial,
}

/// What Newton's method needs of a row: the log density without its constant,
/// its derivative by eta = log mu, and minus its second derivative.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Newton {
    pub value: f64,
    pub score: f64,
    pub weight: f64,
}

/// What the gradient needs besides: the derivative of the weight by eta, and
/// the derivatives of value, score and weight by each free parameter.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Slopes {
    pub score: f64,
    pub weight: f64,
    pub weight_slope: f64,
    pub by_parameter: [[f64; 3]; 2],
}

/// Row-wise derivatives of one law, compiled per law so that loops stay tight.
pub(crate) trait Kernel: Copy {
    fn newton(self, y: f64, eta: f64) -> Newton;
    fn slopes(self, y: f64, eta: f64) -> Slopes;
}

/// Largest eta that is exponentiated: a mean of 1e130 is no data.
const LARGEST_ETA: f64 = 300.0;

#[derive(Clone, Copy)]
pub(crate) struct PoissonKernel;

impl Kernel for PoissonKernel {
    #[inline]
    fn newton(self, y: f64, eta: f64) -> Newton {
        let mu = eta.min(LARGEST_ETA).exp();
        Newton { value: y * eta - mu, score: y - mu, weight: mu }
    }

    #[inline]
    fn slopes(self, y: f64, eta: f64) -> Slopes {
        let mu = eta.min(LARGEST_ETA).exp();
        Slopes { score: y - mu, weight: mu, weight_slope: mu, by_parameter: [[0.0; 3]; 2] }
    }
}

#[derive(Clone, Copy)]
pub(crate) struct NegativeBinomialKernel {
    pub size: f64,
}

impl Kernel for NegativeBinomialKernel {
    #[inline]
    fn newton(self, y: f64, eta: f64) -> Newton {
        let s = self.size;
        let mu = eta.min(LARGEST_ETA).exp();
        let inverse = 1.0 / (s + mu);
        Newton {
            value: y * eta - (s + y) * (mu / s).ln_1p(),
            score: (y - mu) * s * inverse,
            weight: (s + y) * s * mu * inverse * inverse,
        }
    }

    #[inline]
    fn slopes(self, y: f64, eta: f64) -> Slopes {
        let s = self.size;
        let mu = eta.min(LARGEST_ETA).exp();
        let inverse = 1.0 / (s + mu);
        let weight = (s + y) * s * mu * inverse * inverse;
        let by_log_size = [
            (s + y) * mu * inverse - s * (mu / s).ln_1p(),
            s * mu * (y - mu) * inverse * inverse,
            weight * (s / (s + y) + 1.0 - 2.0 * s * inverse),
        ];
        Slopes {
            score: (y - mu) * s * inverse,
            weight,
            weight_slope: weight * (s - mu) * inverse,
            by_parameter: [by_log_size, [0.0; 3]],
        }
    }
}

#[derive(Clone, Copy)]
pub(crate) struct BinomialKernel;

impl Kernel for BinomialKernel {
    #[inline]
    fn newton(self, y: f64, eta: f64) -> Newton {
        let mu = logistic(eta);
        // log(1 + e^eta) without overflow.
        let value = y * eta - eta.max(0.0) - (-eta.abs()).exp().ln_1p();
        Newton { value, score: y - mu, weight: mu * (1.0 - mu) }
    }

    #[inline]
    fn slopes(self, y: f64, eta: f64) -> Slopes {
        let mu = logistic(eta);
        let weight = mu * (1.0 - mu);
        let weight_slope = weight * (1.0 - 2.0 * mu);
        Slopes { score: y - mu, weight, weight_slope, by_parameter: [[0.0; 3]; 2] }
    }
}

/// The logistic function.
pub(crate) fn logistic(eta: f64) -> f64 {
    1.0 / (1.0 + (-eta).exp())
}

/// The part of the log density of binomial shares that no parameter moves:
/// the log of the number of ways.
pub(crate) fn ways(shares: &[f64], trials: &[f64]) -> f64 {
    let one = |(y, n): (&f64, &f64)| {
        let k = (y * n).round();
        ln_gamma(n + 1.0) - ln_gamma(k + 1.0) - ln_gamma(n - k + 1.0)
    };
    shares.iter().zip(trials).map(one).sum()
}

#[derive(Clone, Copy)]
pub(crate) struct TweedieKernel {
    pub dispersion: f64,
    pub power: f64,
}

impl TweedieKernel {
    /// y mu^(1-p) / phi and mu^(2-p) / phi.
    #[inline]
    fn terms(self, y: f64, eta: f64) -> (f64, f64) {
        let eta = eta.clamp(-LARGEST_ETA, LARGEST_ETA);
        let mean = ((2.0 - self.power) * eta).exp() / self.dispersion;
        let data =
            if y == 0.0 { 0.0 } else { y * ((1.0 - self.power) * eta).exp() / self.dispersion };
        (data, mean)
    }
}

impl Kernel for TweedieKernel {
    #[inline]
    fn newton(self, y: f64, eta: f64) -> Newton {
        let p = self.power;
        let (a, b) = self.terms(y, eta);
        Newton {
            value: a / (1.0 - p) - b / (2.0 - p),
            score: a - b,
            weight: (p - 1.0) * a + (2.0 - p) * b,
        }
    }

    #[inline]
    fn slopes(self, y: f64, eta: f64) -> Slopes {
        let (c, d) = (1.0 - self.power, 2.0 - self.power);
        let (a, b) = self.terms(y, eta);
        let (score, weight) = (a - b, d * b - c * a);
        // The chain rule through the logit of power - 1.
        let chain = -c * d;
        let by_power = [
            -eta * a / c + a / (c * c) + eta * b / d - b / (d * d),
            eta * (b - a),
            a + c * eta * a - b - d * eta * b,
        ];
        Slopes {
            score,
            weight,
            weight_slope: d * d * b - c * c * a,
            by_parameter: [[b / d - a / c, -score, -weight], by_power.map(|v| v * chain)],
        }
    }
}

/// The part of the log density that depends on the response and the family's
/// parameters alone, with its derivatives by the free parameters, for the
/// ascending distinct `values`; summed with `weights`.
pub(crate) fn constants(law: Law, values: &[f64], weights: &[f64]) -> [f64; 3] {
    let mut sum = [0.0; 3];
    let mut add = |w: f64, part: [f64; 3]| {
        for (s, x) in sum.iter_mut().zip(part) {
            *s += w * x;
        }
    };
    match law {
        Law::Poisson => {
            for (y, w) in values.iter().zip(weights) {
                add(*w, [-ln_gamma(y + 1.0), 0.0, 0.0]);
            }
        }
        Law::NegativeBinomial { size } => {
            // log prod_{j < y} (1 + j / size), term by term: the difference of
            // two log-gammas would lose its digits at a large size.
            let (mut count, mut log, mut slope) = (0.0, 0.0, 0.0);
            for (y, w) in values.iter().zip(weights) {
                if y - count > 1e4 {
                    count = *y;
                    log = ln_gamma(y + size) - ln_gamma(size) - y * size.ln();
                    slope = size * (digamma(size + y) - digamma(size)) - y;
                } else {
                    while count < *y {
                        log += (count / size).ln_1p();
                        slope -= count / (size + count);
                        count += 1.0;
                    }
                }
                add(*w, [log - ln_gamma(y + 1.0), slope, 0.0]);
            }
        }
        Law::Tweedie { dispersion, power } => {
            for (y, w) in values.iter().zip(weights).filter(|(y, _)| **y > 0.0) {
                add(*w, tweedie::log_series(*y, dispersion, power));
            }
        }
        // Depends on the trials of each row: see `ways`.
        Law::Binomial => {}
    }
    sum
}

impl Law {
    /// Variance at a mean.
    pub fn variance(self, mu: f64) -> f64 {
        match self {
            Law::Poisson => mu,
            Law::NegativeBinomial { size } => mu + mu * mu / size,
            Law::Tweedie { dispersion, power } => dispersion * mu.powf(power),
            Law::Binomial => mu * (1.0 - mu),
        }
    }

    /// Mean at a value of the linear predictor.
    pub fn mean(self, eta: f64) -> f64 {
        if self == Law::Binomial { logistic(eta) } else { eta.exp() }
    }

    /// Probability of 0; `trials` matters for shares alone.
    pub fn zero(self, mu: f64, trials: f64) -> f64 {
        match self {
            Law::Binomial => (trials * (-mu).ln_1p()).exp(),
            Law::Poisson => (-mu).exp(),
            Law::NegativeBinomial { size } => (-size * (mu / size).ln_1p()).exp(),
            Law::Tweedie { dispersion, power } => {
                (-mu.powf(2.0 - power) / (dispersion * (2.0 - power))).exp()
            }
        }
    }
}
