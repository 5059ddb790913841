//! The drawing surface: an SVG string with title and description for screen readers.

use super::palette::{GRID, INK, PAPER};
use super::scale::tick_decimals;
use crate::error::ReportError;
use crate::names::printable;
use crate::number::fixed;
use plotters::coord::Shift;
use plotters::coord::ranged1d::{BoldPoints, Ranged};
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::{Cartesian2d, ChartBuilder, Color, DrawingArea, DrawingAreaErrorKind};
use plotters::prelude::{IntoDrawingArea, IntoFont, SVGBackend, TextStyle};
use plotters::style::RGBColor;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Width of every plot in drawing units; the page scales it to 360 to 560 pixels.
pub const WIDTH: u32 = 960;
/// Size of tick labels and legends in drawing units: at least 11 pixels on a screen of 360.
pub const TICK: f64 = 31.0;
/// Size of axis titles in drawing units.
pub const TITLE: f64 = 32.0;

/// What drawing may fail with.
pub type DrawError = DrawingAreaErrorKind<std::io::Error>;
/// The whole surface, in drawing units from the top left.
pub type Root<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// What every plot is called.
#[derive(Debug, Clone, Copy)]
pub struct Label<'a> {
    /// Unique id on the page, letters, digits and hyphens.
    pub id: &'a str,
    /// Short title for screen readers.
    pub title: &'a str,
    /// What the plot shows, for screen readers.
    pub description: &'a str,
}

/// Draws on a fresh surface of the given height and returns the finished SVG.
pub fn draw(
    label: Label<'_>,
    height: u32,
    paint: impl FnOnce(&Root<'_>) -> Result<(), DrawError>,
) -> Result<String, ReportError> {
    let failed =
        |e: DrawError| ReportError::Plot { plot: label.title.to_owned(), reason: e.to_string() };
    let mut svg = String::new();
    {
        let root = SVGBackend::with_string(&mut svg, (WIDTH, height)).into_drawing_area();
        root.fill(&PAPER).map_err(failed)?;
        paint(&root).map_err(failed)?;
        root.present().map_err(failed)?;
    }
    Ok(with_names(&svg, label))
}

/// Adds role, title and description to the opening tag.
fn with_names(svg: &str, label: Label<'_>) -> String {
    let Label { id, title, description } = label;
    let Some((head, rest)) = svg.split_once(">\n") else { return svg.to_owned() };
    format!(
        "{head} role=\"img\" aria-labelledby=\"{id}-t {id}-d\">\n<title id=\"{id}-t\">{}</title>\n\
         <desc id=\"{id}-d\">{}</desc>\n{rest}",
        escape(title),
        escape(description)
    )
}

/// Text as XML character data.
pub fn escape(text: &str) -> String {
    printable(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// Font of the given size in drawing units.
pub fn font(size: f64, color: RGBColor) -> TextStyle<'static> {
    // The SVG backend divides sizes by 1.24 to match other backends' line heights.
    let mut style = TextStyle::from(("sans-serif", size * 1.24).into_font());
    style.color = color.to_backend_color();
    style
}

/// Writes a text with the given anchor.
pub fn write(
    root: &Root<'_>,
    text: &str,
    at: (i32, i32),
    style: &TextStyle<'_>,
    anchor: (HPos, VPos),
) -> Result<(), DrawError> {
    root.draw_text(&printable(text), &style.pos(Pos::new(anchor.0, anchor.1)), at)
}

/// Layout of the axes.
pub struct AxesSpec<'a> {
    /// Title of the horizontal axis, with unit.
    pub x_title: &'a str,
    /// Title of the vertical axis, with unit; empty when rows are named instead.
    pub y_title: &'a str,
    /// Range of the horizontal axis.
    pub x: (f64, f64),
    /// Range of the vertical axis.
    pub y: (f64, f64),
    /// Space kept at the top, drawing units.
    pub top: i32,
    /// Space for labels at the left, drawing units.
    pub left: i32,
    /// Whether the horizontal axis has numbers.
    pub x_numbers: bool,
    /// Whether the vertical axis has numbers and grid lines.
    pub y_numbers: bool,
}

/// Axes drawn on a surface; maps data to drawing units.
pub struct Axes<'a> {
    area: DrawingArea<SVGBackend<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>,
}

impl Axes<'_> {
    /// Position of a data point.
    pub fn at(&self, x: f64, y: f64) -> (i32, i32) {
        self.area.map_coordinate(&(x, y))
    }

    /// Left, top, right and bottom of the plotting area.
    pub fn frame(&self) -> (i32, i32, i32, i32) {
        let (x, y) = self.area.get_pixel_range();
        (x.start, y.start, x.end, y.end)
    }
}

/// Most ticks of the horizontal and of the vertical axis.
const X_TICKS: usize = 8;
const Y_TICKS: usize = 6;

/// Draws axes and returns their mapping.
pub fn axes<'a>(root: &Root<'a>, spec: &AxesSpec<'_>) -> Result<Axes<'a>, DrawError> {
    let mut chart = ChartBuilder::on(root)
        .margin_top(spec.top)
        .margin_left(12)
        .margin_right(34)
        .x_label_area_size(104)
        .y_label_area_size(spec.left)
        .build_cartesian_2d(spec.x.0..spec.x.1, spec.y.0..spec.y.1)?;
    // The ticks that the mesh will draw, so that their labels are written alike.
    let decimals = |(low, high): (f64, f64), most: usize| {
        tick_decimals(&RangedCoordf64::from(low..high).key_points(BoldPoints(most)))
    };
    let (x_decimals, y_decimals) = (decimals(spec.x, X_TICKS), decimals(spec.y, Y_TICKS));
    let x_label = |v: &f64| if spec.x_numbers { fixed(*v, x_decimals) } else { String::new() };
    let y_label = |v: &f64| if spec.y_numbers { fixed(*v, y_decimals) } else { String::new() };
    let mut mesh = chart.configure_mesh();
    mesh.light_line_style(PAPER.mix(0.0))
        .bold_line_style(GRID.stroke_width(2))
        .axis_style(INK.stroke_width(2))
        .label_style(font(TICK, INK))
        .axis_desc_style(font(TITLE, INK))
        .x_desc(spec.x_title)
        .y_desc(spec.y_title)
        .x_labels(if spec.x_numbers { X_TICKS } else { 0 })
        .y_labels(if spec.y_numbers { Y_TICKS } else { 0 })
        .x_label_formatter(&x_label)
        .y_label_formatter(&y_label)
        .set_all_tick_mark_size(8);
    if spec.y_numbers {
        mesh.disable_x_mesh();
    } else {
        mesh.disable_y_mesh();
    }
    mesh.draw()?;
    Ok(Axes { area: chart.plotting_area().clone() })
}
