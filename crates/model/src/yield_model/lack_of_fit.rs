//! Whether free class means fit better than the curve.

use super::YieldError;
use super::scale_choice::{data, identify};
use crate::design::{Design, Role, Source};
use crate::support::UNPRUNED_BELOW;
use crate::table::TreeSeasons;
use mixed::{JointTest, Settings};
use serde::Serialize;

/// Width of the intensity classes, fraction.
const CLASS_WIDTH: f64 = 0.10;
/// Tree-seasons that make a class.
const LEAST_ROWS: usize = 20;

/// F test that the mean yields of intensity classes lie on the curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LackOfFit {
    /// Classes whose mean was set free beside the curve.
    pub classes: usize,
    /// The test.
    pub test: JointTest,
}

impl LackOfFit {
    /// Adds an indicator for every class of intensity that the curve leaves free and tests all of
    /// them together; `None` when no class is left.
    pub(super) fn test(
        table: &TreeSeasons,
        design: &Design,
        response: &[f64],
        settings: &Settings,
    ) -> Result<Option<Self>, YieldError> {
        let mut design = design.clone();
        let class = |row: usize| (table.intensity[row] / CLASS_WIDTH - 1e-9).floor() as i64;
        let pruned = |row: &usize| table.intensity[*row] >= UNPRUNED_BELOW;
        let mut names = Vec::new();
        for wanted in 0..(1.0 / CLASS_WIDTH) as i64 {
            let member = |row: usize| pruned(&row) && class(row) == wanted;
            if (0..table.len()).filter(|&row| member(row)).count() >= LEAST_ROWS {
                let values = (0..table.len()).map(|row| f64::from(u8::from(member(row)))).collect();
                names.push(format!("class {wanted}"));
                design.push(format!("class {wanted}"), values, Role::Nuisance, Source::Given);
            }
        }
        identify(table, &mut design)?;
        let rows: Vec<Vec<f64>> = design
            .columns
            .iter()
            .enumerate()
            .filter(|(_, column)| names.contains(&column.name))
            .map(|(place, _)| {
                (0..design.columns.len()).map(|k| f64::from(u8::from(k == place))).collect()
            })
            .collect();
        if rows.is_empty() {
            return Ok(None);
        }
        let fit = mixed::fit(&data(&design, response), settings)?;
        Ok(Some(Self { classes: rows.len(), test: fit.joint_test(&rows)? }))
    }
}
