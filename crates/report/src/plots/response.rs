//! The response curve: band, median, observed class means, present and advised intensity, tested range.

use super::canvas::{Axes, AxesSpec, DrawError, Label, Root, TICK, axes, draw, font, write};
use super::legend::{self, Sample};
use super::marks::{Shape, dashed, hatch, line, marker};
use super::palette::{ADVISED, BAND, CLASSES, CURVE, INK, PAPER, PRESENT};
use super::scale::nice_range;
use crate::error::ReportError;
use crate::text;
use advise::{ClassMean, CurvePoint};
use plotters::prelude::{Circle, Polygon};
use plotters::style::Color;
use plotters::style::text_anchor::{HPos, VPos};

/// A curve to draw; intensities are fractions.
pub struct CurvePlot<'a> {
    /// Title of the vertical axis, with unit.
    pub y_title: &'a str,
    /// Points with band, ascending.
    pub curve: &'a [CurvePoint],
    /// Observed means; empty for the net-return curve.
    pub classes: &'a [ClassMean],
    /// What the legend calls them.
    pub classes_name: &'static str,
    /// Supported intensities.
    pub tested: Option<[f64; 2]>,
    /// A stretch between them in which nothing was tried.
    pub untried: Option<[f64; 2]>,
    /// Mean present intensity.
    pub present: f64,
    /// Advised intensity.
    pub advised: Option<f64>,
}

/// Draws the curve over the tested range and hatches the rest.
pub fn curve_plot(label: Label<'_>, spec: &CurvePlot<'_>) -> Result<String, ReportError> {
    let items = legend_items(spec);
    let top = legend::height(&items);
    let curve: Vec<CurvePoint> = spec.curve.iter().copied().filter(is_finite).collect();
    let classes: Vec<ClassMean> = spec
        .classes
        .iter()
        .copied()
        .filter(|c| c.adjusted_kg.is_finite() && c.mean_intensity.is_finite())
        .collect();
    let x_end = x_end(spec, &curve, &classes);
    let x_start = x_start(x_end, &classes);
    let y = nice_range(
        curve.iter().flat_map(|p| [p.low, p.high]).chain(classes.iter().map(|c| c.adjusted_kg)),
    );
    let svg = draw(label, 620 + top.unsigned_abs(), |root| {
        let axes = axes(
            root,
            &AxesSpec {
                x_title: text::AXIS_INTENSITY.get(),
                y_title: spec.y_title,
                x: (x_start, x_end),
                y,
                top,
                left: 136,
                x_numbers: true,
                y_numbers: true,
            },
        )?;
        untested(root, &axes, spec.tested, x_end)?;
        band(root, &axes, &curve)?;
        if let Some(ends) = spec.untried {
            let [from, to] = ends.map(|end| axes.at((100.0 * end).clamp(0.0, x_end), 0.0).0);
            let (_, top, _, bottom) = axes.frame();
            hatch(root, (from + 2, top), (to, bottom - 2))?;
        }
        practice(root, &axes, spec)?;
        means(root, &axes, &classes)?;
        legend::draw(root, &items)
    })?;
    // A white rim keeps the counts legible over lines, band and hatching.
    let rim = "<text paint-order=\"stroke\" stroke=\"#FFFFFF\" stroke-width=\"7\" ";
    Ok(svg.replace("<text ", rim))
}

fn is_finite(p: &CurvePoint) -> bool {
    [p.intensity, p.median, p.low, p.high].iter().all(|v| v.is_finite())
}

fn legend_items(spec: &CurvePlot<'_>) -> Vec<(Sample, &'static str)> {
    let mut items = Vec::new();
    if !spec.curve.is_empty() {
        items.extend([
            (Sample::Line(CURVE), text::L_MEDIAN.get()),
            (Sample::Band, text::L_BAND.get()),
        ]);
    }
    if !spec.classes.is_empty() {
        items.push((Sample::Marker(Shape::Ring, CLASSES), spec.classes_name));
    }
    items.push((Sample::DashedMarker(Shape::Diamond, PRESENT), text::L_PRESENT.get()));
    if spec.advised.is_some() {
        items.push((Sample::LineMarker(Shape::Triangle, ADVISED), text::L_ADVISED.get()));
    }
    items.push((Sample::Hatch, text::L_UNTESTED.get()));
    items
}

