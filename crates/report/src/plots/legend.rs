//! The legend: rows of samples and words above the plotting area.

use super::canvas::{DrawError, Root, TICK, WIDTH, font, write};
use super::marks::{Shape, dashed, hatch, line, marker, rect};
use super::palette::{BAND, INK, RANGE};
use super::parts::{Fill, bar};
use plotters::style::RGBColor;
use plotters::style::text_anchor::{HPos, VPos};

/// What stands before a word of the legend.
#[derive(Debug, Clone, Copy)]
pub enum Sample {
    /// Solid line.
    Line(RGBColor),
    /// Filled band.
    Band,
    /// Filled bar.
    Bar(RGBColor),
    /// Dashed line with a marker.
    DashedMarker(Shape, RGBColor),
    /// Solid line with a marker.
    LineMarker(Shape, RGBColor),
    /// Marker alone.
    Marker(Shape, RGBColor),
    /// Hatching.
    Hatch,
    /// Light bar of a range.
    Range,
    /// Bar of a part.
    Filled(Fill),
}

const ROW: i32 = 44;
const SAMPLE: i32 = 54;

/// Height of the legend in drawing units.
pub fn height(items: &[(Sample, &str)]) -> i32 {
    ROW * place(items).last().map_or(0, |(_, row)| row + 1) + 28
}

/// Left end and row of every item, wrapped at the width of the plot.
fn place(items: &[(Sample, &str)]) -> Vec<(i32, i32)> {
    let (mut x, mut row, mut out) = (20, 0, Vec::new());
    for (_, word) in items {
        // A sans-serif letter is about 0.54 of the font size wide.
        let letters = i32::try_from(word.chars().count()).unwrap_or(0);
        #[expect(clippy::cast_possible_truncation, reason = "font sizes are small")]
        let width = SAMPLE + letters * (0.54 * TICK) as i32 + 44;
        if x + width > WIDTH.cast_signed() && x > 20 {
            (x, row) = (20, row + 1);
        }
        out.push((x, row));
        x += width;
    }
    out
}

/// Draws the legend from the top of the surface down.
pub fn draw(root: &Root<'_>, items: &[(Sample, &str)]) -> Result<(), DrawError> {
    for ((sample, word), (x, row)) in items.iter().zip(place(items)) {
        let y = row * ROW + 26;
        sketch(root, *sample, x, y)?;
        write(root, word, (x + SAMPLE + 10, y), &font(TICK, INK), (HPos::Left, VPos::Center))?;
    }
    Ok(())
}

fn sketch(root: &Root<'_>, sample: Sample, x: i32, y: i32) -> Result<(), DrawError> {
    let (from, to, middle) = ((x, y), (x + SAMPLE, y), (x + SAMPLE / 2, y));
    let (top_left, bottom_right) = ((x, y - 13), (x + SAMPLE, y + 13));
    match sample {
        Sample::Line(color) => line(root, vec![from, to], color, 5),
        Sample::Band => rect(root, top_left, bottom_right, &BAND),
        Sample::Range => rect(root, top_left, bottom_right, &RANGE),
        Sample::Bar(color) => rect(root, top_left, bottom_right, &color),
        Sample::Filled(fill) => bar(root, fill, top_left, bottom_right),
        Sample::Hatch => hatch(root, top_left, bottom_right),
        Sample::Marker(shape, color) => marker(root, shape, middle, 11, color),
        Sample::LineMarker(shape, color) => {
            line(root, vec![from, to], color, 4)?;
            marker(root, shape, middle, 11, color)
        }
        Sample::DashedMarker(shape, color) => {
            dashed(root, vec![from, to], color, 4)?;
            marker(root, shape, middle, 11, color)
        }
    }
}
