//! The Shapiro-Wilk test of normality.

use super::{CheckError, TestOutcome};
use statrs::distribution::{ContinuousCDF, Normal};
use std::f64::consts::PI;
use words::say;

/// Largest sample of Royston's approximation.
const MOST: usize = 5000;

/// Shapiro and Wilk (1965), coefficients and p-value by Royston (1995, Appl. Stat. 44:547-551).
/// On residuals the p-value is approximate: their dependence makes the test slightly conservative.
///
/// # Errors
/// When fewer than 3 or more than 5000 values are given, or they do not vary.
pub fn shapiro_wilk(values: &[f64]) -> Result<TestOutcome, CheckError> {
    let n = values.len();
    if n < 3 {
        return Err(CheckError::TooFew { what: "values".into(), found: n, needed: 3 });
    }
    if n > MOST {
        return Err(CheckError::TooMany { found: n, most: MOST });
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mean = sorted.iter().sum::<f64>() / n as f64;
    let squares: f64 = sorted.iter().map(|x| (x - mean).powi(2)).sum();
    let size = sorted.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
    if !squares.is_finite() || squares <= n as f64 * (size * 1e-13).powi(2) {
        return Err(CheckError::NoVariation(say!("values")));
    }
    let weights = upper_weights(n);
    let contrast: f64 = weights
        .iter()
        .zip(sorted.iter().rev().zip(&sorted))
        .map(|(a, (high, low))| a * (high - low))
        .sum();
    let w = (contrast * contrast / squares).min(1.0);
    Ok(TestOutcome {
        test: say!("Shapiro-Wilk (Royston 1995)"),
        statistic: w,
        df: Vec::new(),
        p_value: p_value(w, n),
    })
}

/// Weights of the largest half of the sample, the largest value first; the smallest half has the
/// same with the other sign.
fn upper_weights(n: usize) -> Vec<f64> {
    if n == 3 {
        return vec![0.5_f64.sqrt()];
    }
    let standard = Normal::standard();
    let size = n as f64;
    let scores: Vec<f64> = (0..n / 2)
        .map(|i| standard.inverse_cdf((size - i as f64 - 0.375) / (size + 0.25)))
        .collect();
    let squares = 2.0 * scores.iter().map(|m| m * m).sum::<f64>();
    let u = 1.0 / size.sqrt();
    let first = [0.0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056];
    let second = [0.0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633];
    let fixed: Vec<f64> = [first, second]
        .iter()
        .take(if n > 5 { 2 } else { 1 })
        .zip(&scores)
        .map(|(c, m)| polynomial(c, u) + m / squares.sqrt())
        .collect();
    let used: f64 = scores.iter().take(fixed.len()).map(|m| 2.0 * m * m).sum();
    let kept: f64 = 1.0 - fixed.iter().map(|a| 2.0 * a * a).sum::<f64>();
    let scale = ((squares - used) / kept).sqrt();
    let rest = scores.iter().skip(fixed.len()).map(|m| m / scale);
    fixed.iter().copied().chain(rest).collect()
}

fn p_value(w: f64, n: usize) -> f64 {
    let size = n as f64;
    if n == 3 {
        return (6.0 / PI * (w.sqrt().asin() - 0.75_f64.sqrt().asin())).clamp(0.0, 1.0);
    }
    let y = (1.0 - w).ln();
    let (y, mean, sd) = if n <= 11 {
        let bound = polynomial(&[-2.273, 0.459], size);
        if y >= bound {
            return 0.0;
        }
        (
            -(bound - y).ln(),
            polynomial(&[0.544, -0.39978, 0.025054, -6.714e-4], size),
            polynomial(&[1.3822, -0.77857, 0.062767, -0.0020322], size).exp(),
        )
    } else {
        let log = size.ln();
        (
            y,
            polynomial(&[-1.5861, -0.31082, -0.083751, 0.0038915], log),
            polynomial(&[-0.4803, -0.082676, 0.0030302], log).exp(),
        )
    };
    Normal::standard().sf((y - mean) / sd)
}

/// Value at `x`, coefficients from the constant up.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}
