//! Means, curves and residuals of a trial.

use super::canvas::{Axes, AxesSpec, DrawError, Label, Root, TICK, axes, draw, font, write};
use super::comparison::rows_plot;
use super::legend::{self, Sample};
use super::marks::{Shape, dashed, line, marker, rect};
use super::palette::{ADVISED, CLASSES, CURVE, GRID, INK, PRESENT, RANGE};
use super::scale::range_around;
use crate::error::ReportError;
use crate::trials::{TrialPlot, TrialPoint, TrialSeries};
use plotters::style::RGBColor;
use plotters::style::text_anchor::{HPos, VPos};

/// Width of a letter of a category's name, drawing units.
const LETTER: usize = 15;
/// Width of the plotting area, drawing units.
const WIDTH: usize = 780;

/// Marks that differ in shape as well as colour.
const MARKS: [(Shape, RGBColor); 6] = [
    (Shape::Square, CURVE),
    (Shape::Triangle, ADVISED),
    (Shape::Ring, CLASSES),
    (Shape::Diamond, PRESENT),
    (Shape::Square, ADVISED),
    (Shape::Triangle, CURVE),
];

fn mark(number: usize) -> (Shape, RGBColor) {
    MARKS.get(number % MARKS.len()).copied().unwrap_or((Shape::Square, CURVE))
}

/// Draws the plot.
pub fn trial_plot(label: Label<'_>, of: &TrialPlot) -> Result<String, ReportError> {
    let mut items: Vec<(Sample, &str)> = Vec::new();
    for (number, series) in of.series.iter().enumerate().filter(|(_, s)| !s.name.is_empty()) {
        let (shape, color) = mark(number);
        let sample = if series.joined {
            Sample::LineMarker(shape, color)
        } else {
            Sample::Marker(shape, color)
        };
        items.push((sample, &series.name));
    }
    for (number, curve) in of.curves.iter().enumerate().filter(|(_, s)| !s.name.is_empty()) {
        items.push((Sample::Line(mark(number).1), &curve.name));
    }
    if let Some((.., name)) = &of.span {
        items.push((Sample::Range, name));
    }
    if let Some((_, name)) = &of.bar {
        items.push((Sample::Line(INK), name));
    }
    let (x, y) = ranges(of);
    if crowded(of) {
        return rows(label, of, y, &items);
    }
    let top = if items.is_empty() { 24 } else { legend::height(&items) };
    draw(label, 620 + top.unsigned_abs(), |root| {
        let axes = axes(
            root,
            &AxesSpec {
                x_title: &of.x_title,
                y_title: &of.y_title,
                x,
                y,
                top,
                left: 136,
                x_numbers: of.categories.is_empty(),
                y_numbers: true,
            },
        )?;
        span(root, &axes, of)?;
        for &level in &of.levels {
            let (left, _, right, _) = axes.frame();
            let at = axes.at(x.0, level).1;
            dashed(root, vec![(left, at), (right, at)], PRESENT, 3)?;
        }
        names(root, &axes, of)?;
        for (number, curve) in of.curves.iter().enumerate() {
            line(root, points(&axes, curve), mark(number).1, 5)?;
        }
        for (number, series) in of.series.iter().enumerate() {
            let (shape, color) = mark(number);
            let points = points(&axes, series);
            if series.joined && points.len() > 1 {
                line(root, points.clone(), color, 4)?;
            }
            for at in points {
                marker(root, shape, at, 10, color)?;
            }
        }
        bar(root, &axes, of, x, y)?;
        if items.is_empty() { Ok(()) } else { legend::draw(root, &items) }
    })
}

/// Whether the names of the categories, in two rows, would run into each other below the axis.
fn crowded(of: &TrialPlot) -> bool {
    let longest = of.categories.iter().map(|name| name.chars().count()).max().unwrap_or(0);
    longest * LETTER * of.categories.len() > 2 * WIDTH
}

