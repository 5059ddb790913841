//! Columns of a plan for least squares outside of the analysis itself.

use super::LinearFit;
use crate::design::{Plan, StratumKind};

/// Independent columns over the units: treatments as indicators, then the groups of fixed blocks
/// (of every stratum but the units with `all`), beyond what treatments span.
pub(crate) fn plan_columns(plan: &Plan, all: bool) -> (Vec<Vec<f64>>, Vec<usize>) {
    let cells: Vec<usize> =
        (0..plan.cells.len()).filter(|c| plan.units.iter().any(|u| u.cell == *c)).collect();
    let mut columns: Vec<Vec<f64>> = cells
        .iter()
        .map(|c| plan.units.iter().map(|u| f64::from(u8::from(u.cell == *c))).collect())
        .collect();
    for stratum in &plan.strata {
        let taken = match stratum.kind {
            StratumKind::Blocks => true,
            StratumKind::Random => all,
            StratumKind::Residual => false,
        };
        let last = stratum.groups.len().saturating_sub(1);
        for group in 0..if taken { last } else { 0 } {
            // Zeros stand for the average group, so that treatment means are over equal blocks.
            let column: Vec<f64> = stratum
                .codes
                .iter()
                .map(|c| match *c {
                    c if c == group => 1.0,
                    c if c == last => -1.0,
                    _ => 0.0,
                })
                .collect();
            let new = LinearFit::new(&column, &columns).is_ok_and(|fit| {
                fit.sum_of_squares() > 1e-18 * column.iter().map(|v| v * v).sum::<f64>()
            });
            if new {
                columns.push(column);
            }
        }
    }
    (columns, cells)
}
