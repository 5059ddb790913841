//! Residuals of the units with every coarser stratum taken as given.

use super::columns::Columns;
use super::orthogonal::{dot, extend, take_out};
use super::result::{Residuals, UnitResidual};
use crate::design::{Plan, StratumKind};

/// Residuals, fitted values and leverages; `None` without residual degrees of freedom.
pub(super) fn residuals(plan: &Plan, columns: &Columns) -> Option<Residuals> {
    let y = plan.values();
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for column in &columns.values {
        extend(&mut basis, column);
    }
    for stratum in plan.strata.iter().filter(|s| s.kind == StratumKind::Random) {
        for g in 0..stratum.groups.len() {
            let column: Vec<f64> =
                stratum.codes.iter().map(|c| if *c == g { 1.0 } else { 0.0 }).collect();
            extend(&mut basis, &column);
        }
    }
    let df = y.len().checked_sub(basis.len()).filter(|df| *df > 0)?;
    let mut rest = y.clone();
    take_out(&mut rest, &basis);
    let units = (0..y.len())
        .map(|i| UnitResidual {
            unit: i,
            fitted: y[i] - rest[i],
            residual: rest[i],
            leverage: basis.iter().map(|q| q[i] * q[i]).sum(),
        })
        .collect();
    Some(Residuals { units, mean_square: dot(&rest, &rest) / df as f64, df })
}
