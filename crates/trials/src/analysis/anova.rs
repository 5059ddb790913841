//! Analysis of variance tables.

use super::expected::{expected_blocks, expected_error, expected_term};
use super::fitted::{Fitted, Judge, Way};
use super::orthogonal::{dot, extend};
use super::quantiles::f_tail;
use super::result::{AnovaKind, AnovaRow};
use super::strata::StrataFit;
use crate::design::{Plan, StratumKind};
use crate::names::name_in_words;
use words::{say, text};

/// The table of a fitted trial.
pub(super) fn anova(plan: &Plan, fitted: &Fitted) -> Vec<AnovaRow> {
    match &fitted.way {
        Way::Strata(strata) => by_strata(plan, fitted, strata),
        Way::OneError { rss, df } => one_error(plan, fitted, *rss, *df),
        Way::Mixed(_) => mixed(plan, fitted),
    }
}

fn row(stratum: &str, source: &str, kind: AnovaKind, df: f64) -> AnovaRow {
    AnovaRow {
        stratum: stratum.to_owned(),
        source: source.to_owned(),
        kind,
        term: None,
        df,
        df_denominator: None,
        ss: None,
        ms: None,
        f: None,
        p: None,
        expected: None,
        note: None,
    }
}

fn with_ss(mut row: AnovaRow, ss: f64) -> AnovaRow {
    row.ss = Some(ss);
    row.ms = (row.df > 0.0).then(|| ss / row.df);
    row
}

fn judged(mut row: AnovaRow, error: Option<(f64, f64)>) -> AnovaRow {
    match error.filter(|(ms, _)| *ms > 0.0) {
        Some((ms, df)) => {
            row.f = row.ms.map(|m| m / ms);
            row.df_denominator = Some(df);
            row.p = row.f.and_then(|f| f_tail(f, row.df, df));
        }
        None => row.note = Some(say!("no error is left in this stratum to judge it")),
    }
    row
}

fn by_strata(plan: &Plan, fitted: &Fitted, strata: &StrataFit) -> Vec<AnovaRow> {
    let mut out = Vec::new();
    for (s, fit) in strata.strata.iter().enumerate() {
        let stratum = &plan.strata[s];
        let error_df = fit.error_df as f64;
        if stratum.kind == StratumKind::Blocks && fit.error_df > 0 {
            let below = judge_of_blocks(strata, s);
            let mut line = row(&stratum.name, &stratum.name, AnovaKind::Blocks, error_df);
            line = with_ss(line, fit.error_ss);
            line.expected = Some(expected_blocks(plan, fit));
            line = judged(line, below);
            if below.is_none() {
                line.note = Some(say!("no single mean square judges it"));
            }
            out.push(line);
        }
        for t in &fit.terms {
            let df = fitted.columns.terms[*t].len() as f64;
            if df == 0.0 {
                continue;
            }
            let mut line = row(&stratum.name, &plan.terms[*t].name, AnovaKind::Term, df);
            line.term = Some(*t);
            let wanted = &strata.term_expected[*t];
            let parts = strata.combination(wanted);
            if strata.term_falls_short(*t) {
                let ss = strata.term_ss[*t];
                line = with_ss(tested(fitted, fitted.columns.terms[*t].clone(), line), ss);
                if line.f.is_some() {
                    line.note = Some(say!(
                        "the mean squares {} leave less than the error within them: judged by the mixed model, with degrees of freedom by Kenward and Roger",
                        sum_of_errors(plan, &parts)
                    ));
                }
            } else {
                line = judged(with_ss(line, strata.term_ss[*t]), strata.term_error(*t));
            }
            line.expected = Some(expected_term(plan, wanted, *t));
            if parts.len() > 1 && line.f.is_some() && line.note.is_none() {
                line.note = Some(say!(
                    "judged by the mean squares {}, with degrees of freedom by Satterthwaite",
                    sum_of_errors(plan, &parts)
                ));
            }
            if stratum.kind == StratumKind::Blocks {
                line.note = Some(say!("confounded with {}", name_in_words(&stratum.name)));
            }
            out.push(line);
        }
        if stratum.kind != StratumKind::Blocks && fit.error_df > 0 {
            let name = format!("error ({})", stratum.name);
            let mut line =
                with_ss(row(&stratum.name, &name, AnovaKind::Error, error_df), fit.error_ss);
            line.expected = Some(expected_error(plan, fit));
            out.push(line);
        }
    }
    out.push(total(plan));
    out
}

