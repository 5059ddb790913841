//! All regions beside each other: gains with intervals, present and advised intensity.

use super::canvas::{Axes, AxesSpec, DrawError, Label, Root, TICK, TITLE, axes, draw, font, write};
use super::legend::{self, Sample};
use super::marks::{Shape, dashed, line, marker, rect};
use super::palette::{ADVISED, CURVE, GRID, INK, PRESENT, RANGE};
use super::scale::nice_range;
use crate::error::ReportError;
use crate::names::printable;
use crate::text;
use advise::{Interval, Verdict};
use plotters::style::text_anchor::{HPos, VPos};

/// Least space for the names of rows, drawing units.
const NAMES: i32 = 310;
/// Width of a letter of a name, drawing units.
const LETTER: i32 = 17;
/// Letters of a name that are shown whole.
const LETTERS: usize = 22;
/// Height of a region's row.
const ROW: u32 = 72;

/// Gain of one region.
pub struct GainRow<'a> {
    /// Region name.
    pub name: &'a str,
    /// Its verdict, which sets the marker.
    pub verdict: Verdict,
    /// The gain; `None` leaves the row empty.
    pub gain: Option<&'a Interval>,
}

/// Intensities of one region, fractions.
pub struct DumbbellRow<'a> {
    /// Region name.
    pub name: &'a str,
    /// Present mean intensity.
    pub present: f64,
    /// Advised intensity.
    pub advised: Option<f64>,
    /// Supported range.
    pub tested: Option<[f64; 2]>,
}

/// Medians and intervals, one row per region, with the zero line.
pub fn gain_plot(
    label: Label<'_>,
    x_title: &str,
    rows: &[GainRow<'_>],
) -> Result<String, ReportError> {
    let items = [Verdict::Prune, Verdict::Keep, Verdict::Trial]
        .map(|v| (Sample::Marker(verdict_shape(v), CURVE), text::verdict(v)));
    let finite = |i: &Interval| [i.low, i.median, i.high].iter().all(|v| v.is_finite());
    let x =
        nice_range(rows.iter().filter_map(|r| r.gain).flat_map(|i| [i.low, i.high]).chain([0.0]));
    rows_plot(label, x_title, x, rows.iter().map(|r| r.name), &items, |root, axes| {
        let (_, top, _, bottom) = axes.frame();
        let zero = axes.at(0.0, 0.0).0;
        dashed(root, vec![(zero, bottom), (zero, top)], INK, 3)?;
        for (place, row) in (0_u32..).zip(rows) {
            let Some(gain) = row.gain.filter(|g| finite(g)) else { continue };
            let y = axes.at(0.0, f64::from(place) + 0.5).1;
            let [low, median, high] = [gain.low, gain.median, gain.high].map(|v| axes.at(v, 0.0).0);
            whiskers(root, y, low, high)?;
            marker(root, verdict_shape(row.verdict), (median, y), 15, CURVE)?;
        }
        Ok(())
    })
}

/// Share of the horizontal axis that a mark reaches to its left.
const MARK: f64 = 0.035;

/// Present and advised intensity over the tested range, one row per region.
pub fn dumbbell_plot(label: Label<'_>, rows: &[DumbbellRow<'_>]) -> Result<String, ReportError> {
    let items = [
        (Sample::Marker(Shape::Diamond, PRESENT), text::L_PRESENT.get()),
        (Sample::Marker(Shape::Triangle, ADVISED), text::L_ADVISED.get()),
        (Sample::Range, text::L_TESTED.get()),
    ];
    let far = rows
        .iter()
        .flat_map(|r| [Some(r.present), r.advised, r.tested.map(|t| t[1])])
        .flatten()
        .filter(|v| v.is_finite())
        .fold(0.1, f64::max);
    let end = ((far * 10.0 + 0.2).ceil() * 10.0).min(100.0);
    // A mark at nothing removed would cover the end of a region's name.
    let values = rows.iter().flat_map(|r| [Some(r.present), r.advised]).flatten();
    let least = values.map(|v| 100.0 * v).filter(|v| v.is_finite()).fold(end, f64::min);
    let x = ((least - MARK * end).min(0.0), end);
    let names = rows.iter().map(|r| r.name);
    rows_plot(label, text::AXIS_INTENSITY.get(), x, names, &items, |root, axes| {
        for (place, row) in (0_u32..).zip(rows) {
            let y = axes.at(0.0, f64::from(place) + 0.5).1;
            let at = |v: f64| axes.at((100.0 * v).clamp(x.0, x.1), 0.0).0;
            if let Some([low, high]) = row.tested {
                rect(root, (at(low), y - 16), (at(high), y + 16), &RANGE)?;
            }
            let advised = row.advised.filter(|v| v.is_finite());
            if let Some(advised) = advised {
                line(root, vec![(at(row.present), y), (at(advised), y)], INK, 4)?;
            }
            if row.present.is_finite() {
                marker(root, Shape::Diamond, (at(row.present), y), 13, PRESENT)?;
            }
            if let Some(advised) = advised {
                marker(root, Shape::Triangle, (at(advised), y), 14, ADVISED)?;
            } else {
                let right = axes.frame().2;
                let style = font(TICK, INK);
                write(
                    root,
                    text::NO_ADVICE.get(),
                    (right, y),
                    &style,
                    (HPos::Right, VPos::Center),
                )?;
            }
        }
        Ok(())
    })
}

