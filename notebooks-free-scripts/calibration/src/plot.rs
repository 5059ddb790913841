//! The plot of the study: coverage and regret, one line per cell.

use crate::summary::{Group, Mean, Summary};
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use std::error::Error;
use std::io;
use std::path::Path;

const WIDTH: u32 = 1280;
/// Height of a cell's line, and of titles and axis together.
const LINE: u32 = 20;
const AROUND: u32 = 100;
/// Width of the names of the cells.
const NAMES: u32 = 190;
/// Least coverage and greatest ratio that are drawn; what lies beyond is drawn there.
const LEAST: f64 = 0.4;
const GREATEST: f64 = 3.0;
const BAND: RGBColor = RGBColor(214, 232, 214);
const INK: RGBColor = RGBColor(40, 40, 40);
/// By assignment: distinct in hue and in lightness.
const COLOURS: [(&str, RGBColor); 3] = [
    ("randomised", RGBColor(0, 90, 160)),
    ("routine", RGBColor(200, 110, 0)),
    ("habit", RGBColor(120, 40, 110)),
];

type Panel<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;
type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;
type Drawn = Result<(), Box<dyn Error>>;

/// Writes `calibration.svg`.
pub fn write(summary: &Summary, out: &Path) -> io::Result<()> {
    draw(&summary.cells, &out.join("calibration.svg"))
        .map_err(|error| io::Error::other(error.to_string()))
}

fn draw(cells: &[Group], path: &Path) -> Drawn {
    let height = LINE * cells.len() as u32 + AROUND;
    let root = SVGBackend::new(path, (WIDTH, height)).into_drawing_area();
    root.fill(&WHITE)?;
    let third = (WIDTH - NAMES) / 3;
    let (first, rest) = root.split_horizontally(NAMES + third);
    let (second, last) = rest.split_horizontally(third);
    // Coverage at an edge stands in where the truth of every region lies there.
    let optimum = |cell: &Group| if cell.inside[1].n > 0 { cell.inside[1] } else { cell.edge[1] };
    coverage(&first, NAMES, "95 % interval of net optimum", cells, &optimum)?;
    coverage(&second, 0, "95 % interval of net gain", cells, &|cell| cell.gain[1])?;
    regret(&last, cells)?;
    root.present()?;
    Ok(())
}

/// One dot per cell with two standard errors to either side, over the target band.
fn coverage(
    panel: &Panel<'_>,
    names: u32,
    title: &str,
    cells: &[Group],
    pick: &dyn Fn(&Group) -> Mean,
) -> Drawn {
    let mut chart = chart(panel, names, title, LEAST..1.0, cells)?;
    let bottom = cells.len() as f64 - 0.5;
    chart.draw_series([Rectangle::new([(0.93, bottom), (0.97, -0.5)], BAND.filled())])?;
    mesh(&mut chart, cells, "share that hold the truth (band: target)")?;
    for (line, cell) in cells.iter().enumerate() {
        let Mean { value, error, .. } = pick(cell);
        if value.is_nan() {
            continue;
        }
        let (y, reach) = (line as f64, if error.is_finite() { 2.0 * error } else { 0.0 });
        let ends = [(value - reach).max(LEAST), (value + reach).min(1.0)].map(|x| (x, y));
        chart.draw_series([PathElement::new(ends, colour(cell).stroke_width(2))])?;
        chart.draw_series([Circle::new((value.max(LEAST), y), 5, colour(cell).filled())])?;
    }
    Ok(())
}

/// Regret over that of the better simple rule: what was followed (bar) and the candidate (tick).
fn regret(panel: &Panel<'_>, cells: &[Group]) -> Drawn {
    let mut chart = chart(panel, 0, "Regret over the better simple rule's", 0.0..GREATEST, cells)?;
    mesh(&mut chart, cells, "bar: verdict followed, tick: best practice; target 0.5")?;
    for (line, cell) in cells.iter().enumerate() {
        let y = line as f64;
        let [followed, candidate, class, quadratic, ..] = cell.regret.map(|mean| mean.value);
        let rule = class.min(quadratic);
        let shown = |regret: f64| (regret / rule).clamp(0.0, GREATEST);
        if !(followed / rule).is_nan() {
            let bar = [(0.0, y + 0.3), (shown(followed), y - 0.3)];
            chart.draw_series([Rectangle::new(bar, colour(cell).mix(0.6).filled())])?;
        }
        if !(candidate / rule).is_nan() {
            let tick = [y + 0.42, y - 0.42].map(|y| (shown(candidate), y));
            chart.draw_series([PathElement::new(tick, INK.stroke_width(3))])?;
        }
    }
    let target = [-0.5, cells.len() as f64 - 0.5].map(|y| (0.5, y));
    chart.draw_series([PathElement::new(target, INK.stroke_width(2))])?;
    Ok(())
}

fn colour(cell: &Group) -> RGBColor {
    COLOURS
        .iter()
        .find(|(word, _)| cell.name.split(' ').any(|own| own == *word))
        .map_or(INK, |(_, colour)| *colour)
}

fn chart<'a, 'b>(
    panel: &'a Panel<'b>,
    names: u32,
    title: &str,
    values: std::ops::Range<f64>,
    cells: &[Group],
) -> Result<Chart<'a, 'b>, Box<dyn Error>> {
    Ok(ChartBuilder::on(panel)
        .caption(title, ("sans-serif", 19))
        .margin(8)
        .margin_right(16)
        .x_label_area_size(44)
        .y_label_area_size(names)
        .build_cartesian_2d(values, cells.len() as f64 - 0.5..-0.5)?)
}

/// Values below, names of the cells at their lines.
fn mesh(chart: &mut Chart<'_, '_>, cells: &[Group], unit: &str) -> Drawn {
    let name = |y: &f64| {
        let at = y.round();
        let cell = cells.get(at.max(0.0) as usize);
        cell.filter(|_| (y - at).abs() < 1e-6 && at >= 0.0)
            .map_or_else(String::new, |cell| cell.name.clone())
    };
    chart
        .configure_mesh()
        .disable_y_mesh()
        .max_light_lines(0)
        .x_labels(7)
        .x_desc(unit)
        .y_labels(2 * cells.len())
        .y_label_formatter(&name)
        .label_style(("sans-serif", 15))
        .draw()?;
    Ok(())
}
