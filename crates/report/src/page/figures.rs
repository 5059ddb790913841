//! The figures of one region, each with its table.

use super::table::{Figure, Table};
use crate::content::Method;
use crate::error::ReportError;
use crate::how;
use crate::names::plot_file;
use crate::number::{chance, count, fixed, percent, signed};
use crate::plots::{CurvePlot, Label, class_name, curve_plot, odds_plot, surface_plot};
use crate::sentence::days;
use crate::text;
use advise::{ClassMean, CurvePoint, OddsBar, RegionAdvice, RegionPicture, Surface};
use words::{say, text};

/// Most rows of a curve in its table: a reader wants the shape, the files hold every point.
const TABLE_POINTS: usize = 13;

/// Everything that is drawn for a region; empty when nothing is supported.
pub fn figures(
    index: usize,
    region: &RegionAdvice,
    picture: &RegionPicture,
    currency: &str,
    method: &Method,
) -> Result<Vec<Figure>, ReportError> {
    let link = |id, place| how::method(method, id, how::page(place));
    let mut out = Vec::new();
    if !(picture.yield_curve.is_empty() && picture.classes.is_empty()) {
        out.push(response(index, region, picture)?.how(link("surface", "figure.response")));
    }
    // What was not tried has no odds, and one class has nothing to compare with.
    let bars: Vec<OddsBar> =
        picture.odds.iter().copied().filter(|bar| is_tested(bar, region)).collect();
    if bars.len() > 1 {
        out.push(odds(index, region, &bars)?.how(link("optimum", "figure.odds")));
    }
    if let Some(surface) = picture.surface.as_ref().filter(|s| !s.gain_kg.is_empty()) {
        out.push(surface_figure(index, region, surface)?.how(link("surface", "figure.surface")));
    }
    if !picture.net_curve.is_empty() {
        out.push(net(index, region, picture, currency)?.how(link("money", "figure.net")));
    }
    Ok(out)
}

fn is_tested(bar: &OddsBar, region: &RegionAdvice) -> bool {
    let is_within = region.tested_intensity.is_none_or(|[low, high]| {
        if bar.to <= 0.0 { low <= 0.0 } else { bar.to > low && bar.from < high }
    });
    let is_untried = region
        .untried_intensity
        .is_some_and(|[low, high]| bar.from >= low && bar.to <= high && bar.to > 0.0);
    is_within && !is_untried
}

struct Kind {
    slug: &'static str,
    title: &'static str,
    caption: String,
}

fn finish(
    index: usize,
    region: &RegionAdvice,
    kind: Kind,
    table: Table,
    draw: impl FnOnce(Label<'_>) -> Result<String, ReportError>,
) -> Result<Figure, ReportError> {
    let id = format!("r{}-{}", index + 1, kind.slug);
    let title = format!("{}: {}", region.name, kind.title);
    let svg = draw(Label { id: &id, title: &title, description: &kind.caption })?;
    Ok(Figure {
        file: plot_file(index, &region.name, kind.slug),
        title: kind.title.to_owned(),
        caption: kind.caption,
        how: String::new(),
        svg,
        table,
    })
}

fn curve_caption(base: &str, region: &RegionAdvice, lead: Option<f64>) -> String {
    let mut caption = String::new();
    if region.advised.is_none() {
        caption.push_str(text::NOT_ADVICE.get());
        caption.push(' ');
        caption.push_str(text::CURVE_OF_RECORDS.get());
        caption.push(' ');
    }
    caption.push_str(base);
    if let Some(lead) = lead.filter(|l| l.is_finite()) {
        caption.push_str(&text::caption_lead(&days(lead)));
    }
    caption
}

fn plot<'a>(
    region: &RegionAdvice,
    y_title: &'a str,
    curve: &'a [CurvePoint],
    classes: &'a [ClassMean],
) -> CurvePlot<'a> {
    CurvePlot {
        y_title,
        curve,
        classes,
        classes_name: text::L_CLASSES.get(),
        tested: region.tested_intensity,
        untried: region.untried_intensity,
        present: region.present.intensity,
        advised: region.advised.as_ref().map(|a| a.intensity),
    }
}

