//! Contrasts of treatments by term, and the error that each term is laid out against, for models
//! fitted to the treatments themselves.

use super::columns::Columns;
use super::orthogonal::{Factored, extend};
use crate::checks::plan_columns;
use crate::design::{Plan, StratumKind};
use std::collections::BTreeSet;

/// Contrasts of a term: weights of the treatments of `used` in each of its degrees of freedom, the
/// other terms equally weighted (type III). Without every treatment, the part that those left can
/// tell; a term of which they tell nothing has none.
pub(crate) fn term_contrasts(plan: &Plan, used: &[usize]) -> Vec<Vec<Vec<f64>>> {
    let columns = Columns::new(plan);
    let coded: Vec<Vec<f64>> = (0..columns.treatments)
        .map(|j| used.iter().map(|cell| columns.cells[*cell][j]).collect())
        .collect();
    let factored = Factored::new(&coded);
    let of_term = |range: &std::ops::Range<usize>| {
        let wanted: Vec<Vec<f64>> = range
            .clone()
            .map(|j| (0..columns.treatments).map(|i| if i == j { 1.0 } else { 0.0 }).collect())
            .collect();
        let rows = factored.estimable(&wanted);
        let weights = rows.iter().filter_map(|row| {
            let a = factored.coordinates(row)?;
            let mut weights = vec![0.0; used.len()];
            for (a, q) in a.iter().zip(&factored.basis) {
                weights.iter_mut().zip(q).for_each(|(w, q)| *w += a * q);
            }
            Some(weights)
        });
        weights.collect()
    };
    columns.terms.iter().map(of_term).collect()
}

/// Degrees of freedom of a plan's errors.
pub(crate) struct ErrorDf<'a> {
    plan: &'a Plan,
    /// Group of each unit and degrees of freedom of each random stratum, coarsest first: beyond treatments,
    /// fixed blocks and the strata before it.
    strata: Vec<(&'a [usize], usize)>,
    /// What is left to the units.
    left: usize,
}

impl<'a> ErrorDf<'a> {
    /// Counts them.
    pub(crate) fn of(plan: &'a Plan) -> Self {
        let (fixed, _) = plan_columns(plan, false);
        let mut basis = Vec::new();
        for column in &fixed {
            extend(&mut basis, column);
        }
        let mut strata: Vec<(&[usize], usize)> = Vec::new();
        for stratum in plan.strata.iter().filter(|s| s.kind == StratumKind::Random) {
            let before = basis.len();
            for group in 0..stratum.groups.len() {
                let own = stratum.codes.iter().map(|c| f64::from(u8::from(*c == group)));
                extend(&mut basis, &own.collect::<Vec<f64>>());
            }
            strata.push((&stratum.codes, basis.len() - before));
        }
        let left = plan.units.len().saturating_sub(basis.len()).max(1);
        Self { plan, strata, left }
    }

    /// Those of the error that each term is judged against: of the coarsest stratum within whose groups the term
    /// does not vary (containment; Littell et al. 2006, SAS for Mixed Models, 2nd ed., ch. 4).
    pub(crate) fn of_terms(&self) -> Vec<f64> {
        let columns = Columns::new(self.plan);
        let of_term = |range: &std::ops::Range<usize>| {
            self.coarsest(|codes| {
                range.clone().all(|j| {
                    let mut seen: Vec<Option<f64>> = vec![None; codes.len()];
                    self.plan.units.iter().zip(codes).all(|(unit, code)| {
                        let value = columns.cells[unit.cell][j];
                        *seen[*code].get_or_insert(value) == value
                    })
                })
            })
        };
        columns.terms.iter().map(of_term).collect()
    }

    /// Those of the difference of two treatments, by their cells: of the coarsest stratum none of whose groups holds
    /// both.
    pub(crate) fn of_pair(&self, first: usize, second: usize) -> f64 {
        self.coarsest(|codes| {
            let groups = |cell: usize| -> BTreeSet<usize> {
                let own = self.plan.units.iter().zip(codes).filter(|(unit, _)| unit.cell == cell);
                own.map(|(_, code)| *code).collect()
            };
            groups(first).is_disjoint(&groups(second))
        })
    }

    fn coarsest(&self, is_error: impl Fn(&[usize]) -> bool) -> f64 {
        let own = self.strata.iter().filter(|(codes, df)| *df > 0 && is_error(codes));
        own.map(|(_, df)| *df).min().unwrap_or(self.left) as f64
    }
}
