//! Means of a term with every kind of comparison between them.

use super::fitted::{Estimated, Fitted, Judge};
use super::quantiles::{t_critical, t_tail};
use super::result::{Comparison, Mean, MeansOfTerm, Pair};
use crate::design::{Part, Plan, Term};
use crate::name_in_words;
use words::{say, text};

/// Pairs above which only kinds of comparisons are listed.
const MOST_PAIRS: usize = 1000;

/// Levels of a group of cells and the cells.
type Groups = Vec<(Vec<String>, Vec<usize>)>;

/// Means of a term of the plan.
pub(super) fn means_of(plan: &Plan, fitted: &Fitted, position: usize) -> MeansOfTerm {
    let term = &plan.terms[position];
    let parts = term.parts.iter().map(|p| part_name(*p, plan)).collect();
    let groups = plan.groups_of(term);
    table(plan, fitted, term.name.clone(), Some(position), parts, groups)
}

/// Means of every treatment of a trial with a control beside the factorial, or with checks.
pub(super) fn treatments(plan: &Plan, fitted: &Fitted) -> MeansOfTerm {
    let groups = plan
        .cells
        .iter()
        .enumerate()
        .filter(|(_, c)| c.units > 0)
        .map(|(i, c)| (vec![c.name.clone()], vec![i]))
        .collect();
    let name = "treatments".to_owned();
    table(plan, fitted, name.clone(), None, vec![name], groups)
}

pub(super) fn part_name(part: Part, plan: &Plan) -> String {
    match part {
        Part::Factor(f) => plan.factors[f].name.clone(),
        Part::Control => say!("control"),
        Part::Group => say!("group"),
        Part::Checks(_) => say!("check"),
        Part::Entries(_) => say!("new entry"),
    }
}

fn table(
    plan: &Plan,
    fitted: &Fitted,
    term: String,
    position: Option<usize>,
    parts: Vec<String>,
    groups: Groups,
) -> MeansOfTerm {
    let rows: Vec<Vec<f64>> = groups.iter().map(|(_, cells)| fitted.columns.mean(cells)).collect();
    let means: Vec<Mean> = groups
        .iter()
        .zip(&rows)
        .map(|((levels, cells), row)| {
            let values: Vec<f64> =
                plan.units.iter().filter(|u| cells.contains(&u.cell)).map(|u| u.value).collect();
            let plain = values.iter().sum::<f64>() / values.len() as f64;
            let estimated = fitted.estimate(row);
            Mean {
                levels: levels.clone(),
                units: values.len(),
                mean: fitted.value_of(row).filter(|_| !cells.is_empty()),
                std_error: estimated.as_ref().map(|e| e.std_error),
                df: estimated.map(|e| e.df),
                plain: (!values.is_empty()).then_some(plain),
            }
        })
        .collect();
    let mut pairs: Vec<(Vec<usize>, Pair, Estimated)> = Vec::new();
    for i in 0..rows.len() {
        for j in i + 1..rows.len() {
            if means[i].mean.is_none() || means[j].mean.is_none() {
                continue;
            }
            let l: Vec<f64> = rows[i].iter().zip(&rows[j]).map(|(a, b)| a - b).collect();
            let Some(e) = fitted.estimate(&l) else { continue };
            let differ: Vec<usize> =
                (0..parts.len()).filter(|p| groups[i].0[*p] != groups[j].0[*p]).collect();
            let pair = Pair {
                first: i,
                second: j,
                difference: e.estimate,
                std_error: e.std_error,
                df: e.df,
                p: t_tail(e.estimate / e.std_error, e.df),
            };
            pairs.push((differ, pair, e));
        }
    }
    let comparisons = comparisons(plan, &parts, &pairs);
    let possible = rows.len() * rows.len().saturating_sub(1) / 2;
    let note = note(&means, pairs.len(), possible);
    let covariance = (pairs.len() == possible).then(|| covariance(&pairs, rows.len()));
    let listed = if possible > MOST_PAIRS {
        Vec::new()
    } else {
        pairs.into_iter().map(|(_, pair, _)| pair).collect()
    };
    MeansOfTerm { term, position, parts, means, comparisons, pairs: listed, covariance, note }
}

fn note(means: &[Mean], pairs: usize, possible: usize) -> Option<String> {
    let missing: Vec<String> =
        means.iter().filter(|m| m.mean.is_none()).map(|m| m.levels.join(" / ")).collect();
    if !missing.is_empty() {
        return Some(say!(
            "not estimable, because some treatment in it has no plot or cannot be told from blocks: \
             {}",
            missing.join("; ")
        ));
    }
    (pairs < possible).then(|| {
        say!("{} of {possible} differences cannot be judged by an error", possible - pairs)
    })
}

/// A covariance with the variances of all differences, centred (as classical scaling does).
fn covariance(pairs: &[(Vec<usize>, Pair, Estimated)], count: usize) -> Vec<Vec<f64>> {
    let mut v = vec![vec![0.0; count]; count];
    for (_, pair, _) in pairs {
        let x = pair.std_error * pair.std_error;
        v[pair.first][pair.second] = x;
        v[pair.second][pair.first] = x;
    }
    let n = count as f64;
    let by_row: Vec<f64> = v.iter().map(|r| r.iter().sum::<f64>() / n).collect();
    let all = by_row.iter().sum::<f64>() / n;
    (0..count)
        .map(|i| (0..count).map(|j| -0.5 * (v[i][j] - by_row[i] - by_row[j] + all)).collect())
        .collect()
}

