//! Orthogonal polynomial components of amounts at their actual spacing.
//!
//! A component is a contrast of the adjusted means in which every mean counts alike, judged with
//! their covariance. It asks the same question whatever was lost: weights by the number of units
//! would ask it of the trees that happened to live, and the answer could not be had from the printed
//! means (Searle, Speed and Milliken 1980, population marginal means; Speed, Hocking and Hackney
//! 1978). In a balanced trial both are one. Where plots are lost the components are correlated, and
//! their sums of squares no longer add up to that of the term.

use super::fitted::{Fitted, Judge, Tested};
use super::orthogonal::dot;
use super::quantiles::t_tail;
use crate::design::{Part, Plan};
use serde::{Deserialize, Serialize};

/// Highest degree that has a line of its own; the rest are deviations.
const HIGHEST: usize = 3;

/// One component.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PolynomialComponent {
    /// `linear`, `quadratic`, `cubic`, `deviations`.
    pub name: String,
    /// Weight of each level's mean in the component; empty for deviations.
    pub coefficients: Vec<f64>,
    /// For a main effect: coefficient of that power in the fit of that degree, response per unit
    /// of the amount to that power.
    pub estimate: Option<f64>,
    /// Its standard error.
    pub std_error: Option<f64>,
    /// Numerator's degrees of freedom.
    pub df: f64,
    /// Denominator's degrees of freedom.
    pub df_denominator: f64,
    /// Sum of squares; none in a mixed model.
    pub ss: Option<f64>,
    /// F.
    pub f: f64,
    /// Upper tail probability.
    pub p: f64,
}

/// Components of a term over an amount.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Polynomial {
    /// Term: a factor, or an interaction of it with another.
    pub term: String,
    /// Factor of amounts.
    pub factor: String,
    /// Unit of the amounts.
    pub unit: String,
    /// Amounts.
    pub amounts: Vec<f64>,
    /// Components that can be estimated.
    pub components: Vec<PolynomialComponent>,
}

/// Monic polynomials orthogonal over `amounts`, by their values there, from degree 0 up (Forsythe
/// 1957).
pub(super) fn orthogonal(amounts: &[f64]) -> Vec<Vec<f64>> {
    let mut out: Vec<Vec<f64>> = vec![vec![1.0; amounts.len()]];
    while out.len() < amounts.len() {
        let last = &out[out.len() - 1];
        let mut next: Vec<f64> = last.iter().zip(amounts).map(|(p, x)| p * x).collect();
        for _ in 0..2 {
            for p in &out {
                let c = dot(&next, p) / dot(p, p);
                next.iter_mut().zip(p).for_each(|(n, p)| *n -= c * p);
            }
        }
        out.push(next);
    }
    out
}

/// Whether every level of a factor has a unit.
pub(super) fn every_level_stands(plan: &Plan, factor: usize) -> bool {
    (0..plan.factors[factor].levels.len()).all(|level| {
        plan.cells.iter().any(|cell| cell.levels[factor] == Some(level) && cell.units > 0)
    })
}

/// Components of every main effect of amounts, and of its interactions with one other part.
pub(super) fn polynomials(plan: &Plan, fitted: &Fitted) -> Vec<Polynomial> {
    let mut out = Vec::new();
    for term in &plan.terms {
        if term.parts.len() > 2 {
            continue;
        }
        for (at, part) in term.parts.iter().enumerate() {
            let Part::Factor(f) = part else { continue };
            let Some(amounts) = &plan.factors[*f].amounts else { continue };
            if !every_level_stands(plan, *f) {
                continue;
            }
            let groups = plan.groups_of(term);
            let rows: Vec<Vec<f64>> =
                groups.iter().map(|(_, cells)| fitted.columns.mean(cells)).collect();
            let levels = amounts.values.len();
            let others = rows.len() / levels;
            // Position of a level of the amount and of the other part among the groups.
            let index = |level: usize, other: usize| {
                if at == 0 { level * others + other } else { other * levels + level }
            };
            let contrasts = |p: &[f64]| -> Vec<Vec<f64>> {
                let norm = dot(p, p);
                let of = |other: usize| -> Vec<f64> {
                    let mut l = vec![0.0; fitted.columns.names.len()];
                    for level in 0..levels {
                        let c = p[level] / norm;
                        let row = &rows[index(level, other)];
                        l.iter_mut().zip(row).for_each(|(l, r)| *l += c * r);
                    }
                    l
                };
                if term.parts.len() == 1 {
                    return vec![of(0)];
                }
                let first = of(0);
                (1..others)
                    .map(|o| of(o).iter().zip(&first).map(|(a, b)| a - b).collect())
                    .collect()
            };
            out.push(Polynomial {
                term: term.name.clone(),
                factor: plan.factors[*f].name.clone(),
                unit: amounts.unit.clone(),
                amounts: amounts.values.clone(),
                components: components(fitted, &amounts.values, &contrasts, term.parts.len() == 1),
            });
        }
    }
    out
}

/// Components of the combinations that `contrasts` makes of the values of a polynomial; of `main`
/// effects with their estimate.
pub(crate) fn components(
    judge: &dyn Judge,
    amounts: &[f64],
    contrasts: &dyn Fn(&[f64]) -> Vec<Vec<f64>>,
    main: bool,
) -> Vec<PolynomialComponent> {
    let basis = orthogonal(amounts);
    let mut components = Vec::new();
    for (name, p) in ["linear", "quadratic", "cubic"].into_iter().zip(basis.iter().skip(1)) {
        let l = contrasts(p);
        let Some((test, ss)) = judge.test(&l) else { continue };
        let mut one = component(name, test, ss);
        one.coefficients.clone_from(p);
        if let (true, Some(e)) = (main, l.first().and_then(|l| judge.estimate(l))) {
            one.estimate = Some(e.estimate);
            one.std_error = Some(e.std_error);
            // The t test, which the F of one contrast repeats.
            one.p = t_tail(e.estimate / e.std_error, e.df).unwrap_or(one.p);
        }
        components.push(one);
    }
    let l: Vec<Vec<f64>> = basis.iter().skip(HIGHEST + 1).flat_map(|p| contrasts(p)).collect();
    if let Some((test, ss)) = Some(&l).filter(|l| !l.is_empty()).and_then(|l| judge.test(l)) {
        components.push(component("deviations", test, ss));
    }
    components
}

fn component(name: &str, test: Tested, ss: Option<f64>) -> PolynomialComponent {
    PolynomialComponent {
        name: name.to_owned(),
        coefficients: Vec::new(),
        estimate: None,
        std_error: None,
        df: test.df,
        df_denominator: test.df_denominator,
        ss,
        f: test.statistic,
        p: test.p_value,
    }
}