fn response(
    index: usize,
    region: &RegionAdvice,
    picture: &RegionPicture,
) -> Result<Figure, ReportError> {
    let mut table = curve_table(text::F_CURVE.get(), text::AXIS_YIELD.get(), &picture.yield_curve);
    table.heads.extend(Table::new("", [text!("#Observed mean (kg)"), text!("#Trees")]).heads);
    for row in &mut table.rows {
        row.extend(["".into(), "".into()]);
    }
    for class in &picture.classes {
        table.row([
            say!("{} (observed)", class_name(class.from, class.to)),
            String::new(),
            String::new(),
            String::new(),
            fixed(class.adjusted_kg, 2),
            count(class.trees),
        ]);
    }
    let kind = Kind {
        slug: "response",
        title: text::F_CURVE.get(),
        caption: if picture.yield_curve.is_empty() {
            format!("{} {}", text::NOT_ADVICE.get(), text::CAPTION_MEANS.get())
        } else {
            let base = format!("{} {}", text::CAPTION_CURVE.get(), text::CAPTION_MEANS.get());
            curve_caption(&base, region, picture.curve_lead_days)
        },
    };
    let spec = plot(region, text::AXIS_YIELD.get(), &picture.yield_curve, &picture.classes);
    finish(index, region, kind, table, |label| curve_plot(label, &spec))
}

fn net(
    index: usize,
    region: &RegionAdvice,
    picture: &RegionPicture,
    currency: &str,
) -> Result<Figure, ReportError> {
    let axis = text::axis_net(currency);
    let kind = Kind {
        slug: "net",
        title: text::F_NET.get(),
        caption: curve_caption(text::CAPTION_NET.get(), region, picture.curve_lead_days),
    };
    let table = curve_table(text::F_NET.get(), &axis, &picture.net_curve);
    let spec = plot(region, &axis, &picture.net_curve, &[]);
    finish(index, region, kind, table, |label| curve_plot(label, &spec))
}

fn curve_table(title: &str, unit: &str, curve: &[CurvePoint]) -> Table {
    let mut table = Table::new(
        format!("{title}, {unit}"),
        [
            text::AXIS_INTENSITY.get(),
            text!("#Expected"),
            text!("#Lower limit"),
            text!("#Upper limit"),
        ],
    );
    let step = curve.len().div_ceil(TABLE_POINTS).max(1);
    let last = curve.len().saturating_sub(1);
    for (i, p) in curve.iter().enumerate() {
        if i % step == 0 || i == last {
            table.row([
                percent(p.intensity),
                fixed(p.median, 2),
                fixed(p.low, 2),
                fixed(p.high, 2),
            ]);
        }
    }
    table
}

fn odds(index: usize, region: &RegionAdvice, bars: &[OddsBar]) -> Result<Figure, ReportError> {
    let mut table = Table::new(
        text::AXIS_ODDS.get(),
        [text::AXIS_INTENSITY.get(), text!("#Best for net return"), text!("#Best for yield")],
    );
    for bar in bars {
        table.row([class_name(bar.from, bar.to), chance(bar.p_net), chance(bar.p_yield)]);
    }
    let kind = Kind {
        slug: "odds",
        title: text::F_ODDS.get(),
        caption: text::CAPTION_ODDS.get().to_owned(),
    };
    finish(index, region, kind, table, |label| odds_plot(label, bars))
}

fn surface_figure(
    index: usize,
    region: &RegionAdvice,
    surface: &Surface,
) -> Result<Figure, ReportError> {
    let heads = std::iter::once(text::AXIS_LEAD.get().to_owned())
        .chain(surface.intensities.iter().map(|v| format!("#{}", percent(*v))));
    let mut table = Table::new(
        text!("Gain over unpruned (kg per tree), by days before flush and canopy removed"),
        heads,
    );
    let width = surface.intensities.len();
    for (row, lead) in surface.leads.iter().enumerate() {
        let cells = (0..width).map(|column| {
            let at = row * width + column;
            match (surface.supported.get(at), surface.gain_kg.get(at)) {
                (Some(true), Some(gain)) => signed(*gain, 2),
                _ => text::NOT_TESTED.get().to_owned(),
            }
        });
        table.row(std::iter::once(fixed(*lead, 0)).chain(cells));
    }
    let kind = Kind {
        slug: "surface",
        title: text::F_SURFACE.get(),
        caption: text::CAPTION_SURFACE.get().to_owned(),
    };
    finish(index, region, kind, table, |label| surface_plot(label, surface))
}
