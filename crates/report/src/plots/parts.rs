//! Differences split into parts: bars that stack to both sides of zero, told apart without colour.

use super::canvas::{DrawError, Label, Root};
use super::comparison::rows_plot;
use super::legend::Sample;
use super::marks::{Shape, crossed, dashed, dotted, hatch, line, marker, rect};
use super::palette::{ADVISED, BAND, CURVE, HATCH, INK, PAPER};
use super::scale::nice_range;
use crate::error::ReportError;
use crate::review::PartsPlot;

/// Half the height of a bar, drawing units.
const HALF: i32 = 20;

/// Fill of a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fill {
    /// Dark.
    Dark,
    /// Light.
    Light,
    /// Accent.
    Accent,
    /// Crossing lines.
    Crossed,
    /// Dots.
    Dotted,
    /// Diagonal lines.
    Hatched,
}

const FILLS: [Fill; 6] =
    [Fill::Dark, Fill::Light, Fill::Accent, Fill::Crossed, Fill::Dotted, Fill::Hatched];

/// A bar between two corners, outlined.
pub fn bar(root: &Root<'_>, fill: Fill, a: (i32, i32), b: (i32, i32)) -> Result<(), DrawError> {
    match fill {
        Fill::Dark => rect(root, a, b, &CURVE)?,
        Fill::Light => rect(root, a, b, &BAND)?,
        Fill::Accent => rect(root, a, b, &ADVISED)?,
        Fill::Crossed => crossed(root, a, b)?,
        Fill::Dotted => dotted(root, a, b)?,
        Fill::Hatched => hatch(root, a, b)?,
    }
    let outline = vec![a, (b.0, a.1), b, (a.0, b.1), a];
    line(root, outline, HATCH, 2)
}

/// Parts of each row stacked to the right of zero where they add and to the left where they take away,
/// with a diamond at their sum.
pub fn parts_plot(label: Label<'_>, of: &PartsPlot) -> Result<String, ReportError> {
    let mut items: Vec<(Sample, &str)> = of
        .parts
        .iter()
        .zip(FILLS.iter().cycle())
        .map(|(name, fill)| (Sample::Filled(*fill), name.as_str()))
        .collect();
    items.push((Sample::Marker(Shape::Diamond, INK), &of.sum));
    let side =
        |parts: &[f64], sign: f64| parts.iter().filter(|part| **part * sign > 0.0).sum::<f64>();
    let ends = of.rows.iter().flat_map(|row| [side(&row.parts, 1.0), side(&row.parts, -1.0)]);
    let x = nice_range(ends.chain([0.0]));
    let names = of.rows.iter().map(|row| row.name.as_str());
    rows_plot(label, &of.axis, x, names, &items, |root, axes| {
        let (_, top, _, bottom) = axes.frame();
        for (place, row) in (0_u32..).zip(&of.rows) {
            let y = axes.at(0.0, f64::from(place) + 0.5).1;
            let (mut up, mut down) = (0.0, 0.0);
            for (part, fill) in row.parts.iter().zip(FILLS.iter().cycle()) {
                let from: &mut f64 = if *part > 0.0 { &mut up } else { &mut down };
                let (start, end) = (*from, *from + part);
                *from = end;
                let (left, right) =
                    (axes.at(start.min(end), 0.0).0, axes.at(start.max(end), 0.0).0);
                // Thinner than its own outline it would only blacken its neighbour.
                if right - left > 2 {
                    bar(root, *fill, (left, y - HALF), (right, y + HALF))?;
                }
            }
            let sum = row.parts.iter().sum::<f64>();
            if sum.is_finite() {
                let at = (axes.at(sum, 0.0).0, y);
                marker(root, Shape::Square, at, 17, PAPER)?;
                marker(root, Shape::Diamond, at, 14, INK)?;
            }
        }
        let zero = axes.at(0.0, 0.0).0;
        dashed(root, vec![(zero, bottom), (zero, top)], INK, 3)
    })
}
