//! Intervals, one row each, with the value each is held against.

use super::canvas::Label;
use super::comparison::{rows_plot, whiskers};
use super::legend::Sample;
use super::marks::{Shape, dashed, marker};
use super::palette::{ADVISED, CURVE, INK};
use super::scale::nice_range;
use crate::error::ReportError;
use crate::review::Intervals;

/// Squares with intervals, and rings at the realised values.
pub fn interval_plot(label: Label<'_>, of: &Intervals) -> Result<String, ReportError> {
    let [middle, realised] = &of.names;
    let mut items = vec![(Sample::Marker(Shape::Square, CURVE), middle.as_str())];
    if of.rows.iter().any(|row| row.realised.is_some()) {
        items.push((Sample::Marker(Shape::Ring, ADVISED), realised.as_str()));
    }
    let ends = of.rows.iter().flat_map(|row| {
        let [low, high] = row.limits;
        [Some(low), Some(high), Some(row.middle), row.realised]
    });
    let x = nice_range(ends.flatten().chain([0.0]));
    let names = of.rows.iter().map(|row| row.name.as_str());
    rows_plot(label, &of.axis, x, names, &items, |root, axes| {
        let (_, top, _, bottom) = axes.frame();
        let zero = axes.at(0.0, 0.0).0;
        dashed(root, vec![(zero, bottom), (zero, top)], INK, 3)?;
        for (place, row) in (0_u32..).zip(&of.rows) {
            let y = axes.at(0.0, f64::from(place) + 0.5).1;
            let [low, high] = row.limits;
            if [low, row.middle, high].iter().all(|value| value.is_finite()) {
                let [low, middle, high] = [low, row.middle, high].map(|v| axes.at(v, 0.0).0);
                whiskers(root, y, low, high)?;
                marker(root, Shape::Square, (middle, y), 12, CURVE)?;
            }
            if let Some(realised) = row.realised.filter(|value| value.is_finite()) {
                marker(root, Shape::Ring, (axes.at(realised, 0.0).0, y), 15, ADVISED)?;
            }
        }
        Ok(())
    })
}
