//! Orthogonal polynomial components of amounts at their actual spacing.

use super::fitted::{Fitted, Tested};
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
    /// Weights under which the polynomials are orthogonal: units of each level.
    pub weights: Vec<f64>,
    /// Components that can be estimated.
    pub components: Vec<PolynomialComponent>,
}

/// Monic polynomials orthogonal under `weights`, by their values at `amounts`, from degree 0 up
/// (Forsythe 1957).
pub(super) fn orthogonal(amounts: &[f64], weights: &[f64]) -> Vec<Vec<f64>> {
    let inner = |a: &[f64], b: &[f64]| -> f64 {
        a.iter().zip(b).zip(weights).map(|((x, y), w)| w * x * y).sum()
    };
    let mut out: Vec<Vec<f64>> = vec![vec![1.0; amounts.len()]];
    while out.len() < amounts.len() {
        let last = &out[out.len() - 1];
        let mut next: Vec<f64> = last.iter().zip(amounts).map(|(p, x)| p * x).collect();
        for _ in 0..2 {
            for p in &out {
                let c = inner(&next, p) / inner(p, p);
                next.iter_mut().zip(p).for_each(|(n, p)| *n -= c * p);
            }
        }
        out.push(next);
    }
    out
}

/// Units by level of a factor.
pub(super) fn units_by_level(plan: &Plan, factor: usize) -> Vec<f64> {
    let mut out = vec![0.0; plan.factors[factor].levels.len()];
    for cell in &plan.cells {
        if let Some(level) = cell.levels[factor] {
            out[level] += cell.units as f64;
        }
    }
    out
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
            let weights = units_by_level(plan, *f);
            if weights.contains(&0.0) {
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
            let basis = orthogonal(&amounts.values, &weights);
            let contrasts = |degree: usize| -> Vec<Vec<f64>> {
                let p = &basis[degree];
                let norm: f64 = p.iter().zip(&weights).map(|(p, w)| w * p * p).sum();
                let of = |other: usize| -> Vec<f64> {
                    let mut l = vec![0.0; fitted.columns.names.len()];
                    for level in 0..levels {
                        let c = weights[level] * p[level] / norm;
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
            let mut components = Vec::new();
            for degree in 1..=HIGHEST.min(levels - 1) {
                let name = ["linear", "quadratic", "cubic"][degree - 1];
                let l = contrasts(degree);
                let Some((test, ss)) = fitted.test(&l) else { continue };
                let mut one = component(name, test, ss);
                let p = &basis[degree];
                one.coefficients = p.iter().zip(&weights).map(|(p, w)| p * w).collect();
                if let (1, Some(e)) = (term.parts.len(), fitted.estimate(&l[0])) {
                    one.estimate = Some(e.estimate);
                    one.std_error = Some(e.std_error);
                    // The t test, which the F of one contrast repeats.
                    one.p = t_tail(e.estimate / e.std_error, e.df).unwrap_or(one.p);
                }
                components.push(one);
            }
            if levels - 1 > HIGHEST {
                let l: Vec<Vec<f64>> = (HIGHEST + 1..levels).flat_map(contrasts).collect();
                if let Some((test, ss)) = fitted.test(&l) {
                    components.push(component("deviations", test, ss));
                }
            }
            out.push(Polynomial {
                term: term.name.clone(),
                factor: plan.factors[*f].name.clone(),
                unit: amounts.unit.clone(),
                amounts: amounts.values.clone(),
                weights,
                components,
            });
        }
    }
    out
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
