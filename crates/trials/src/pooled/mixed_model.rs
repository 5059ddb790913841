//! The combined analysis by a mixed model: several error strata, lost plots, or unequal errors.

use super::amounts::{ByModel, of_amounts};
use super::combine::{PooledKind, PooledRow, Table};
use super::stack::Stack;
use super::{EnvironmentsAre, PooledError};
use crate::analysis::Analysis;
use crate::compare::{EstimatedMeans, PairDf};
use mixed::{Contrast, Data, Factor, FixedColumn, JointTest, Settings, Status};
use words::text;

fn failed(error: mixed::Error) -> PooledError {
    PooledError::Fit(error.to_string())
}

/// Fits treatments fixed; environments and the interaction of each treatment term with them random or fixed;
/// replicates, main plots and other strata within environments random; errors weighted by
/// `weights` (one per plot) where given.
pub(super) fn table(
    first: &Analysis,
    stack: &Stack,
    environments_are: EnvironmentsAre,
    weights: Option<&[f64]>,
) -> Result<Table, PooledError> {
    let random = environments_are == EnvironmentsAre::Random;
    let (count, places) = (stack.treatments.len(), stack.environments.len());
    let mean = stack.values.iter().sum::<f64>() / stack.values.len() as f64;
    let spread = (stack.values.iter().map(|v| (v - mean).powi(2)).sum::<f64>()
        / stack.values.len() as f64)
        .sqrt();
    let mut data = Data::new(&stack.values).intercept().response_units(mean, spread);
    let cell: Vec<usize> =
        stack.environment.iter().zip(&stack.treatment).map(|(e, t)| e * count + t).collect();
    // Treatments as differences from the first; with fixed environments one column per cell, so
    // that every treatment mean is the plain average over environments.
    let (codes, groups, name) = if random {
        (&stack.treatment, count, "treatment")
    } else {
        (&cell, count * places, "cell")
    };
    for (index, column) in Stack::indicators(codes, groups).into_iter().enumerate().skip(1) {
        data = data.column(FixedColumn::new(format!("{name} {index}"), column));
    }
    let as_codes = |codes: &[usize]| codes.iter().map(|c| *c as u32).collect::<Vec<u32>>();
    let mut factors: Vec<(String, Vec<u32>, usize)> = Vec::new();
    if random {
        factors.push(("environment".to_owned(), as_codes(&stack.environment), places));
        let mut splits: Vec<(&str, Vec<usize>, usize)> = Vec::new();
        if let Some(crossing) = &stack.crossing {
            for (name, codes, levels) in [
                ("site", &crossing.site, crossing.sites),
                ("season", &crossing.season, crossing.seasons),
            ] {
                let own = stack.by_plot(codes);
                factors.push((name.to_owned(), as_codes(&own), levels));
                splits.push((name, own, levels));
            }
        }
        splits.push(("environment", stack.environment.clone(), places));
        // Each term by itself varies between environments, so that each is judged against its own interaction.
        for term in &stack.terms {
            for (name, own, levels) in &splits {
                let group = |t: &usize| term.groups.get(*t).copied().unwrap_or(0);
                let by: Vec<usize> = own
                    .iter()
                    .zip(&stack.treatment)
                    .map(|(place, t)| place * term.count + group(t))
                    .collect();
                factors.push((
                    format!("{} x {name}", term.name),
                    as_codes(&by),
                    term.count * levels,
                ));
            }
        }
    }
    for stratum in &stack.strata {
        factors.push((stratum.name.clone(), as_codes(&stratum.codes), stratum.groups));
    }
    for (name, codes, groups) in &factors {
        data = data.factor(Factor::intercept(name.clone(), codes, *groups));
    }
    if let Some(weights) = weights {
        data = data.weights(weights);
    }
    let fit = mixed::fit(&data, &Settings::default()).map_err(failed)?;
    if let Status::NotConverged { reason } = fit.status() {
        return Err(PooledError::Fit(reason.clone()));
    }
    let inference = fit.kenward_roger().map_err(failed)?;
    // Coefficients of a combination of treatment means, equally weighted over environments.
    let combination = |weights: &[f64]| -> Vec<f64> {
        let mut row = vec![0.0; groups];
        for (at, entry) in row.iter_mut().enumerate() {
            let share = if random { 1.0 } else { 1.0 / places as f64 };
            *entry = weights.get(at % count).copied().unwrap_or(0.0) * share;
        }
        if let Some(intercept) = row.first_mut() {
            *intercept = weights.iter().sum();
        }
        row
    };
    let mut rows = Vec::new();
    for term in &stack.terms {
        let l: Vec<Vec<f64>> = term.contrasts.iter().map(|c| combination(c)).collect();
        let test = inference.joint_test(&l).map_err(failed)?;
        rows.push(row(&term.name, PooledKind::Term, term.contrasts.len(), &test));
    }
    if !random {
        for term in &stack.terms {
            let mut l = Vec::new();
            for place in 1..places {
                for contrast in &term.contrasts {
                    let mut one = vec![0.0; groups];
                    for (t, c) in contrast.iter().enumerate() {
                        for (at, sign) in [(t, 1.0), (place * count + t, -1.0)] {
                            if let Some(entry) = one.get_mut(at) {
                                *entry += sign * c;
                            }
                        }
                    }
                    // The intercept stands for the first cell, whose own column is left out.
                    if let Some(intercept) = one.first_mut() {
                        *intercept = 0.0;
                    }
                    l.push(one);
                }
            }
            let test = inference.joint_test(&l).map_err(failed)?;
            let name = format!("{} x {}", term.name, stack.called.key());
            rows.push(row(&name, PooledKind::TermByEnvironments, l.len(), &test));
        }
    }
    let estimate = |l: &[f64]| match inference.contrast(l, 0.95) {
        Ok(Contrast::Estimated(e)) => Ok(e),
        Ok(Contrast::NotEstimable) => Err(PooledError::Fit("a treatment mean".to_owned())),
        Err(error) => Err(failed(error)),
    };
    let unit = |i: usize| {
        let mut weights = vec![0.0; count];
        if let Some(entry) = weights.get_mut(i) {
            *entry = 1.0;
        }
        weights
    };
    let mut values = Vec::with_capacity(count);
    for i in 0..count {
        values.push(estimate(&combination(&unit(i)))?.estimate);
    }
    let (mut variance, mut df) = (vec![0.0; count * count], vec![1.0; count * count]);
    for i in 0..count {
        for j in 0..i {
            let difference: Vec<f64> = unit(i).iter().zip(unit(j)).map(|(a, b)| a - b).collect();
            let e = estimate(&combination(&difference))?;
            for at in [i * count + j, j * count + i] {
                if let (Some(v), Some(d)) = (variance.get_mut(at), df.get_mut(at)) {
                    *v = e.std_error * e.std_error;
                    *d = e.df;
                }
            }
        }
    }
    // Any covariance with these variances of differences will do: half of them, negative.
    let covariance = variance.iter().map(|v| -0.5 * v).collect();
    let means =
        EstimatedMeans::new(stack.treatments.clone(), values, covariance, PairDf::Pairs(df))?;
    let of_terms = |name: &str| {
        stack.terms.iter().any(|term| name.starts_with(&format!("{} x environment", term.name)))
    };
    let theta = fit.theta();
    let by_environment = theta.iter().filter(|theta| of_terms(&theta.name));
    let variances: Vec<f64> =
        by_environment.map(|theta| (theta.value * fit.sigma()).powi(2)).collect();
    let interaction_variance = (!variances.is_empty()).then(|| variances.iter().sum());
    let judge_of = |_: &str, _: Option<(&str, usize)>| -> Box<dyn crate::analysis::Judge + '_> {
        Box::new(ByModel { inference: &inference, combination: &combination })
    };
    let (polynomials, curves) = of_amounts(first, stack, &judge_of);
    Ok(Table { rows, means, interaction_variance, polynomials, curves })
}

fn row(source: &str, kind: PooledKind, contrasts: usize, test: &JointTest) -> PooledRow {
    let mut row = PooledRow {
        source: source.to_owned(),
        kind,
        df: contrasts as f64,
        df_denominator: None,
        ss: None,
        ms: None,
        f: None,
        p: None,
        judged_against: None,
    };
    if let JointTest::Tested { statistic, df_denominator, p_value, .. } = test {
        row.f = Some(*statistic);
        row.p = Some(*p_value);
        row.df_denominator = Some(*df_denominator);
        row.judged_against =
            Some(text!("the mixed model's error (Kenward and Roger 1997)").to_owned());
    }
    row
}
