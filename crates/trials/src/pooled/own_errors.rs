//! The combined analysis of a few environments with errors of their own: every mean counts each environment once,
//! and the estimated error of each enters with its own degrees of freedom.
//!
//! Weights taken from estimated variances are treated as known by a mixed model, and its tests are too sharp
//! (Cochran 1937). Where every environment has one error, the variance of a mean over environments is a sum of
//! independent mean squares, and what they are worth is known (Satterthwaite 1946, Biometrics Bull. 2:110-114).

use super::amounts::of_amounts;
use super::combine::{PooledKind, PooledRow, Table, table_of_cells};
use super::stack::Stack;
use super::{Environment, PooledError};
use crate::analysis::{Analysis, Estimated, Judge, Tested, positive, tested};
use crate::compare::{EstimatedMeans, PairDf};
use words::text;

type Matrix = Vec<Vec<f64>>;

/// An environment: its treatment means, their covariance by its error mean square, and the df of that.
struct Own {
    means: Vec<f64>,
    covariance: Matrix,
    df: f64,
}

/// Environments that are independent of each other.
pub(super) struct OwnErrors {
    environments: Vec<Own>,
}

/// The table; `None` where an environment has errors of several strata, or lacks the error of a difference.
pub(super) fn table(
    first: &Analysis,
    stack: &Stack,
    environments: &[Environment<'_>],
) -> Result<Option<Table>, PooledError> {
    let own = environments.iter().map(|of| own(of.analysis, &stack.treatments));
    let Some(environments) = own.collect::<Option<Vec<Own>>>() else { return Ok(None) };
    let errors = OwnErrors { environments };
    let mut rows = Vec::new();
    for term in &stack.terms {
        let Some(test) = errors.joint(&errors.averaged(&term.contrasts)) else { return Ok(None) };
        rows.push(row(term.name.clone(), PooledKind::Term, &test));
    }
    for term in &stack.terms {
        let Some(test) = errors.joint(&errors.between(&term.contrasts)) else { return Ok(None) };
        let name = format!("{} x {}", term.name, stack.called.key());
        rows.push(row(name, PooledKind::TermByEnvironments, &test));
    }
    let (judge, count) = (&errors, stack.treatments.len());
    let unit =
        |at: usize| -> Vec<f64> { (0..count).map(|i| f64::from(u8::from(i == at))).collect() };
    let values: Vec<f64> = (0..count).filter_map(|i| judge.value_of(&unit(i))).collect();
    let (mut variance, mut df) = (vec![0.0; count * count], vec![1.0; count * count]);
    for i in 0..count {
        for j in 0..i {
            let difference: Vec<f64> = unit(i).iter().zip(unit(j)).map(|(a, b)| a - b).collect();
            let Some(of) = judge.estimate(&difference) else { return Ok(None) };
            for at in [i * count + j, j * count + i] {
                (variance[at], df[at]) = (of.std_error * of.std_error, of.df);
            }
        }
    }
    // Any covariance with these variances of differences will do: half of them, negative.
    let covariance = variance.iter().map(|v| -0.5 * v).collect();
    let means =
        EstimatedMeans::new(stack.treatments.clone(), values, covariance, PairDf::Pairs(df))?;
    let judge_of = |_: &str, _: Option<(&str, usize)>| -> Box<dyn Judge + '_> { Box::new(judge) };
    let (polynomials, curves) = of_amounts(first, stack, &judge_of);
    Ok(Some(Table { rows, means, interaction_variance: None, polynomials, curves }))
}

/// The treatments of an environment, where its residual error alone judges every difference of them.
fn own(analysis: &Analysis, treatments: &[String]) -> Option<Own> {
    let df = analysis.residuals.as_ref()?.df as f64;
    let at = |name: &String| table_of_cells(analysis, name);
    let (tables, places): (Vec<_>, Vec<_>) =
        treatments.iter().map(at).collect::<Option<Vec<_>>>()?.into_iter().unzip();
    let table = tables.first()?;
    let is_one = tables.iter().all(|own| std::ptr::eq(*own, *table)) && !table.pairs.is_empty();
    if !is_one || table.pairs.iter().any(|pair| (pair.df - df).abs() > 1e-6 * df) {
        return None;
    }
    let whole = table.covariance.as_ref()?;
    let line = |i: &usize| places.iter().map(|j| whole.get(*i)?.get(*j).copied()).collect();
    Some(Own {
        means: places.iter().map(|at| table.means.get(*at)?.mean).collect::<Option<_>>()?,
        covariance: places.iter().map(line).collect::<Option<_>>()?,
        df,
    })
}

impl OwnErrors {
    /// Rows over treatments as rows over the treatments of each environment, which count alike.
    fn averaged(&self, rows: &[Vec<f64>]) -> Vec<Matrix> {
        let share = 1.0 / self.environments.len() as f64;
        let scaled = rows.iter().map(|row| row.iter().map(|x| share * x).collect()).collect();
        vec![scaled; self.environments.len()]
    }

    /// The same rows of the first environment less those of each other one.
    fn between(&self, rows: &[Vec<f64>]) -> Vec<Matrix> {
        let nothing = |row: &Vec<f64>| vec![0.0; row.len()];
        let others = self.environments.len() - 1;
        (0..=others)
            .map(|own| {
                let lines = (1..=others).flat_map(|other| {
                    rows.iter().map(move |row| match own {
                        0 => row.clone(),
                        own if own == other => row.iter().map(|x| -x).collect(),
                        _ => nothing(row),
                    })
                });
                lines.collect()
            })
            .collect()
    }

    /// Value of rows over the treatments of each environment, and what each environment adds to their covariance.
    fn of(&self, rows: &[Matrix]) -> (Vec<f64>, Vec<Matrix>) {
        let count = rows.first().map_or(0, Vec::len);
        let mut values = vec![0.0; count];
        let mut added = Vec::new();
        for (own, rows) in self.environments.iter().zip(rows) {
            for (value, row) in values.iter_mut().zip(rows) {
                *value += dot(row, &own.means);
            }
            let by: Matrix = rows
                .iter()
                .map(|row| own.covariance.iter().map(|line| dot(line, row)).collect())
                .collect();
            added.push(rows.iter().map(|row| by.iter().map(|by| dot(row, by)).collect()).collect());
        }
        (values, added)
    }

    /// F of rows over the treatments of each environment, with the scale and the df of Kenward and Roger (1997,
    /// Biometrics 53:983-997); of one row, and of environments that are one sum throughout, Satterthwaite's.
    fn joint(&self, rows: &[Matrix]) -> Option<Tested> {
        let (values, added) = self.of(rows);
        let count = values.len();
        let sum = |i: usize, j: usize| added.iter().map(|of| of[i][j]).sum::<f64>();
        let whole: Matrix = (0..count).map(|i| (0..count).map(|j| sum(i, j)).collect()).collect();
        let inverse = inverse(whole)?;
        let wald: f64 = inverse.iter().zip(&values).map(|(line, v)| v * dot(line, &values)).sum();
        let (mut of_traces, mut of_squares) = (0.0, 0.0);
        for (added, own) in added.iter().zip(&self.environments) {
            let part: Matrix = inverse
                .iter()
                .map(|line| {
                    // A covariance is symmetric: its lines are its columns.
                    added.iter().map(|column| dot(line, column)).collect()
                })
                .collect();
            let trace: f64 = (0..count).map(|i| part[i][i]).sum();
            let square: f64 = (0..count)
                .flat_map(|i| (0..count).map(move |j| (i, j)))
                .map(|(i, j)| part[i][j] * part[j][i])
                .sum();
            // A mean square varies by twice its own square over its df.
            of_traces += 2.0 / own.df * trace * trace;
            of_squares += 2.0 / own.df * square;
        }
        let n = count as f64;
        let (scale, df) = kenward_roger(n, of_traces, of_squares)?;
        tested(scale * wald / n, n, df)
    }
}

/// Scale of F and the denominator's degrees of freedom by Kenward and Roger (1997), section 3, of `n` rows.
fn kenward_roger(n: f64, of_traces: f64, of_squares: f64) -> Option<(f64, f64)> {
    let b = (of_traces + 6.0 * of_squares) / (2.0 * n);
    let g = ((n + 1.0) * of_traces - (n + 4.0) * of_squares) / ((n + 2.0) * of_squares);
    let under = 3.0 * n + 2.0 * (1.0 - g);
    let (c1, c2, c3) = (g / under, (n - g) / under, (n + 2.0 - g) / under);
    let (mean, left) = (1.0 - of_squares / n, (1.0 - c2 * b, 1.0 - c3 * b));
    if !(mean > 0.0 && left.0 > 0.0 && left.1 > 0.0) {
        return None;
    }
    let variance = 2.0 / n * (1.0 + c1 * b) / (left.0 * left.0 * left.1);
    let ratio = variance * mean * mean / 2.0;
    let df = 4.0 + (n + 2.0) / (n * ratio - 1.0);
    let scale = df * mean / (df - 2.0);
    (df.is_finite() && df > 0.0 && scale.is_finite() && scale > 0.0).then_some((scale, df))
}

impl Judge for &OwnErrors {
    fn value_of(&self, l: &[f64]) -> Option<f64> {
        self.of(&self.averaged(&[l.to_vec()])).0.first().copied()
    }

    fn estimate(&self, l: &[f64]) -> Option<Estimated> {
        let (values, added) = self.of(&self.averaged(&[l.to_vec()]));
        let parts: Vec<f64> = added.iter().filter_map(|of| Some(*of.first()?.first()?)).collect();
        let variance: f64 = parts.iter().sum();
        let spread: f64 =
            parts.iter().zip(&self.environments).map(|(part, own)| part * part / own.df).sum();
        positive(*values.first()?, variance, variance * variance / spread, Vec::new())
    }

    fn test(&self, l: &[Vec<f64>]) -> Option<(Tested, Option<f64>)> {
        Some((self.joint(&self.averaged(l))?, None))
    }
}

fn row(source: String, kind: PooledKind, test: &Tested) -> PooledRow {
    PooledRow {
        source,
        kind,
        df: test.df,
        df_denominator: Some(test.df_denominator),
        ss: None,
        ms: None,
        f: Some(test.statistic),
        p: Some(test.p_value),
        judged_against: Some(text!("the error of each by itself (Satterthwaite 1946)").to_owned()),
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Inverse of a covariance by elimination; `None` where its rows depend on each other.
fn inverse(mut of: Matrix) -> Option<Matrix> {
    let n = of.len();
    let size: Vec<f64> = (0..n).map(|i| of[i][i]).collect();
    for (i, line) in of.iter_mut().enumerate() {
        line.extend((0..n).map(|j| f64::from(u8::from(i == j))));
    }
    for pivot in 0..n {
        let own = of[pivot][pivot];
        // Covariances are positive: no order of pivots is needed, and what is left of one is no rounding.
        if own.is_nan() || own <= 1e-12 * size[pivot] {
            return None;
        }
        let line: Vec<f64> = of[pivot].iter().map(|x| x / own).collect();
        for (_, other) in of.iter_mut().enumerate().filter(|(i, _)| *i != pivot) {
            let share = other[pivot];
            other.iter_mut().zip(&line).for_each(|(x, own)| *x -= share * own);
        }
        of[pivot] = line;
    }
    Some(of.into_iter().map(|line| line[n..].to_vec()).collect())
}
