//! The combined analysis of variance where every treatment has as many plots in every environment.

use super::amounts::{OneError, of_amounts};
use super::combine::{PooledKind, PooledRow, Table};
use super::stack::{Called, Stack, beyond};
use super::{EnvironmentsAre, PooledError};
use crate::analysis::Analysis;
use crate::compare::{CompareError, EstimatedMeans};
use crate::distributions::NoncentralF;
use words::text;

/// Exact table, or `None` where the data are not balanced or have several error strata.
pub(super) fn table(
    first: &Analysis,
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
    let splits = splits(stack);
    for (name, columns) in &splits {
        sums.push(((*name).to_owned(), take(columns.clone(), &mut basis)));
    }
    for stratum in &stack.strata {
        let columns = Stack::indicators(&stratum.codes, stratum.groups);
        let name = format!("{} within {}", stratum.name, stack.called.key());
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
    // By term, its interaction with each split of the environments.
    let mut interactions: Vec<Vec<(f64, f64)>> = Vec::new();
    for term in &stack.terms {
        let mut own = Vec::new();
        for (_, places) in &splits {
            let mut columns = Vec::new();
            for contrast in &term.contrasts {
                let contrast = by_plot(stack, contrast);
                for place in places {
                    columns.push(contrast.iter().zip(place).map(|(a, b)| a * b).collect());
                }
            }
            own.push(take(columns, &mut basis));
        }
        interactions.push(own);
    }
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    let total: f64 = y.iter().map(|v| (v - mean).powi(2)).sum();
    let explained: f64 = sums.iter().chain(&terms).map(|(_, line)| line.1).sum::<f64>()
        + interactions.iter().flatten().map(|line| line.1).sum::<f64>();
    let error_ss = total - explained;
    let error_df = y.len() as f64 - basis.len() as f64;
    if error_df < 1.0 || error_ss <= 1e-12 * total {
        return Ok(None);
    }
    let error = Judge::single(error_df, error_ss / error_df, "pooled error");
    let random = environments_are == EnvironmentsAre::Random;
    let mut rows: Vec<PooledRow> = sums.iter().map(|(n, l)| untested(n, *l)).collect();
    for ((name, line), own) in terms.iter().zip(&interactions) {
        let judge = if random { over_environments(stack.called, own) } else { error.clone() };
        rows.push(PooledRow { kind: PooledKind::Term, ..tested(name, *line, &judge)? });
    }
    for ((name, _), own) in terms.iter().zip(&interactions) {
        for (at, ((split, _), line)) in splits.iter().zip(own).enumerate() {
            // Sites and seasons are judged against what differs from season to season of a site.
            let judge = match own.last() {
                Some((df, ss)) if random && at + 1 < own.len() && *df > 0.0 => {
                    Judge::single(*df, ss / df, text!("the interaction with sites x seasons"))
                }
                _ => error.clone(),
            };
            let row = tested(&format!("{name} x {split}"), *line, &judge)?;
            rows.push(PooledRow { kind: PooledKind::TermByEnvironments, ..row });
        }
    }
    rows.push(untested("pooled error", (error_df, error_ss)));
    rows.push(untested("total", (y.len() as f64 - 1.0, total)));
    // One error for the differences of all treatments: the interactions of all of them.
    let all: Vec<(f64, f64)> = (0..splits.len())
        .map(|at| {
            let lines = interactions.iter().filter_map(|own| own.get(at));
            lines.fold((0.0, 0.0), |s, l| (s.0 + l.0, s.1 + l.1))
        })
        .collect();
    let judge = if random { over_environments(stack.called, &all) } else { error.clone() };
    let per_mean = (plots * stack.environments.len()) as f64;
    let values = treatment_means(stack);
    let replicates = vec![per_mean; values.len()];
    let names = stack.treatments.clone();
    let means = EstimatedMeans::of_replicates(names, values, &replicates, judge.ms, judge.df)?;
    // Component of treatment by environment: (MS interaction - MS error) / plots.
    let (df, ss) = all.iter().fold((0.0, 0.0), |s, l| (s.0 + l.0, s.1 + l.1));
    let interaction_variance = (df > 0.0).then(|| (ss / df - error.ms) / plots as f64);
    // A factor is judged as its line of the table is: against its own interaction.
    let judge_of =
        |factor: &str, within: Option<(&str, usize)>| -> Box<dyn crate::analysis::Judge + '_> {
            let lines_of = |is_own: &dyn Fn(&str) -> bool| {
                let own = terms.iter().zip(&interactions).find(|((name, _), _)| is_own(name));
                own.filter(|_| random).map(|(_, own)| over_environments(stack.called, own))
            };
            let own = lines_of(&|name| name == factor);
            let Judge { ms, df, .. } = match (own, within) {
                (Some(own), None) => own,
                // At one level of the other factor a difference is made of both terms.
                (Some(own), Some((other, levels))) => {
                    let is_both = |name: &str| {
                        let mut parts: Vec<&str> = name.split(" x ").collect();
                        parts.sort_unstable();
                        parts == if factor < other { [factor, other] } else { [other, factor] }
                    };
                    lines_of(&is_both)
                        .map_or_else(|| judge.clone(), |both| at_one_level(&own, &both, levels))
                }
                _ => judge.clone(),
            };
            Box::new(OneError { means: &means, plots: per_mean, ms, df })
        };
    let (polynomials, curves) = of_amounts(first, stack, &judge_of);
    Ok(Some(Table { rows, means, interaction_variance, polynomials, curves }))
}

