//! Plots of coverage and regret by cell.

use crate::summary::{Group, Mean, Summary};
use plotters::prelude::*;
use std::io;
use std::path::Path;

const SIZE: (u32, u32) = (1280, 560);
const BAND: RGBColor = RGBColor(222, 235, 222);
const INK: RGBColor = RGBColor(40, 40, 40);
/// By assignment: distinct in hue and in lightness.
const COLOURS: [(&str, RGBColor); 3] = [
    ("randomised", RGBColor(0, 90, 160)),
    ("routine", RGBColor(200, 110, 0)),
    ("habit", RGBColor(120, 40, 110)),
];

/// Writes `coverage.svg` and `regret.svg`.
pub fn write(summary: &Summary, out: &Path) -> io::Result<()> {
    let cells = &summary.cells;
    coverage(cells, &out.join("coverage.svg")).map_err(failed)?;
    regret(cells, &out.join("regret.svg")).map_err(failed)
}

fn failed(error: Box<dyn std::error::Error>) -> io::Error {
    io::Error::other(error.to_string())
}

fn colour(cell: &Group) -> RGBColor {
    COLOURS
        .iter()
        .find(|(word, _)| cell.name.split(' ').any(|own| own == *word))
        .map_or(INK, |(_, colour)| *colour)
}

/// One dot per cell with two standard errors to either side, over the target band.
fn coverage(cells: &[Group], path: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let root = SVGBackend::new(path, (SIZE.0, 2 * SIZE.1)).into_drawing_area();
    root.fill(&WHITE)?;
    let panels = root.split_evenly((2, 1));
    type Pick = fn(&Group) -> Mean;
    let of_optimum: Pick = |cell| if cell.inside[1].n > 0 { cell.inside[1] } else { cell.edge[1] };
    let of_gain: Pick = |cell| cell.gain[1];
    let titles = [
        "95 % interval of the net optimum: share that hold the truth (at the edge: flat and beyond)",
        "95 % interval of the net gain over present practice: share that hold the truth",
    ];
    for ((panel, title), pick) in panels.iter().zip(titles).zip([of_optimum, of_gain]) {
        let mut chart = ChartBuilder::on(panel)
            .caption(title, ("sans-serif", 20))
            .margin(12)
            .x_label_area_size(150)
            .y_label_area_size(60)
            .build_cartesian_2d(-0.5..cells.len() as f64 - 0.5, 0.5..1.0)?;
        chart.draw_series(std::iter::once(Rectangle::new(
            [(-0.5, 0.93), (cells.len() as f64 - 0.5, 0.97)],
            BAND.filled(),
        )))?;
        mesh(&mut chart, cells, "coverage")?;
        for (x, cell) in cells.iter().enumerate() {
            let Mean { value, error, .. } = pick(cell);
            if !value.is_finite() {
                continue;
            }
            let (x, reach) = (x as f64, if error.is_finite() { 2.0 * error } else { 0.0 });
            let ends = [(x, (value - reach).max(0.5)), (x, (value + reach).min(1.0))];
            chart.draw_series(std::iter::once(PathElement::new(
                ends,
                colour(cell).stroke_width(2),
            )))?;
            chart.draw_series(std::iter::once(Circle::new(
                (x, value.max(0.5)),
                5,
                colour(cell).filled(),
            )))?;
        }
    }
    root.present()?;
    Ok(())
}

/// Regret over that of the better simple rule: what was followed (bar) and the candidate (line).
fn regret(cells: &[Group], path: &Path) -> Result<(), Box<dyn std::error::Error>> {
    const TOP: f64 = 3.0;
    let root = SVGBackend::new(path, SIZE).into_drawing_area();
    root.fill(&WHITE)?;
    let mut chart = ChartBuilder::on(&root)
        .caption(
            "Mean regret over that of the better simple rule (bar: verdict followed; tick: best supported practice; target 0.5)",
            ("sans-serif", 20),
        )
        .margin(12)
        .x_label_area_size(150)
        .y_label_area_size(60)
        .build_cartesian_2d(-0.5..cells.len() as f64 - 0.5, 0.0..TOP)?;
    mesh(&mut chart, cells, "ratio of regrets, cut at 3")?;
    for (x, cell) in cells.iter().enumerate() {
        let x = x as f64;
        let [followed, candidate, class, quadratic, ..] = cell.regret.map(|mean| mean.value);
        let rule = class.min(quadratic);
        let height = (followed / rule).clamp(0.0, TOP);
        chart.draw_series(std::iter::once(Rectangle::new(
            [(x - 0.35, 0.0), (x + 0.35, height)],
            colour(cell).mix(0.6).filled(),
        )))?;
        let tick = (candidate / rule).clamp(0.0, TOP);
        chart.draw_series(std::iter::once(PathElement::new(
            [(x - 0.45, tick), (x + 0.45, tick)],
            INK.stroke_width(3),
        )))?;
    }
    for (height, width) in [(0.5, 2), (1.0, 1)] {
        chart.draw_series(std::iter::once(PathElement::new(
            [(-0.5, height), (cells.len() as f64 - 0.5, height)],
            INK.stroke_width(width),
        )))?;
    }
    root.present()?;
    Ok(())
}

type Chart<'a, 'b> = ChartContext<
    'a,
    SVGBackend<'b>,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;

fn mesh(
    chart: &mut Chart<'_, '_>,
    cells: &[Group],
    unit: &str,
) -> Result<(), Box<dyn std::error::Error>> {
    let name = |x: &f64| {
        let at = x.round();
        cells
            .get(at.max(0.0) as usize)
            .filter(|_| (x - at).abs() < 1e-6 && at >= 0.0)
            .map_or_else(String::new, |cell| cell.name.clone())
    };
    chart
        .configure_mesh()
        .disable_x_mesh()
        .x_labels(cells.len() + 1)
        .x_label_formatter(&name)
        .x_label_style(("sans-serif", 13).into_font().transform(FontTransform::Rotate90))
        .y_desc(unit)
        .draw()?;
    Ok(())
}
