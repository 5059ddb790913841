//! Contrasts of treatments by term, and the error that each term is laid out against, for models
//! fitted to the treatments themselves.

use super::columns::Columns;
use super::orthogonal::{Factored, extend};
use crate::checks::plan_columns;
use crate::design::{Plan, StratumKind};

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

/// Degrees of freedom of the error that each term is judged against: those of the coarsest stratum
/// within whose groups the term does not vary, beyond treatments, fixed blocks and the strata
/// before it (containment; Littell et al. 2006, SAS for Mixed Models, 2nd ed., ch. 4).
pub(crate) fn error_df(plan: &Plan) -> Vec<f64> {
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
    let columns = Columns::new(plan);
    let of_term = |range: &std::ops::Range<usize>| {
        let steady = |codes: &[usize]| {
            range.clone().all(|j| {
                let mut seen: Vec<Option<f64>> = vec![None; codes.len()];
                plan.units.iter().zip(codes).all(|(unit, code)| {
                    let value = columns.cells[unit.cell][j];
                    *seen[*code].get_or_insert(value) == value
                })
            })
        };
        let own = strata.iter().filter(|(codes, df)| *df > 0 && steady(codes)).map(|(_, df)| *df);
        own.min().unwrap_or(left) as f64
    };
    columns.terms.iter().map(of_term).collect()
}