/// Kinds of comparisons by the parts that differ; kinds with the same numbers share a line.
fn comparisons(
    plan: &Plan,
    parts: &[String],
    pairs: &[(Vec<usize>, Pair, Estimated)],
) -> Vec<Comparison> {
    let mut kinds: Vec<Vec<usize>> = Vec::new();
    for (differ, _, _) in pairs {
        if !kinds.contains(differ) {
            kinds.push(differ.clone());
        }
    }
    kinds.sort_by(|a, b| a.len().cmp(&b.len()).then_with(|| a.cmp(b)));
    let mut out: Vec<Comparison> = Vec::new();
    for kind in kinds {
        let mine: Vec<&Estimated> =
            pairs.iter().filter(|(d, _, _)| *d == kind).map(|(_, _, e)| e).collect();
        let Some(one) = summary(plan, &mine, kind) else { continue };
        let same = |c: &&mut Comparison| {
            c.equal
                && one.equal
                && (c.sed - one.sed).abs() < 1e-9 * one.sed
                && (c.df - one.df).abs() < 1e-9 * one.df
        };
        match out.iter_mut().find(same) {
            Some(c) => {
                c.pairs += one.pairs;
                c.differ.extend(one.differ);
            }
            None => out.push(one),
        }
    }
    let alone = out.len() == 1;
    for c in &mut out {
        c.words = if let ([part], 1) = (parts, c.pairs)
            && *part == say!("control")
        {
            // Its groups are the control and all others, not levels of something.
            say!("control against the rest")
        } else if alone && c.differ.len() + 1 == 1 << parts.len() {
            let all: Vec<String> = parts.iter().map(|part| name_in_words(part)).collect();
            say!("any two means of {}", all.join(" x "))
        } else {
            words(parts, &c.differ)
        };
    }
    out
}

fn summary(plan: &Plan, mine: &[&Estimated], kind: Vec<usize>) -> Option<Comparison> {
    let first = mine.first()?;
    let count = mine.len() as f64;
    let (mut low, mut high) = (f64::INFINITY, 0.0_f64);
    let (mut low_df, mut high_df) = (f64::INFINITY, 0.0_f64);
    for e in mine {
        (low, high) = (low.min(e.std_error), high.max(e.std_error));
        (low_df, high_df) = (low_df.min(e.df), high_df.max(e.df));
    }
    let equal = high - low < 1e-9 * high && high_df - low_df < 1e-6 * high_df;
    let sed = (mine.iter().map(|e| e.std_error.powi(2)).sum::<f64>() / count).sqrt();
    let df = if equal { first.df } else { mine.iter().map(|e| e.df).sum::<f64>() / count };
    let critical = |alpha: f64| t_critical(alpha, df).map(|t| t * sed);
    // Cochran and Cox (1957): each error's t weighted with its part of the variance; an error that
    // is taken off has no such part.
    let mixed = equal && first.shares.len() > 1 && first.shares.iter().all(|s| s.variance > 0.0);
    let weighted = |alpha: f64| -> Option<f64> {
        let mut sum = 0.0;
        for share in &first.shares {
            sum += share.variance * t_critical(alpha, share.df)?;
        }
        let variance: f64 = first.shares.iter().map(|s| s.variance).sum();
        mixed.then_some(sum / variance * sed)
    };
    let errors = first.shares.iter().map(|s| (plan.strata[s.stratum].name.clone(), s.df)).collect();
    Some(Comparison {
        words: String::new(),
        differ: vec![kind],
        pairs: mine.len(),
        equal,
        sed_range: (low, high),
        sed,
        sem: sed / std::f64::consts::SQRT_2,
        df,
        errors: if equal { errors } else { Vec::new() },
        cd5: critical(0.05),
        cd1: critical(0.01),
        cd5_weighted: weighted(0.05),
        cd1_weighted: weighted(0.01),
    })
}

/// `intensity at the same or different date`.
fn words(parts: &[String], differ: &[Vec<usize>]) -> String {
    let names = |which: &[usize]| {
        which.iter().map(|p| name_in_words(&parts[*p])).collect::<Vec<_>>().join(" x ")
    };
    if let [a] = parts {
        return say!("any two means of {a}", a = name_in_words(a));
    }
    // Parts that differ in every kind of the line, and those that may.
    let always: Vec<usize> =
        (0..parts.len()).filter(|p| differ.iter().all(|d| d.contains(p))).collect();
    let never: Vec<usize> =
        (0..parts.len()).filter(|p| differ.iter().all(|d| !d.contains(p))).collect();
    let sometimes: Vec<usize> =
        (0..parts.len()).filter(|p| !always.contains(p) && !never.contains(p)).collect();
    if always.is_empty() {
        let kinds: Vec<String> = differ.iter().map(|d| names(d)).collect();
        return say!("means that differ in {}", kinds.join(text!(", or in ")));
    }
    let mut text = names(&always);
    if !never.is_empty() {
        text = say!("{text} at the same {}", names(&never));
    }
    if !sometimes.is_empty() {
        text = say!("{text} at the same or different {}", names(&sometimes));
    }
    text
}

/// Whether a term has a mean to compare.
pub(super) fn has_means(plan: &Plan, term: &Term) -> bool {
    term.parts.iter().all(|p| p.level_names(&plan.factors, &plan.cells).len() > 1)
}