/// End of the horizontal axis in per cent: a round number beyond everything shown.
fn x_end(spec: &CurvePlot<'_>, curve: &[CurvePoint], classes: &[ClassMean]) -> f64 {
    let far = curve
        .iter()
        .map(|p| p.intensity)
        .chain(classes.iter().map(|c| c.mean_intensity))
        .chain(spec.tested.map(|t| t[1]))
        .chain(spec.advised)
        .chain([spec.present, 0.1])
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max);
    ((far * 10.0 + 1e-9).floor() * 10.0 + 10.0).min(100.0)
}

/// Share of the horizontal axis that the widest ring reaches to its left.
const RING: f64 = 0.035;

/// Start of the horizontal axis in per cent: before 0 where a ring stands so near to it that it would cover the
/// numbers beside the axis.
fn x_start(x_end: f64, classes: &[ClassMean]) -> f64 {
    let least = classes.iter().map(|class| 100.0 * class.mean_intensity).fold(x_end, f64::min);
    (least - RING * x_end).min(0.0)
}

fn untested(
    root: &Root<'_>,
    axes: &Axes<'_>,
    tested: Option<[f64; 2]>,
    x_end: f64,
) -> Result<(), DrawError> {
    let (_, top, right, bottom) = axes.frame();
    let left = axes.at(0.0, 0.0).0;
    let Some([low, high]) = tested else {
        return hatch(root, (left + 2, top), (right, bottom - 2));
    };
    let from = axes.at((100.0 * low).clamp(0.0, x_end), 0.0).0;
    let to = axes.at((100.0 * high).clamp(0.0, x_end), 0.0).0;
    if from > left + 2 {
        hatch(root, (left + 2, top), (from, bottom - 2))?;
    }
    if to < right {
        hatch(root, (to, top), (right, bottom - 2))?;
    }
    Ok(())
}

fn band(root: &Root<'_>, axes: &Axes<'_>, curve: &[CurvePoint]) -> Result<(), DrawError> {
    if curve.len() < 2 {
        return Ok(());
    }
    let upper = curve.iter().map(|p| axes.at(100.0 * p.intensity, p.high));
    let lower = curve.iter().rev().map(|p| axes.at(100.0 * p.intensity, p.low));
    root.draw(&Polygon::new(upper.chain(lower).collect::<Vec<_>>(), BAND.filled()))?;
    let median = curve.iter().map(|p| axes.at(100.0 * p.intensity, p.median)).collect();
    line(root, median, CURVE, 6)
}

/// Vertical lines at the present and the advised intensity, with markers on the axis.
fn practice(root: &Root<'_>, axes: &Axes<'_>, spec: &CurvePlot<'_>) -> Result<(), DrawError> {
    let (_, top, _, bottom) = axes.frame();
    if spec.present.is_finite() {
        let x = axes.at(100.0 * spec.present, 0.0).0;
        dashed(root, vec![(x, bottom), (x, top)], PRESENT, 4)?;
        marker(root, Shape::Diamond, (x, bottom - 16), 13, PRESENT)?;
    }
    if let Some(advised) = spec.advised.filter(|v| v.is_finite()) {
        let x = axes.at(100.0 * advised, 0.0).0;
        line(root, vec![(x, bottom), (x, top)], ADVISED, 4)?;
        marker(root, Shape::Triangle, (x, bottom - 16), 13, ADVISED)?;
    }
    Ok(())
}

/// Observed means; the area of a ring grows with the trees behind it.
fn means(root: &Root<'_>, axes: &Axes<'_>, classes: &[ClassMean]) -> Result<(), DrawError> {
    let most = classes.iter().map(|c| c.trees).max().unwrap_or(0).max(1);
    let (left, top, right, _) = axes.frame();
    for class in classes {
        let (x, y) = axes.at(100.0 * class.mean_intensity, class.adjusted_kg);
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            reason = "radii between 8 and 22"
        )]
        let radius = 8 + (14.0 * (class.trees as f64 / most as f64).sqrt()) as i32;
        root.draw(&Circle::new((x, y), radius, PAPER.filled()))?;
        root.draw(&Circle::new((x, y), radius, CLASSES.stroke_width(6)))?;
        let below = y - radius - 34 < top;
        let at = if below { y + radius + 22 } else { y - radius - 20 };
        let side = if x - left < 50 {
            HPos::Left
        } else if right - x < 50 {
            HPos::Right
        } else {
            HPos::Center
        };
        write(
            root,
            &crate::number::count(class.trees),
            (x, at),
            &font(TICK, INK),
            (side, VPos::Center),
        )?;
    }
    Ok(())
}
