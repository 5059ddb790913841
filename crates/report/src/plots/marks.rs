//! Shapes in drawing units: lines, hatching and the markers that tell series apart without colour.

use super::canvas::{DrawError, Root};
use super::palette::{HATCH, INK, PAPER, PRESENT, RANGE};
use plotters::element::DashedPathElement;
use plotters::prelude::{Circle, PathElement, Polygon, Rectangle};
use plotters::style::{Color, RGBColor};

/// Marker shapes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Filled triangle.
    Triangle,
    /// Filled square.
    Square,
    /// Ring.
    Ring,
    /// Diamond with a white centre.
    Diamond,
    /// Filled circle.
    Dot,
}

/// A straight or broken line.
pub fn line(
    root: &Root<'_>,
    points: Vec<(i32, i32)>,
    color: RGBColor,
    width: u32,
) -> Result<(), DrawError> {
    root.draw(&PathElement::new(points, color.stroke_width(width)))
}

/// A dashed line.
pub fn dashed(
    root: &Root<'_>,
    points: Vec<(i32, i32)>,
    color: RGBColor,
    width: u32,
) -> Result<(), DrawError> {
    root.draw(&DashedPathElement::new(points, 14, 10, color.stroke_width(width)))
}

/// A filled rectangle between two corners.
pub fn rect(
    root: &Root<'_>,
    a: (i32, i32),
    b: (i32, i32),
    color: &impl Color,
) -> Result<(), DrawError> {
    root.draw(&Rectangle::new([a, b], color.filled()))
}

/// Crossing upright and level lines over the rectangle from top left to bottom right.
pub fn crossed(
    root: &Root<'_>,
    (x0, y0): (i32, i32),
    (x1, y1): (i32, i32),
) -> Result<(), DrawError> {
    const GAP: usize = 10;
    rect(root, (x0, y0), (x1, y1), &PAPER)?;
    for x in (x0..x1).step_by(GAP) {
        line(root, vec![(x, y0), (x, y1)], PRESENT, 2)?;
    }
    for y in (y0..y1).step_by(GAP) {
        line(root, vec![(x0, y), (x1, y)], PRESENT, 2)?;
    }
    Ok(())
}

/// Dots over the rectangle from top left to bottom right.
pub fn dotted(
    root: &Root<'_>,
    (x0, y0): (i32, i32),
    (x1, y1): (i32, i32),
) -> Result<(), DrawError> {
    const GAP: usize = 12;
    rect(root, (x0, y0), (x1, y1), &RANGE)?;
    for x in (x0 + 6..x1).step_by(GAP) {
        for y in (y0 + 6..y1).step_by(GAP) {
            root.draw(&Circle::new((x, y), 2, INK.filled()))?;
        }
    }
    Ok(())
}

/// Diagonal lines over the rectangle from top left to bottom right.
pub fn hatch(root: &Root<'_>, (x0, y0): (i32, i32), (x1, y1): (i32, i32)) -> Result<(), DrawError> {
    const GAP: i32 = 16;
    rect(root, (x0, y0), (x1, y1), &PAPER)?;
    // Lines x + y = c, on a common lattice so that neighbouring cells join up.
    let mut c = (x0 + y0).div_euclid(GAP) * GAP + GAP;
    while c < x1 + y1 {
        let from = ((c - y1).max(x0), (c - x0).min(y1));
        let to = ((c - y0).min(x1), (c - x1).max(y0));
        line(root, vec![from, to], HATCH, 2)?;
        c += GAP;
    }
    Ok(())
}

/// A marker centred at a point.
pub fn marker(
    root: &Root<'_>,
    shape: Shape,
    (x, y): (i32, i32),
    r: i32,
    color: RGBColor,
) -> Result<(), DrawError> {
    let fill = color.filled();
    match shape {
        Shape::Triangle => {
            root.draw(&Polygon::new([(x - r, y + r), (x, y - r), (x + r, y + r)], fill))
        }
        Shape::Square => root.draw(&Rectangle::new([(x - r, y - r), (x + r, y + r)], fill)),
        Shape::Dot => root.draw(&Circle::new((x, y), r, fill)),
        Shape::Ring => {
            root.draw(&Circle::new((x, y), r, PAPER.filled()))?;
            root.draw(&Circle::new((x, y), r, color.stroke_width(5)))
        }
        Shape::Diamond => {
            let diamond = |r: i32| [(x, y - r), (x + r, y), (x, y + r), (x - r, y)];
            root.draw(&Polygon::new(diamond(r + 3), fill))?;
            root.draw(&Polygon::new(diamond(r - 4), PAPER.filled()))
        }
    }
}
