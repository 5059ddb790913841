//! Tests of equal variances: Bartlett, Levene and Brown-Forsythe.

use super::{CheckError, TestOutcome};
use crate::distributions::NoncentralF;
use words::{say, text};

/// Bartlett's test (1937, Proc. R. Soc. A 160:268-282) from variances and their degrees of freedom,
/// as for the error mean squares of several trials. Sensitive to non-normality.
///
/// # Errors
/// When fewer than two variances are given or one is not positive, or its df below 1.
pub fn bartlett_of(variances: &[f64], df: &[f64]) -> Result<TestOutcome, CheckError> {
    let count = variances.len().min(df.len());
    if count < 2 {
        return Err(CheckError::TooFew { what: "variances".into(), found: count, needed: 2 });
    }
    if !variances.iter().all(|v| *v > 0.0 && v.is_finite()) {
        return Err(CheckError::NoVariation(say!("the values of a group")));
    }
    if !df.iter().all(|d| *d >= 1.0 && d.is_finite()) {
        return Err(CheckError::Columns(say!("a variance has no degree of freedom")));
    }
    let total: f64 = df.iter().sum();
    let pooled = variances.iter().zip(df).map(|(v, d)| v * d).sum::<f64>() / total;
    let raw: f64 = variances.iter().zip(df).map(|(v, d)| d * (pooled / v).ln()).sum();
    let between = (count - 1) as f64;
    let correction =
        1.0 + (df.iter().map(|d| 1.0 / d).sum::<f64>() - 1.0 / total) / (3.0 * between);
    let statistic = (raw / correction).max(0.0);
    outcome(
        text!("Bartlett (1937)"),
        statistic,
        vec![between],
        f_tail(between, f64::INFINITY, statistic / between)?,
    )
}

/// Bartlett's test of the variances within `groups`.
///
/// # Errors
/// When fewer than two groups are given, one has fewer than two values or no variance.
pub fn bartlett(groups: &[Vec<f64>]) -> Result<TestOutcome, CheckError> {
    sized(groups)?;
    let df: Vec<f64> = groups.iter().map(|g| (g.len() - 1) as f64).collect();
    let variances: Vec<f64> = groups
        .iter()
        .zip(&df)
        .map(|(g, d)| g.iter().map(|x| (x - mean(g)).powi(2)).sum::<f64>() / d)
        .collect();
    bartlett_of(&variances, &df)
}

/// Levene's test: analysis of variance of the absolute deviations from the group's median (Brown
/// and Forsythe 1974, JASA 69:364-367; robust) or from its mean (Levene 1960).
///
/// # Errors
/// When fewer than two groups are given, one has fewer than two values, or no deviation varies.
pub fn levene(groups: &[Vec<f64>], from_median: bool) -> Result<TestOutcome, CheckError> {
    sized(groups)?;
    let deviations: Vec<Vec<f64>> = groups
        .iter()
        .map(|g| {
            let centre = if from_median { median(g) } else { mean(g) };
            g.iter().map(|x| (x - centre).abs()).collect()
        })
        .collect();
    let all: Vec<f64> = deviations.iter().flatten().copied().collect();
    let overall = mean(&all);
    let between: f64 =
        deviations.iter().map(|g| g.len() as f64 * (mean(g) - overall).powi(2)).sum();
    let within: f64 =
        deviations.iter().map(|g| g.iter().map(|x| (x - mean(g)).powi(2)).sum::<f64>()).sum();
    if within <= 1e-24 * all.iter().map(|x| x * x).sum::<f64>() {
        return Err(CheckError::NoVariation(say!("deviations within groups")));
    }
    let (df1, df2) = ((groups.len() - 1) as f64, (all.len() - groups.len()) as f64);
    let f = (between / df1) / (within / df2);
    let name = if from_median {
        text!("Levene from medians (Brown and Forsythe 1974)")
    } else {
        text!("Levene (1960)")
    };
    outcome(name, f, vec![df1, df2], f_tail(df1, df2, f)?)
}

fn sized(groups: &[Vec<f64>]) -> Result<(), CheckError> {
    if groups.len() < 2 {
        return Err(CheckError::TooFew { what: "groups".into(), found: groups.len(), needed: 2 });
    }
    match groups.iter().map(Vec::len).min() {
        Some(least) if least < 2 => {
            Err(CheckError::TooFew { what: say!("values in a group"), found: least, needed: 2 })
        }
        _ => Ok(()),
    }
}

fn outcome(
    test: &str,
    statistic: f64,
    df: Vec<f64>,
    p_value: f64,
) -> Result<TestOutcome, CheckError> {
    Ok(TestOutcome { test: test.to_owned(), statistic, df, p_value })
}

/// Upper tail of F, as a check's error where the degrees of freedom are none.
pub(super) fn f_tail(df1: f64, df2: f64, f: f64) -> Result<f64, CheckError> {
    NoncentralF::new(df1, df2, 0.0)
        .map(|d| d.upper_tail(f))
        .map_err(|error| CheckError::Columns(error.to_string()))
}

pub(super) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    match (sorted.get(half), sorted.get(half.wrapping_sub(1))) {
        (Some(high), Some(low)) if sorted.len().is_multiple_of(2) => 0.5 * (low + high),
        (Some(middle), _) => *middle,
        _ => f64::NAN,
    }
}
