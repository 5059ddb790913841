//! Point estimates of the regions' pruning effect, to compare one model with another.

use super::YieldError;
use super::pooled::region_density;
use crate::curve::{self, Knots, SHAPES};
use crate::design::{Design, Role};
use crate::table::TreeSeasons;
use mixed::Fit;

/// Estimated curve of every region on the model's scale.
#[derive(Debug, Clone, PartialEq)]
pub struct PointCurves {
    knots: Knots,
    regions: Vec<(String, [f64; SHAPES])>,
}

impl PointCurves {
    pub(super) fn of(table: &TreeSeasons, design: &Design, fit: &Fit) -> Result<Self, YieldError> {
        let density = region_density(table, design);
        let mut common = [0.0; SHAPES];
        let mut by_density = [0.0; SHAPES];
        for (column, estimate) in design.columns.iter().zip(fit.estimates()) {
            match column.role {
                Role::Shape(shape) => common[shape] += estimate,
                Role::ShapeByDensity(shape) => by_density[shape] += estimate,
                _ => {}
            }
        }
        let mut regions: Vec<(String, [f64; SHAPES])> = table
            .region
            .labels
            .iter()
            .zip(&density)
            .map(|(label, density)| {
                let curve = std::array::from_fn(|k| common[k] + density * by_density[k]);
                (label.clone(), curve)
            })
            .collect();
        for group in design.groups.iter().filter(|group| !group.slopes.is_empty()) {
            let modes = fit.conditional_modes(&group.name)?.modes;
            for (code, (_, curve)) in regions.iter_mut().enumerate() {
                for (&shape, mode) in group.slopes.iter().zip(modes.row(code)) {
                    curve[shape] += mode;
                }
            }
        }
        Ok(Self { knots: design.knots, regions })
    }

    /// Effect of a practice in a region against unpruned, on the model's scale.
    #[must_use]
    pub fn effect(&self, region: &str, intensity: f64, lead_days: f64) -> Option<f64> {
        let (_, curve) = self.regions.iter().find(|(label, _)| label == region)?;
        Some(curve::combine(curve, &curve::shapes(intensity, lead_days, self.knots)))
    }
}
