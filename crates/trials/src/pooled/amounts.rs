//! Curves over amounts of the means of all environments: one dose for all of them.

use super::stack::Stack;
use crate::analysis::{
    Analysis, Curve, Estimated, Judge, Polynomial, Question, Tested, components, of_joint_test,
    positive, tested,
};
use crate::compare::EstimatedMeans;
use crate::design::Amounts;
use mixed::{Contrast, KenwardRoger};
use std::collections::BTreeSet;

/// Fewest amounts of a curve.
const AMOUNTS: usize = 3;

/// What judges a factor, or what it does at one level of another factor of so many.
pub(super) type JudgeOf<'a, 'b> = dyn Fn(&str, Option<(&str, usize)>) -> Box<dyn Judge + 'a> + 'b;

/// Components and curves of every factor of amounts, averaged over the others, and its curves at each level of
/// each other factor. The first environment tells the factors and their price ratios. Of a factor the amounts count
/// that stand in every environment; where they do not stand in as many of the treatments in common each, it has
/// none.
pub(super) fn of_amounts(
    first: &Analysis,
    stack: &Stack,
    judge_of: &JudgeOf<'_, '_>,
) -> (Vec<Polynomial>, Vec<Curve>) {
    let plan = &first.plan;
    let (mut polynomials, mut curves, mut within) = (Vec::new(), Vec::new(), Vec::new());
    for (at, factor) in plan.factors.iter().enumerate() {
        let Some(tested) = factor.amounts.as_ref() else { continue };
        let judge = &*judge_of(&factor.name, None);
        let levels_of = |at: usize| -> Vec<Option<usize>> {
            let level_of = |name: &String| {
                let cell = plan.cells.iter().find(|cell| cell.name == *name)?;
                cell.levels.get(at).copied().flatten()
            };
            stack.treatments.iter().map(level_of).collect()
        };
        let levels = levels_of(at);
        let own = |level: usize| levels.iter().filter(|own| **own == Some(level)).count();
        // The amounts that stand in every environment.
        let common: Vec<usize> = (0..tested.values.len()).filter(|level| own(*level) > 0).collect();
        let each = common.first().map_or(0, |level| own(*level));
        if common.len() < AMOUNTS || common.iter().any(|level| own(*level) != each) {
            continue;
        }
        let values = common.iter().filter_map(|level| tested.values.get(*level).copied()).collect();
        let amounts = &Amounts { unit: tested.unit.clone(), values };
        let mean = |level: &usize| -> Vec<f64> {
            let share = 1.0 / each as f64;
            levels.iter().map(|own| if *own == Some(*level) { share } else { 0.0 }).collect()
        };
        let rows: Vec<Vec<f64>> = common.iter().map(mean).collect();
        let contrasts = |p: &[f64]| -> Vec<Vec<f64>> {
            let norm: f64 = p.iter().map(|p| p * p).sum();
            let mut l = vec![0.0; stack.treatments.len()];
            for (p, row) in p.iter().zip(&rows) {
                l.iter_mut().zip(row).for_each(|(l, r)| *l += p / norm * r);
            }
            vec![l]
        };
        polynomials.push(Polynomial {
            term: factor.name.clone(),
            factor: factor.name.clone(),
            unit: amounts.unit.clone(),
            amounts: amounts.values.clone(),
            components: components(judge, &amounts.values, &contrasts, true),
        });
        let of_first = first.curves.iter().find(|curve| curve.factor == factor.name);
        let ratio = of_first.and_then(|curve| Some(curve.economic.as_ref()?.price_ratio));
        let question = Question { judge, amounts, rows: rows.clone(), name: &factor.name };
        curves.extend(question.curve(None, ratio));
        for (other_at, other) in plan.factors.iter().enumerate().filter(|(own, _)| *own != at) {
            let others = levels_of(other_at);
            let standing: BTreeSet<usize> = others.iter().copied().flatten().collect();
            if standing.len() < 2 {
                continue;
            }
            let judge = &*judge_of(&factor.name, Some((&other.name, standing.len())));
            for &level in &standing {
                let is_in = |at: usize, amount: usize| {
                    levels.get(at).copied().flatten() == Some(amount)
                        && others.get(at).copied().flatten() == Some(level)
                };
                let count =
                    |amount: usize| (0..levels.len()).filter(|at| is_in(*at, amount)).count();
                let each = common.first().map_or(0, |amount| count(*amount));
                if each == 0 || common.iter().any(|amount| count(*amount) != each) {
                    continue;
                }
                let row = |amount: &usize| -> Vec<f64> {
                    let share = 1.0 / each as f64;
                    (0..levels.len())
                        .map(|at| if is_in(at, *amount) { share } else { 0.0 })
                        .collect()
                };
                let rows: Vec<Vec<f64>> = common.iter().map(row).collect();
                let question = Question { judge, amounts, rows, name: &factor.name };
                let named = other.levels.get(level).cloned().unwrap_or_default();
                within.extend(question.curve(Some((other.name.clone(), named)), ratio));
            }
        }
    }
    curves.extend(within);
    (polynomials, curves)
}

/// Means with one mean square behind all of them, each of as many plots.
pub(super) struct OneError<'a> {
    /// The means.
    pub(super) means: &'a EstimatedMeans,
    /// Plots behind each mean.
    pub(super) plots: f64,
    /// Mean square that judges them, units squared.
    pub(super) ms: f64,
    /// Its degrees of freedom.
    pub(super) df: f64,
}

impl Judge for OneError<'_> {
    fn value_of(&self, l: &[f64]) -> Option<f64> {
        Some(l.iter().zip(self.means.values()).map(|(l, mean)| l * mean).sum())
    }

    fn estimate(&self, l: &[f64]) -> Option<Estimated> {
        let size: f64 = l.iter().map(|l| l * l).sum();
        positive(self.value_of(l)?, size * self.ms / self.plots, self.df, Vec::new())
    }

    /// Rows must be orthogonal, as those of orthogonal polynomials are.
    fn test(&self, l: &[Vec<f64>]) -> Option<(Tested, Option<f64>)> {
        let (mut ss, rows) = (0.0, l.len() as f64);
        for row in l {
            let size: f64 = row.iter().map(|l| l * l).sum();
            ss += self.plots * self.value_of(row)?.powi(2) / size;
        }
        Some((tested(ss / rows / self.ms, rows, self.df)?, Some(ss)))
    }
}

/// A mixed model by combinations of the treatments.
pub(super) struct ByModel<'a> {
    /// Its inference.
    pub(super) inference: &'a KenwardRoger,
    /// Coefficients of the model in a combination of treatment means.
    pub(super) combination: &'a dyn Fn(&[f64]) -> Vec<f64>,
}

impl Judge for ByModel<'_> {
    fn value_of(&self, l: &[f64]) -> Option<f64> {
        self.estimate(l).map(|own| own.estimate)
    }

    fn estimate(&self, l: &[f64]) -> Option<Estimated> {
        match self.inference.contrast(&(self.combination)(l), 0.95).ok()? {
            Contrast::Estimated(e) => {
                positive(e.estimate, e.std_error * e.std_error, e.df, Vec::new())
            }
            Contrast::NotEstimable => None,
        }
    }

    fn test(&self, l: &[Vec<f64>]) -> Option<(Tested, Option<f64>)> {
        let rows: Vec<Vec<f64>> = l.iter().map(|l| (self.combination)(l)).collect();
        let test = self.inference.joint_test(&rows).ok()?;
        Some((of_joint_test(&test, rows.len())?, None))
    }
}
