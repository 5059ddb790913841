//! The combined analysis of variance where every treatment has as many plots in every environment.

use super::combine::{PooledRow, Table};
use super::stack::{Stack, beyond};
use super::{EnvironmentsAre, PooledError};
use crate::compare::EstimatedMeans;
use crate::distributions::NoncentralF;

/// Exact table, or `None` where the data are not balanced or have several error strata.
pub(super) fn table(
    stack: &Stack,
    environments_are: EnvironmentsAre,
) -> Result<Option<Table>, PooledError> {
    let counts = stack.counts();
    let Some(&plots) = counts.first() else { return Ok(None) };
    if counts.iter().any(|c| *c != plots) || stack.strata.iter().any(|s| s.random) {
        return Ok(None);
    }
    let y = &stack.values;
    let mut basis: Vec<Vec<f64>> = Vec::new();
    let mut sums = Vec::new();
    let take = |columns: Vec<Vec<f64>>, basis: &mut Vec<Vec<f64>>| {
        let mut line = (0.0, 0.0);
        for column in columns {
            if let Some(new) = beyond(basis, &column) {
                line.0 += 1.0;
                line.1 += new.iter().zip(y).map(|(q, y)| q * y).sum::<f64>().powi(2);
                basis.push(new);
            }
        }
        line
    };
    take(vec![vec![1.0; y.len()]], &mut basis);
    let environments = Stack::indicators(&stack.environment, stack.environments.len());
    sums.push(("environments".to_owned(), take(environments.clone(), &mut basis)));
    for stratum in &stack.strata {
        let columns = Stack::indicators(&stratum.codes, stratum.groups);
        let name = format!("{} within environments", stratum.name);
        sums.push((name, take(columns, &mut basis)));
    }
    let blocks = basis.len();
    let mut terms = Vec::new();
    for term in &stack.terms {
        let columns: Vec<Vec<f64>> = term.contrasts.iter().map(|c| by_plot(stack, c)).collect();
        if columns.iter().any(|c| !orthogonal(c, basis.get(..blocks).unwrap_or_default())) {
            return Ok(None);
        }
        terms.push((term.name.clone(), take(columns, &mut basis)));
    }
    let mut interactions = Vec::new();
    for term in &stack.terms {
        let mut columns = Vec::new();
        for contrast in &term.contrasts {
            let own = by_plot(stack, contrast);
            for environment in &environments {
                columns.push(own.iter().zip(environment).map(|(a, b)| a * b).collect());
            }
        }
        interactions.push((format!("{} x environments", term.name), take(columns, &mut basis)));
    }
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    let total: f64 = y.iter().map(|v| (v - mean).powi(2)).sum();
    let lines = || sums.iter().chain(&terms).chain(&interactions);
    let error_ss = total - lines().map(|(_, (_, ss))| ss).sum::<f64>();
    let error_df = y.len() as f64 - basis.len() as f64;
    if error_df < 1.0 || error_ss <= 1e-12 * total {
        return Ok(None);
    }
    let error = (error_df, error_ss / error_df, "pooled error");
    let mut rows: Vec<PooledRow> = sums.iter().map(|(n, l)| untested(n, *l)).collect();
    for ((name, line), (_, (df, ss))) in terms.iter().zip(&interactions) {
        let judge = match environments_are {
            EnvironmentsAre::Random => (*df, ss / df, "its interaction with environments"),
            EnvironmentsAre::Fixed => error,
        };
        rows.push(tested(name, *line, judge)?);
    }
    for (name, line) in &interactions {
        rows.push(tested(name, *line, error)?);
    }
    rows.push(untested("pooled error", (error_df, error_ss)));
    rows.push(untested("total", (y.len() as f64 - 1.0, total)));
    // One error for the differences of all treatments: the interaction of all of them.
    let (df, ss) = interactions.iter().fold((0.0, 0.0), |s, (_, l)| (s.0 + l.0, s.1 + l.1));
    let (df, variance) = match environments_are {
        EnvironmentsAre::Random => (df, ss / df),
        EnvironmentsAre::Fixed => (error_df, error.1),
    };
    let per_mean = (plots * stack.environments.len()) as f64;
    let values = treatment_means(stack);
    let replicates = vec![per_mean; values.len()];
    let means =
        EstimatedMeans::of_replicates(stack.treatments.clone(), values, &replicates, variance, df)?;
    Ok(Some(Table { rows, means, interaction_variance: interaction(ss, df, error.1, plots) }))
}

/// Component of treatment by environment: (MS interaction - MS error) / plots.
fn interaction(ss: f64, df: f64, error: f64, plots: usize) -> Option<f64> {
    (df > 0.0).then(|| (ss / df - error) / plots as f64)
}

fn by_plot(stack: &Stack, contrast: &[f64]) -> Vec<f64> {
    stack.treatment.iter().map(|t| contrast.get(*t).copied().unwrap_or(0.0)).collect()
}

fn orthogonal(column: &[f64], basis: &[Vec<f64>]) -> bool {
    let size: f64 = column.iter().map(|v| v * v).sum();
    let along: f64 =
        basis.iter().map(|q| q.iter().zip(column).map(|(a, b)| a * b).sum::<f64>().powi(2)).sum();
    along <= 1e-16 * size
}

fn treatment_means(stack: &Stack) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); stack.treatments.len()];
    for (t, value) in stack.treatment.iter().zip(&stack.values) {
        if let Some(sum) = sums.get_mut(*t) {
            sum.0 += value;
            sum.1 += 1.0;
        }
    }
    sums.into_iter().map(|(sum, count)| sum / count).collect()
}

fn untested(source: &str, (df, ss): (f64, f64)) -> PooledRow {
    PooledRow {
        source: source.to_owned(),
        df,
        df_denominator: None,
        ss: Some(ss),
        ms: (df > 0.0 && source != "total").then(|| ss / df),
        f: None,
        p: None,
        judged_against: None,
    }
}

fn tested(
    source: &str,
    line: (f64, f64),
    (df, ms, name): (f64, f64, &str),
) -> Result<PooledRow, PooledError> {
    let mut row = untested(source, line);
    if let Some(own) = row.ms.filter(|_| ms > 0.0) {
        let f = own / ms;
        let law = NoncentralF::new(line.0, df, 0.0).map_err(crate::compare::CompareError::from)?;
        row.f = Some(f);
        row.p = Some(law.upper_tail(f));
        row.df_denominator = Some(df);
        row.judged_against = Some(name.to_owned());
    }
    Ok(row)
}
