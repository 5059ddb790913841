//! The figures of a region, computed here so that the report only draws.

use super::{Evidences, verdict};
use crate::picture::{CurvePoint, OddsBar, RegionPicture, Surface};
use model::{Exploration, Practice, RegionCurve, Summary};

/// Width of the intensity classes, fraction.
const CLASS_WIDTH: f64 = 0.10;
/// Points of the drawn curve.
const CURVE_POINTS: usize = 61;
/// Largest number of cells of the drawn surface in each direction.
const SURFACE_STEPS: usize = 24;

pub(super) fn draw(
    evidence: &Evidences<'_>,
    explored: &Exploration,
    candidate: Practice,
    level: f64,
) -> RegionPicture {
    let curve = &evidence.fit.curve;
    let objective = evidence.cost.objective();
    let intensities = &explored.grid.intensities;
    let (low, high) = match (intensities.first(), intensities.last()) {
        (Some(&low), Some(&high)) => (low, high),
        _ => (0.0, 0.0),
    };
    // Two intensities show a difference, not a curve.
    let points = if verdict::can_turn(evidence.fit) { CURVE_POINTS } else { 0 };
    let lead =
        if candidate.intensity > 0.0 { candidate.lead_days } else { explored.best_yield.lead_days };
    let along = |value: &dyn Fn(f64, f64) -> f64| -> Vec<CurvePoint> {
        (0..points)
            .map(|k| {
                let intensity = low + (high - low) * k as f64 / (CURVE_POINTS - 1) as f64;
                let values = curve.expected_kg(intensity, lead).map(|kg| value(kg, intensity));
                let summary = Summary::of(values, level);
                CurvePoint {
                    intensity,
                    median: summary.median,
                    low: summary.low,
                    high: summary.high,
                }
            })
            .collect()
    };
    RegionPicture {
        region: evidence.fit.region.clone(),
        best_intensity: candidate.intensity,
        curve_lead_days: evidence.fit.support.as_ref().and_then(|s| s.lead).map(|_| lead),
        yield_curve: along(&|kg, _| kg),
        net_curve: along(&|kg, intensity| objective.net(kg, intensity)),
        classes: evidence.fit.classes.clone(),
        odds: odds(explored, high),
        what_if: None,
        surface: if points > 0 { surface(explored, curve) } else { None },
    }
}

fn odds(explored: &Exploration, high: f64) -> Vec<OddsBar> {
    let bar = |from: f64, to: f64| OddsBar {
        from,
        to,
        p_yield: explored.yield_optima.share_in(from, to),
        p_net: explored.net_optima.share_in(from, to),
    };
    let classes = (high / CLASS_WIDTH - 1e-9).ceil().max(0.0) as usize;
    let mut bars = vec![bar(0.0, 0.0)];
    bars.extend((0..classes).map(|k| {
        let from = k as f64 * CLASS_WIDTH;
        bar(from, (from + CLASS_WIDTH).min(high))
    }));
    bars
}

/// Expected gain over unpruned, thinned to a drawable number of cells.
fn surface(explored: &Exploration, curve: &RegionCurve) -> Option<Surface> {
    let grid = &explored.grid;
    if grid.leads.len() < 2 || grid.intensities.len() < 2 {
        return None;
    }
    let columns = thinned(grid.intensities.len());
    let rows = thinned(grid.leads.len());
    let draws = curve.draws().max(1) as f64;
    let unpruned = curve.expected_kg(0.0, 0.0).sum::<f64>() / draws;
    let width = grid.intensities.len();
    let cells: Vec<usize> = rows
        .iter()
        .flat_map(|row| columns.iter().map(move |column| row * width + column))
        .collect();
    Some(Surface {
        intensities: columns.iter().map(|&k| grid.intensities[k]).collect(),
        leads: rows.iter().map(|&k| grid.leads[k]).collect(),
        gain_kg: cells
            .iter()
            .map(|&cell| if grid.supported[cell] { explored.mean_kg[cell] - unpruned } else { 0.0 })
            .collect(),
        supported: cells.iter().map(|&cell| grid.supported[cell]).collect(),
    })
}

/// Evenly spaced positions, both ends included.
fn thinned(length: usize) -> Vec<usize> {
    let count = length.min(SURFACE_STEPS);
    (0..count).map(|k| k * (length - 1) / (count - 1).max(1)).collect()
}