fn verdict_shape(verdict: Verdict) -> Shape {
    match verdict {
        Verdict::Prune => Shape::Triangle,
        Verdict::Keep => Shape::Square,
        Verdict::Trial => Shape::Ring,
    }
}

/// A level line with an upright at each end.
pub(super) fn whiskers(root: &Root<'_>, y: i32, low: i32, high: i32) -> Result<(), DrawError> {
    line(root, vec![(low, y), (high, y)], CURVE, 6)?;
    for end in [low, high] {
        line(root, vec![(end, y - 12), (end, y + 12)], CURVE, 5)?;
    }
    Ok(())
}

/// A plot of named rows, first one on top.
pub(super) fn rows_plot<'n>(
    label: Label<'_>,
    x_title: &str,
    x: (f64, f64),
    names: impl ExactSizeIterator<Item = &'n str> + Clone,
    items: &[(Sample, &str)],
    paint: impl FnOnce(&Root<'_>, &Axes<'_>) -> Result<(), DrawError>,
) -> Result<String, ReportError> {
    let count = u32::try_from(names.len()).unwrap_or(1).max(1);
    let longest = names.clone().map(|name| name.chars().count()).max().unwrap_or(0);
    let letters = i32::try_from(longest.min(LETTERS)).unwrap_or(0);
    let top = legend::height(items);
    let height = top.unsigned_abs() + count * ROW + 104;
    // Below the axis where it fits there, else as far left of it as it needs.
    let title_width = LETTER * i32::try_from(x_title.chars().count()).unwrap_or(0);
    draw(label, height, |root| {
        let axes = axes(
            root,
            &AxesSpec {
                x_title: "",
                y_title: "",
                x,
                y: (f64::from(count), 0.0),
                top,
                left: NAMES.max(30 + LETTER * letters),
                x_numbers: true,
                y_numbers: false,
            },
        )?;
        let (left, _, right, bottom) = axes.frame();
        let (place, anchor) = if title_width > right - left {
            (right, HPos::Right)
        } else {
            (i32::midpoint(left, right), HPos::Center)
        };
        let below = (place, bottom + 80);
        write(root, x_title, below, &font(TITLE, INK), (anchor, VPos::Center))?;
        for (place, name) in (0_u32..).zip(names) {
            let y = axes.at(0.0, f64::from(place) + 0.5).1;
            let under = axes.at(0.0, f64::from(place) + 1.0).1;
            line(root, vec![(0, under), (right, under)], GRID, 2)?;
            let at = (left - 14, y);
            write(root, &short(name), at, &font(TICK, INK), (HPos::Right, VPos::Center))?;
        }
        paint(root, &axes)?;
        legend::draw(root, items)
    })
}

/// A long name by its beginning and end: names of a plantation often differ in their last letters.
fn short(name: &str) -> String {
    const LAST: usize = 6;
    let name = printable(name);
    let letters: Vec<char> = name.chars().collect();
    if letters.len() <= LETTERS {
        return name;
    }
    let first: String = letters.iter().take(LETTERS - LAST - 1).collect();
    let last: String = letters.iter().skip(letters.len() - LAST).collect();
    format!("{}…{}", first.trim_end(), last.trim_start())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The title below the axis keeps the lower parts of its letters.
    #[test]
    fn the_title_stands_whole_on_the_drawing() {
        let label = Label { id: "a", title: "t", description: "d" };
        let svg = gain_plot(label, "gain (kg per tree)", &[]).unwrap();
        let title = svg.split("<text ").find(|text| text.contains("gain (kg")).unwrap();
        let value = |within: &str, name: &str| -> f64 {
            let (_, rest) = within.split_once(&format!(" {name}=\"")).unwrap();
            rest.split_once('"').unwrap().0.parse().unwrap()
        };
        assert!(title.contains("dy=\"0.5ex\""), "{title}");
        // Moved down by half the height of an x (0.55 of the size in DejaVu Sans), and a g hangs
        // 0.24 of it below its line.
        let lowest = value(title, "y") + (0.5 * 0.55 + 0.24) * value(title, "font-size");
        assert!(lowest <= value(&svg, "height"), "{lowest}: {title}");
    }
}