/// Categories as rows from top to bottom, values along the horizontal axis.
fn rows(
    label: Label<'_>,
    of: &TrialPlot,
    values: (f64, f64),
    items: &[(Sample, &str)],
) -> Result<String, ReportError> {
    let names = of.categories.iter().map(String::as_str);
    rows_plot(label, &of.y_title, values, names, items, |root, axes| {
        for (number, series) in of.series.iter().enumerate() {
            let (shape, color) = mark(number);
            let finite = |point: &&TrialPoint| point.x.is_finite() && point.y.is_finite();
            for point in series.points.iter().filter(finite) {
                marker(root, shape, axes.at(point.y, point.x + 0.5), 12, color)?;
            }
        }
        let Some((length, _)) = of.bar.as_ref().filter(|(length, _)| length.is_finite()) else {
            return Ok(());
        };
        let y = axes.frame().3 - 14;
        let middle = f64::midpoint(values.0, values.1);
        let [low, high] = [-0.5, 0.5].map(|half| axes.at(middle + half * length, 0.0).0);
        line(root, vec![(low, y), (high, y)], INK, 4)?;
        for x in [low, high] {
            line(root, vec![(x, y - 10), (x, y + 10)], INK, 4)?;
        }
        Ok(())
    })
}

fn ranges(of: &TrialPlot) -> ((f64, f64), (f64, f64)) {
    let all = || of.series.iter().chain(&of.curves).flat_map(|series| &series.points);
    // The bar must fit beside the points.
    let bar = of.bar.as_ref().map_or(0.0, |(length, _)| *length);
    let y = range_around(all().map(|point| point.y).chain(of.levels.iter().copied()), bar);
    if !of.categories.is_empty() {
        return ((-0.6, of.categories.len() as f64 - 0.4), y);
    }
    let (left, right) = all()
        .map(|point| point.x)
        .filter(|x| x.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
    if left > right {
        return ((0.0, 1.0), y);
    }
    let pad = if right > left { 0.08 * (right - left) } else { 0.5 };
    ((left - pad, right + pad), y)
}

fn points(axes: &Axes<'_>, series: &TrialSeries) -> Vec<(i32, i32)> {
    let finite = series.points.iter().filter(|point| point.x.is_finite() && point.y.is_finite());
    finite.map(|point| axes.at(point.x, point.y)).collect()
}

fn span(root: &Root<'_>, axes: &Axes<'_>, of: &TrialPlot) -> Result<(), DrawError> {
    let Some((from, to, _)) = &of.span else { return Ok(()) };
    let (left, top, right, bottom) = axes.frame();
    let clamp = |x: f64| axes.at(x, 0.0).0.clamp(left, right);
    rect(root, (clamp(*from), top), (clamp(*to), bottom), &RANGE)
}

/// Names of categories below the axis, in two rows where they are many.
fn names(root: &Root<'_>, axes: &Axes<'_>, of: &TrialPlot) -> Result<(), DrawError> {
    let (_, top, _, bottom) = axes.frame();
    let longest = of.categories.iter().map(|name| name.chars().count()).max().unwrap_or(0);
    let stagger = longest * of.categories.len() > 40;
    for (number, name) in of.categories.iter().enumerate() {
        let x = axes.at(number as f64, 0.0).0;
        line(root, vec![(x, top), (x, bottom)], GRID, 2)?;
        let row = if stagger && number % 2 == 1 { 50 } else { 22 };
        let name: String = name.chars().take(24).collect();
        write(root, &name, (x, bottom + row), &font(TICK, INK), (HPos::Center, VPos::Center))?;
    }
    Ok(())
}

/// A vertical bar at the right: differences longer than it are told apart.
fn bar(
    root: &Root<'_>,
    axes: &Axes<'_>,
    of: &TrialPlot,
    x: (f64, f64),
    y: (f64, f64),
) -> Result<(), DrawError> {
    let Some((length, _)) = of.bar.as_ref().filter(|(length, _)| length.is_finite()) else {
        return Ok(());
    };
    let right = axes.frame().2 - 18;
    let middle = f64::midpoint(y.0, y.1);
    let low = axes.at(x.1, middle - length / 2.0).1;
    let high = axes.at(x.1, middle + length / 2.0).1;
    line(root, vec![(right, low), (right, high)], INK, 4)?;
    for at in [low, high] {
        line(root, vec![(right - 10, at), (right + 10, at)], INK, 4)?;
    }
    Ok(())
}
