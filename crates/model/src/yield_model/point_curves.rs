//! Point estimates of the regions' pruning effect, to compare one model with another.

use super::YieldError;
use super::pooled::region_density;
use crate::curve::{self, COLUMNS, Knots, Profile, SHAPES};
use crate::design::{Design, Regional, Role};
use crate::table::TreeSeasons;
use mixed::Fit;

/// Estimated curve of every region on the model's scale.
#[derive(Debug, Clone, PartialEq)]
pub struct PointCurves {
    knots: Knots,
    /// Region, coefficients in shape order and knee.
    regions: Vec<(String, [f64; SHAPES], f64)>,
}

impl PointCurves {
    pub(super) fn of(table: &TreeSeasons, design: &Design, fit: &Fit) -> Result<Self, YieldError> {
        let density = region_density(table, design);
        let estimates = fit.estimates();
        let slopes: Vec<_> = design
            .groups
            .iter()
            .filter(|group| !group.slopes.is_empty())
            .map(|group| Ok((&group.slopes, fit.modes(&group.name)?)))
            .collect::<Result<_, mixed::Error>>()?;
        let mut regions = Vec::new();
        for (code, (label, density)) in table.region.labels.iter().zip(density).enumerate() {
            let mut curve = [0.0; COLUMNS];
            for (column, estimate) in design.columns.iter().zip(&estimates) {
                match column.role {
                    Role::Shape(shape) => curve[shape] += estimate,
                    Role::ShapeByDensity(shape) => curve[shape] += density * estimate,
                    _ => {}
                }
            }
            for (shapes, modes) in &slopes {
                for (&shape, mode) in shapes.iter().zip(modes.row(code)) {
                    curve[shape] += mode;
                }
            }
            let Regional { profile, knee } = design.regional[code];
            regions.push((label.clone(), curve::surface(&curve, &profile), knee));
        }
        Ok(Self { knots: design.knots, regions })
    }

    /// Each region's effect at the reference lead and its knee, by code.
    pub(super) fn regional(&self) -> Vec<Regional> {
        self.regions
            .iter()
            .map(|(_, curve, knee)| Regional { profile: Profile::of(curve), knee: *knee })
            .collect()
    }

    /// Effect of a practice in a region against unpruned, on the model's scale.
    #[must_use]
    pub fn effect(&self, region: &str, intensity: f64, lead_days: f64) -> Option<f64> {
        let (_, curve, knee) = self.regions.iter().find(|(label, ..)| label == region)?;
        let knots = self.knots.with_knee(*knee);
        Some(curve::combine(curve, &curve::shapes(intensity, lead_days, knots)))
    }
}
