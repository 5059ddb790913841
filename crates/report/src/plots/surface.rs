//! Gain over unpruned on the intensity x lead grid, untested cells hatched.

use super::canvas::{AxesSpec, DrawError, Label, Root, TICK, axes, draw, font, write};
use super::marks::{hatch, rect};
use super::palette::{INK, PAPER, ramp};
use crate::error::ReportError;
use crate::number::{fixed, signed};
use crate::text;
use advise::Surface;
use plotters::style::text_anchor::{HPos, VPos};

/// One cell: left, right, lower and upper edge in data units, and its gain when supported.
struct Cell {
    row: usize,
    column: usize,
    x: (f64, f64),
    y: (f64, f64),
    gain: Option<f64>,
}

/// Draws the surface; cells are as wide as the grid's spacing.
pub fn surface_plot(label: Label<'_>, surface: &Surface) -> Result<String, ReportError> {
    let percents: Vec<f64> = surface.intensities.iter().map(|v| 100.0 * v).collect();
    let x_edges = edges(&percents);
    let y_edges = edges(&surface.leads);
    let cells = cells(surface, &x_edges, &y_edges);
    let gains: Vec<f64> = cells.iter().filter_map(|c| c.gain).collect();
    let low = gains.iter().copied().fold(f64::INFINITY, f64::min);
    let high = gains.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let share = |gain: f64| if high > low { (gain - low) / (high - low) } else { 0.5 };
    let ends = |e: &[f64]| (e.first().copied().unwrap_or(0.0), e.last().copied().unwrap_or(1.0));
    draw(label, 680, |root| {
        let axes = axes(
            root,
            &AxesSpec {
                x_title: text::AXIS_INTENSITY.get(),
                y_title: text::AXIS_LEAD.get(),
                x: ends(&x_edges),
                y: ends(&y_edges),
                top: 112,
                left: 136,
                x_numbers: true,
                y_numbers: true,
            },
        )?;
        let (left, top, right, bottom) = axes.frame();
        let every = |length: i32, n: usize, need: i32| {
            let size = length / i32::try_from(n.max(1)).unwrap_or(i32::MAX);
            usize::try_from((need + size - 1) / size.max(1)).unwrap_or(1).max(1)
        };
        let every_column = every(right - left, surface.intensities.len(), 118);
        let every_row = every(bottom - top, surface.leads.len(), 52);
        for cell in &cells {
            let corner = axes.at(cell.x.0, cell.y.1);
            let opposite = axes.at(cell.x.1, cell.y.0);
            let Some(gain) = cell.gain else {
                hatch(root, corner, opposite)?;
                continue;
            };
            rect(root, corner, opposite, &ramp(share(gain)).0)?;
        }
        // Numbers are wider than their cells: they go on top of the finished colours.
        let shown = |i: usize, every: usize| i % every == every / 2;
        for cell in &cells {
            let Some(gain) = cell.gain else { continue };
            // The neighbours carry part of the number: without them it would stand on the hatch.
            let carried = |column: usize| {
                cells.iter().any(|c| c.row == cell.row && c.column == column && c.gain.is_some())
            };
            if !carried(cell.column + 1) {
                continue;
            }
            if shown(cell.column, every_column) && shown(cell.row, every_row) {
                let corner = axes.at(cell.x.0, cell.y.1);
                let opposite = axes.at(cell.x.1, cell.y.0);
                let middle = ((corner.0 + opposite.0) / 2, (corner.1 + opposite.1) / 2);
                let style = font(TICK, if ramp(share(gain)).1 { PAPER } else { INK });
                write(root, &signed(gain, 2), middle, &style, (HPos::Center, VPos::Center))?;
            }
        }
        key(root, (low, high))
    })
}

fn cells(surface: &Surface, x_edges: &[f64], y_edges: &[f64]) -> Vec<Cell> {
    let mut out = Vec::new();
    for (row, y) in y_edges.windows(2).enumerate() {
        for (column, x) in x_edges.windows(2).enumerate() {
            if let ([left, right], [below, above]) = (x, y) {
                let at = row * surface.intensities.len() + column;
                let supported = surface.supported.get(at).copied().unwrap_or(false);
                let gain = surface.gain_kg.get(at).copied().filter(|g| supported && g.is_finite());
                out.push(Cell { row, column, x: (*left, *right), y: (*below, *above), gain });
            }
        }
    }
    out
}

/// Edges of cells around ascending centres: half way between neighbours, half a step beyond the ends.
fn edges(centres: &[f64]) -> Vec<f64> {
    let mut out = Vec::with_capacity(centres.len() + 1);
    match centres {
        [] => {}
        [only] => out.extend([only - 0.5, only + 0.5]),
        [first, second, ..] => {
            out.push(first - (second - first) / 2.0);
            out.extend(centres.windows(2).filter_map(|w| match w {
                [a, b] => Some(f64::midpoint(*a, *b)),
                _ => None,
            }));
            if let [.., before, last] = centres {
                out.push(last + (last - before) / 2.0);
            }
        }
    }
    out
}

/// Colour key with its ends, and the hatch.
fn key(root: &Root<'_>, (low, high): (f64, f64)) -> Result<(), DrawError> {
    let style = font(TICK, INK);
    write(root, text::L_CELL.get(), (20, 24), &style, (HPos::Left, VPos::Center))?;
    if low <= high {
        write(root, &fixed(low, 2), (110, 70), &style, (HPos::Right, VPos::Center))?;
        for i in 0..24 {
            let (color, _) = ramp((f64::from(i) + 0.5) / 24.0);
            rect(root, (122 + 12 * i, 56), (134 + 12 * i, 84), &color)?;
        }
        write(root, &fixed(high, 2), (422, 70), &style, (HPos::Left, VPos::Center))?;
    }
    hatch(root, (600, 56), (654, 84))?;
    write(root, text::L_UNTESTED.get(), (666, 70), &style, (HPos::Left, VPos::Center))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edges_lie_between_centres() {
        assert_eq!(edges(&[0.0, 10.0, 30.0]), vec![-5.0, 5.0, 20.0, 40.0]);
        assert_eq!(edges(&[7.0]), vec![6.5, 7.5]);
        assert!(edges(&[]).is_empty());
    }
}
