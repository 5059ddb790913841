//! Each region's curve from its own records alone, for the test-inversion set.

use super::YieldError;
use super::scale_choice::data;
use crate::curve::{IntensityShape, Knots, Profile, shape_slopes};
use crate::design::{Design, RegionCurves, Role};
use crate::inversion::{TurningPointSet, invert};
use crate::scale::Scale;
use crate::table::TreeSeasons;
use mixed::{Contrast, Fit, Settings};

/// A fit with unpooled intensity curves.
pub struct SeparateCurves {
    fit: Fit,
    roles: Vec<Role>,
    profile: Profile,
    regions: Vec<String>,
    /// Mean log density of each region, against the book's mean.
    density: Vec<f64>,
}

/// Fits the companion model by REML.
pub(super) fn fit(table: &TreeSeasons, scale: Scale) -> Result<SeparateCurves, YieldError> {
    let design =
        Design::new(table, RegionCurves::Separate, (IntensityShape::Quadratic, Knots::default()));
    let response: Vec<f64> = table.yield_kg.iter().map(|&kg| scale.forward(kg)).collect();
    let fit = mixed::fit(&data(&design, &response), &Settings::default())?;
    Ok(SeparateCurves {
        fit,
        profile: design.family.first_profile(),
        roles: design.columns.iter().map(|column| column.role).collect(),
        regions: table.region.labels.clone(),
        density: super::pooled::region_density(table, &design),
    })
}

impl SeparateCurves {
    /// The fit.
    #[must_use]
    pub fn fit(&self) -> &Fit {
        &self.fit
    }

    /// Set of intensities at which a region's slope is compatible with 0, at a lead.
    #[must_use]
    pub fn turning_point(
        &self,
        region: &str,
        lead_days: f64,
        level: f64,
    ) -> Option<TurningPointSet> {
        let code = self.regions.iter().position(|label| label == region)?;
        invert(|intensity| {
            let contrast = self.slope_contrast(code, intensity, lead_days);
            match self.fit.contrast(&contrast, level) {
                Ok(Contrast::Estimated(slope)) => {
                    let critical = (slope.conf_high - slope.estimate) / slope.std_error;
                    let excess = slope.statistic.powi(2) - critical.powi(2);
                    excess.is_finite().then_some(excess)
                }
                Ok(Contrast::NotEstimable) | Err(_) => None,
            }
        })
    }

    /// Contrast of the derivative of a region's curve with respect to intensity.
    fn slope_contrast(&self, code: usize, intensity: f64, lead_days: f64) -> Vec<f64> {
        let slopes = shape_slopes(intensity, lead_days, Knots::default());
        let density = self.density.get(code).copied().unwrap_or(0.0);
        self.roles
            .iter()
            .map(|role| match *role {
                Role::Shape(shape) => self.profile.column(shape, &slopes),
                Role::RegionShape(shape, region) if region as usize == code => slopes[shape],
                Role::ShapeByDensity(shape) => slopes[shape] * density,
                _ => 0.0,
            })
            .collect()
    }
}
