//! Season-to-season error of a tree's log yield: alternate bearing and heavy tails.

use crate::ErrorTails;
use crate::dice::{Dice, log_sd};

/// Degrees of freedom of the heavy-tailed error.
const HEAVY_DF: f64 = 4.0;
/// Heavy-tailed errors are cut at this many standard deviations: exp of a t variable has no mean.
const CUT: f64 = 4.0;

/// Stationary process u_t with standard deviation `sd` and lag-1 correlation `-alternation`.
pub(crate) struct ErrorProcess {
    sd: f64,
    alternation: f64,
    tails: ErrorTails,
    log_mean: f64,
}

impl ErrorProcess {
    /// From the coefficient of variation of yield, the strength of alternation (0 to below 1)
    /// and the tails.
    pub(crate) fn new(cv: f64, alternation: f64, tails: ErrorTails) -> Self {
        let sd = log_sd(cv);
        let log_mean = match tails {
            ErrorTails::Normal => sd * sd / 2.0,
            ErrorTails::Heavy => mean_exp_cut_t4(sd).ln(),
        };
        Self { sd, alternation, tails, log_mean }
    }

    /// The next unit-variance state and the log error, centred so that exp(error) has mean 1.
    pub(crate) fn next(&self, before: Option<f64>, dice: &mut Dice) -> (f64, f64) {
        let fresh = dice.normal();
        let state = before.map_or(fresh, |before| {
            let a = self.alternation;
            fresh * (1.0 - a * a).sqrt() - a * before
        });
        let error = match self.tails {
            ErrorTails::Normal => self.sd * state,
            ErrorTails::Heavy => {
                // A normal over sqrt(chi2 / df) is Student's t, with variance df / (df - 2).
                let chi2_over_df = dice.gamma(HEAVY_DF / 2.0, 1.0);
                let unit = state / chi2_over_df.sqrt() * ((HEAVY_DF - 2.0) / HEAVY_DF).sqrt();
                self.sd * unit.clamp(-CUT, CUT)
            }
        };
        (state, error - self.log_mean)
    }
}

/// E exp(sd x) of x = t4 / sqrt(2) cut at +-CUT, by Simpson's rule on the t4 density
/// 3/8 (1 + t^2/4)^(-5/2).
fn mean_exp_cut_t4(sd: f64) -> f64 {
    const STEPS: u32 = 4000;
    let root_two = std::f64::consts::SQRT_2;
    let step = 2.0 * CUT / f64::from(STEPS);
    let (mut inside, mut mass) = (0.0, 0.0);
    for k in 0..=STEPS {
        let x = f64::from(k).mul_add(step, -CUT);
        let t = x * root_two;
        let weight = match k {
            0 | STEPS => 1.0,
            k if k % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let density = 0.375 * (1.0 + t * t / 4.0).powf(-2.5) * root_two * weight * step / 3.0;
        mass += density;
        inside += density * (sd * x).exp();
    }
    let tail = (1.0 - mass) / 2.0;
    inside + tail * ((sd * CUT).exp() + (-sd * CUT).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: by construction exp(error) has mean 1, the lag-1 correlation of normal errors is
    /// -alternation, and the cut t4 has excess kurtosis; five standard errors.
    #[test]
    fn errors_have_mean_one_and_alternate() {
        for tails in [ErrorTails::Normal, ErrorTails::Heavy] {
            let process = ErrorProcess::new(0.25, 0.5, tails);
            let mut dice = Dice::stream(3, 0);
            let mut state = None;
            let mut errors = Vec::new();
            for _ in 0..60_000 {
                let (next, error) = process.next(state, &mut dice);
                state = Some(next);
                errors.push(error);
            }
            let n = errors.len() as f64;
            let mean_exp = errors.iter().map(|e| e.exp()).sum::<f64>() / n;
            assert!((mean_exp - 1.0).abs() < 5.0 * 0.27 / n.sqrt(), "{tails:?} {mean_exp}");
            let mean = errors.iter().sum::<f64>() / n;
            let variance = errors.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / n;
            let lagged = errors.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum::<f64>() / n;
            let kurtosis =
                errors.iter().map(|e| (e - mean).powi(4)).sum::<f64>() / n / variance.powi(2);
            let correlation = lagged / variance;
            match tails {
                ErrorTails::Normal => {
                    assert!((correlation + 0.5).abs() < 0.02, "{correlation}");
                    assert!((kurtosis - 3.0).abs() < 0.15, "{kurtosis}");
                }
                ErrorTails::Heavy => {
                    assert!(correlation < -0.25, "{correlation}");
                    assert!(kurtosis > 4.0, "{kurtosis}");
                }
            }
        }
    }
}
