//! The checks of an analysed trial.

use super::{
    Answer, CheckError, FieldPosition, LinearFit, ResidualChecks, SpatialAdjustment, plan_columns,
    spatial_adjustment,
};
use crate::analysis::Analysis;
use crate::design::{Plan, StratumKind};
use words::say;

/// Pairs of treatments above which differences from the first treatment alone are compared.
const MOST_PAIRS: usize = 500;

/// Residual checks of an analysis: least squares with every stratum but the units taken as given.
#[must_use]
pub fn residual_checks(analysis: &Analysis) -> Answer<ResidualChecks> {
    let plan = &analysis.plan;
    let (mut columns, _) = plan_columns(plan, true);
    columns.extend(covariate(plan));
    let treatment: Vec<String> = plan
        .units
        .iter()
        .map(|u| plan.cells.get(u.cell).map_or_else(String::new, |c| c.name.clone()))
        .collect();
    let placed = positions(plan);
    LinearFit::new(&plan.values(), &columns)
        .map(|fit| ResidualChecks::new(&fit, &treatment, placed.as_deref()))
        .into()
}

/// What random rows and columns of the field would gain over the analysis of the design.
#[must_use]
pub fn spatial_check(analysis: &Analysis) -> Answer<SpatialAdjustment> {
    let plan = &analysis.plan;
    let Some(places) = positions(plan) else {
        let why = say!("no row and column of the plots are recorded");
        return Err(CheckError::Columns(why)).into();
    };
    let (mut columns, cells) = plan_columns(plan, false);
    columns.extend(covariate(plan));
    let groups: Vec<Vec<usize>> = plan
        .strata
        .iter()
        .filter(|s| s.kind == StratumKind::Random)
        .map(|s| s.codes.clone())
        .collect();
    let count = cells.len();
    let pairs = (0..count).flat_map(|i| (i + 1..count).map(move |j| (i, j)));
    let contrasts: Vec<Vec<f64>> = pairs
        .filter(|(i, _)| *i == 0 || count * (count - 1) / 2 <= MOST_PAIRS)
        .map(|(i, j)| {
            (0..columns.len())
                .map(|c| f64::from(u8::from(c == i)) - f64::from(u8::from(c == j)))
                .collect()
        })
        .collect();
    spatial_adjustment(&plan.values(), &columns, &groups, &contrasts, &places).into()
}

fn covariate(plan: &Plan) -> Option<Vec<f64>> {
    plan.covariate.as_ref()?;
    plan.units.iter().map(|u| u.covariate).collect()
}

/// Places in the field, when every unit has one that is a number and no two units share one.
fn positions(plan: &Plan) -> Option<Vec<FieldPosition>> {
    let places: Option<Vec<FieldPosition>> = plan
        .units
        .iter()
        .map(|unit| {
            let (row, column) = unit.position.as_ref()?;
            Some(FieldPosition {
                row: row.trim().parse().ok().filter(|x: &f64| x.is_finite())?,
                column: column.trim().parse().ok().filter(|x: &f64| x.is_finite())?,
            })
        })
        .collect();
    let places = places?;
    let twice = places.iter().enumerate().any(|(i, p)| places.iter().take(i).any(|q| p == q));
    (!twice).then_some(places)
}
