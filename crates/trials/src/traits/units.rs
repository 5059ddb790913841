//! Totals of the units, and what they say of the spread.

use super::TraitError;
use super::result::TraitEvidence;
use crate::design::Plan;
use crate::observations::{Observations, TraitKind};
use words::{say, text};

/// Totals by unit.
pub(super) struct Totals {
    /// Sum of the values of its trees.
    pub(super) sums: Vec<f64>,
    /// Sum of exposures or totals; number of trees where none are given.
    pub(super) exposures: Vec<f64>,
}

/// Adds the trees of each unit up and checks that the values are what the kind says.
pub(super) fn totals(plan: &Plan, observed: &Observations) -> Result<Totals, TraitError> {
    let kind = observed.observed.kind;
    let mut totals = Totals { sums: Vec::new(), exposures: Vec::new() };
    for unit in &plan.units {
        let (mut sum, mut exposure) = (0.0, 0.0);
        for row in &unit.rows {
            let value = observed.values.get(*row).copied().unwrap_or(f64::NAN);
            let own = match &observed.exposure {
                Some(exposures) => exposures.get(*row).copied().unwrap_or(f64::NAN),
                None => 1.0,
            };
            let whole = value >= 0.0 && value.fract() == 0.0 && value.is_finite();
            let place = || match observed.place.get(*row) {
                Some(place) if !place.is_empty() => place.clone(),
                _ => say!("row {}", row + 1),
            };
            let fault = match kind {
                TraitKind::Count if !whole => Some(text!("whole number of at least 0")),
                TraitKind::Proportion if !(whole && value <= own && own.fract() == 0.0) => {
                    Some(text!("whole number between 0 and its total"))
                }
                TraitKind::Percentage if !(0.0..=100.0).contains(&value) => {
                    Some(text!("percentage between 0 and 100"))
                }
                _ if !value.is_finite() => Some(text!("finite number")),
                _ => None,
            };
            if let Some(kind) = fault {
                return Err(TraitError::Value { value, place: place(), kind });
            }
            if !(own > 0.0 && own.is_finite()) {
                return Err(TraitError::Value { value: own, place: place(), kind: "exposure" });
            }
            sum += value;
            exposure += own;
        }
        totals.sums.push(sum);
        totals.exposures.push(exposure);
    }
    Ok(totals)
}

/// Evidence that needs no model.
pub(super) fn evidence(plan: &Plan, values: &[f64]) -> TraitEvidence {
    let zeros = values.iter().filter(|v| **v == 0.0).count();
    TraitEvidence {
        units: values.len(),
        share_zero: zeros as f64 / values.len().max(1) as f64,
        variance_slope: variance_slope(plan, values),
        dispersion: None,
        dispersion_p: None,
        power: None,
    }
}

/// Whether the variance of treatments clearly falls as their mean rises: by more than the standard error of the slope.
/// Ours, a convention; in errors of proportion, whose slope is 2, that is rarer than one in twenty.
pub(super) fn spread_falls(plan: &Plan, values: &[f64]) -> bool {
    let points = spreads(plan, values);
    let Some(slope) = slope_of(&points) else { return false };
    let n = points.len() as f64;
    let (x, y) = points.iter().fold((0.0, 0.0), |s, p| (s.0 + p.0 / n, s.1 + p.1 / n));
    let across: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    let left: f64 = points.iter().map(|p| (p.1 - y - slope * (p.0 - x)).powi(2)).sum();
    let error = (left / (n - 2.0) / across).sqrt();
    slope < -error
}

fn variance_slope(plan: &Plan, values: &[f64]) -> Option<f64> {
    slope_of(&spreads(plan, values))
}

/// Log mean and log variance of each treatment.
fn spreads(plan: &Plan, values: &[f64]) -> Vec<(f64, f64)> {
    let mut points = Vec::new();
    for cell in 0..plan.cells.len() {
        let own: Vec<f64> = plan
            .units
            .iter()
            .zip(values)
            .filter(|(u, _)| u.cell == cell)
            .map(|(_, v)| *v)
            .collect();
        let n = own.len() as f64;
        let mean = own.iter().sum::<f64>() / n;
        let variance = own.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
        if mean > 0.0 && variance > 0.0 && variance.is_finite() {
            points.push((mean.ln(), variance.ln()));
        }
    }
    points
}

/// Slope of the second on the first; `None` with fewer than three points or all at one place.
fn slope_of(points: &[(f64, f64)]) -> Option<f64> {
    let n = points.len() as f64;
    let (x, y) = points.iter().fold((0.0, 0.0), |s, p| (s.0 + p.0 / n, s.1 + p.1 / n));
    let across: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    let both: f64 = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    (points.len() >= 3 && across > 1e-12).then(|| both / across)
}