/// `error (rows x season) + error (columns x season) - error (plots x season)`.
fn sum_of_errors(plan: &Plan, parts: &[(usize, f64)]) -> String {
    let mut out = String::new();
    for (s, factor) in parts {
        let sign = match (out.is_empty(), *factor < 0.0) {
            (true, false) => "",
            (true, true) => "-",
            (false, false) => " + ",
            (false, true) => " - ",
        };
        let size = factor.abs();
        let times = if (size - 1.0).abs() < 1e-6 { String::new() } else { say!("{size:.2} x ") };
        let name = name_in_words(&format!("error ({})", plan.strata[*s].name));
        out.push_str(&format!("{sign}{times}{name}"));
    }
    out
}

/// Error whose expected mean square is that of the blocks without their own component.
fn judge_of_blocks(strata: &StrataFit, s: usize) -> Option<(f64, f64)> {
    let mut wanted = strata.strata[s].expected.clone();
    wanted[s] = 0.0;
    let found = strata.strata.iter().find(|f| f.expected == wanted)?;
    found.error_ms().map(|ms| (ms, found.error_df as f64))
}

fn total(plan: &Plan) -> AnovaRow {
    let y = plan.values();
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    let ss = y.iter().map(|v| (v - mean).powi(2)).sum();
    let mut line = row("", "total", AnovaKind::Total, y.len() as f64 - 1.0);
    line.ss = Some(ss);
    line
}

fn one_error(plan: &Plan, fitted: &Fitted, rss: f64, df: usize) -> Vec<AnovaRow> {
    let mut out = Vec::new();
    let error_df = df as f64;
    let error = Some((rss / error_df, error_df));
    let y = plan.values();
    let mut basis: Vec<Vec<f64>> = vec![vec![(1.0 / y.len() as f64).sqrt(); y.len()]];
    let adjusted = !fitted.columns.blocks.is_empty();
    let stratum = plan.strata.last().map_or("", |s| s.name.as_str());
    for (s, range) in &fitted.columns.blocks {
        let start = basis.len();
        for column in &fitted.columns.values[range.clone()] {
            extend(&mut basis, column);
        }
        let own = &basis[start..];
        let ss = own.iter().map(|q| dot(q, &y).powi(2)).sum();
        let name = &plan.strata[*s].name;
        let mut line = with_ss(row(name, name, AnovaKind::Blocks, own.len() as f64), ss);
        line.note = Some(say!("ignoring treatments"));
        out.push(line);
    }
    if let Some((column, _)) = fitted.columns.covariate {
        let name = format!("covariate {}", plan.covariate.as_deref().unwrap_or_default());
        out.push(tested(
            fitted,
            column..column + 1,
            row(stratum, &name, AnovaKind::Covariate, 1.0),
        ));
    }
    for (t, term) in plan.terms.iter().enumerate() {
        let range = fitted.columns.terms[t].clone();
        if range.is_empty() {
            continue;
        }
        let mut line = row(stratum, &term.name, AnovaKind::Term, range.len() as f64);
        line.term = Some(t);
        line = tested(fitted, range, line);
        if line.note.is_none() {
            let what = if adjusted {
                text!("adjusted for blocks and the other terms")
            } else {
                text!("adjusted for the other terms")
            };
            line.note = Some(what.to_owned());
        }
        out.push(line);
    }
    let name = format!("error ({stratum})");
    let mut line = with_ss(row(stratum, &name, AnovaKind::Error, error_df), rss);
    line.df_denominator = None;
    if error.is_some() {
        out.push(line);
    }
    out.push(total(plan));
    out
}

/// Fills in the test of a range of coefficients.
fn tested(fitted: &Fitted, range: std::ops::Range<usize>, mut line: AnovaRow) -> AnovaRow {
    let full = range.len() as f64;
    match fitted.test(&fitted.columns.unit_rows(range)) {
        Some((test, ss)) => {
            line.df = test.df;
            line.ss = ss;
            line.ms = ss.map(|ss| ss / test.df);
            line.f = Some(test.statistic);
            line.df_denominator = Some(test.df_denominator);
            line.p = Some(test.p_value);
            if test.df < full {
                line.note = Some(say!(
                    "only {} of {full} contrasts can be estimated from the plots that are there",
                    test.df
                ));
            }
        }
        None => {
            line.df = 0.0;
            line.note = Some(say!("cannot be told from blocks or other terms, or has no error"));
        }
    }
    line
}

fn mixed(plan: &Plan, fitted: &Fitted) -> Vec<AnovaRow> {
    let mut out = Vec::new();
    if let Some((column, _)) = fitted.columns.covariate {
        let name = format!("covariate {}", plan.covariate.as_deref().unwrap_or_default());
        out.push(tested(fitted, column..column + 1, row("", &name, AnovaKind::Covariate, 1.0)));
    }
    for (t, term) in plan.terms.iter().enumerate() {
        let range = fitted.columns.terms[t].clone();
        if range.is_empty() {
            continue;
        }
        let mut line = row("", &term.name, AnovaKind::Term, range.len() as f64);
        line.term = Some(t);
        out.push(tested(fitted, range, line));
    }
    out
}