/// Indicator columns of the environments, by site, season and both where these are crossed.
fn splits(stack: &Stack) -> Vec<(&'static str, Vec<Vec<f64>>)> {
    let environments = Stack::indicators(&stack.environment, stack.environments.len());
    let Some(crossing) = &stack.crossing else {
        return vec![(stack.called.key(), environments)];
    };
    vec![
        ("sites", Stack::indicators(&stack.by_plot(&crossing.site), crossing.sites)),
        ("seasons", Stack::indicators(&stack.by_plot(&crossing.season), crossing.seasons)),
        ("sites x seasons", environments),
    ]
}

/// The mean square that judges a line.
#[derive(Clone)]
struct Judge {
    df: f64,
    ms: f64,
    /// Mean square, with its degrees of freedom, added to the line's own (Cochran 1951).
    added: Option<(f64, f64)>,
    name: &'static str,
}

impl Judge {
    fn single(df: f64, ms: f64, name: &'static str) -> Self {
        Judge { df, ms, added: None, name }
    }
}

/// What judges treatments when environments are random: their interaction with environments; with
/// sites and seasons crossed the sum MS(sites) + MS(seasons) - MS(sites x seasons), or the last
/// alone where the sum comes out below it.
fn over_environments(called: Called, lines: &[(f64, f64)]) -> Judge {
    let square = |line: &(f64, f64)| line.1 / line.0;
    match lines {
        [sites, seasons, both] if lines.iter().all(|l| l.0 > 0.0) => {
            let ms = square(sites) + square(seasons) - square(both);
            if ms > square(both) {
                let spread: f64 = lines.iter().map(|l| square(l).powi(2) / l.0).sum();
                Judge {
                    df: ms * ms / spread,
                    ms,
                    added: Some((both.0, square(both))),
                    name: text!(
                        "its interactions with sites and with seasons (Satterthwaite 1946; F \
                           with sums of mean squares, Cochran 1951)"
                    ),
                }
            } else {
                Judge::single(both.0, square(both), text!("the interaction with sites x seasons"))
            }
        }
        _ => {
            let (df, ss) = lines.iter().fold((0.0, 0.0), |s, l| (s.0 + l.0, s.1 + l.1));
            Judge::single(df, ss / df, called.interaction())
        }
    }
}

/// What judges a factor at one of `levels` levels of another: a part of its own mean square and the rest of that of
/// their interaction (Satterthwaite 1946), as between main plots at one level of the sub plots.
fn at_one_level(own: &Judge, both: &Judge, levels: usize) -> Judge {
    let share = 1.0 / levels as f64;
    let (own_ms, both_ms) = (share * own.ms, (1.0 - share) * both.ms);
    let ms = own_ms + both_ms;
    let spread = own_ms * own_ms / own.df + both_ms * both_ms / both.df;
    Judge::single(ms * ms / spread, ms, own.name)
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
        kind: PooledKind::Other,
        df,
        df_denominator: None,
        ss: Some(ss),
        ms: (df > 0.0 && source != "total").then(|| ss / df),
        f: None,
        p: None,
        judged_against: None,
    }
}

fn tested(source: &str, line: (f64, f64), judge: &Judge) -> Result<PooledRow, PooledError> {
    let mut row = untested(source, line);
    let Some(own) = row.ms.filter(|_| judge.ms > 0.0) else { return Ok(row) };
    // Sums on both sides: MS + MS(both) over MS(sites) + MS(seasons).
    let (f, df, df_denominator) = match judge.added {
        Some((df_added, added)) => {
            let (above, below) = (own + added, judge.ms + added);
            let spread = own * own / line.0 + added * added / df_added;
            // Of the denominator's mean squares only the sum without `both` is left here: its df
            // rise as the added mean square is taken in again.
            let below_spread = judge.ms * judge.ms / judge.df - added * added / df_added;
            (above / below, above * above / spread, below * below / below_spread)
        }
        None => (own / judge.ms, line.0, judge.df),
    };
    let law = NoncentralF::new(df, df_denominator, 0.0).map_err(CompareError::from)?;
    row.f = Some(f);
    row.p = Some(law.upper_tail(f));
    row.df_denominator = Some(df_denominator);
    row.judged_against = Some(judge.name.to_owned());
    Ok(row)
}
