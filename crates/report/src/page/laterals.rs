//! A region's shoots and flowers, and the path from pruning to yield.

use super::table::{Figure, Head, Table};
use crate::error::ReportError;
use crate::how::laterals as how;
use crate::laterals::{CountMean, Path, RegionLaterals};
use crate::names::plot_file;
use crate::number::{count, fixed, percent, signed};
use crate::plots::{CurvePlot, Label, class_name, curve_plot};
use crate::sentence::days;
use crate::text::laterals as words;
use advise::{ClassMean, CurvePoint, Interval, RegionAdvice};

/// Most rows of a curve in its table.
const TABLE_POINTS: usize = 13;

/// The section as the template takes it.
pub struct LateralsView {
    /// What the frames rest on, or why nothing is shown.
    pub intro: String,
    /// The finding, empty without one.
    pub finding: String,
    /// What it takes for granted and how sure it is, empty without a finding.
    pub notes: Vec<String>,
    /// Effects by path; without rows when there are none.
    pub effects: Table,
    /// Plots.
    pub figures: Vec<Figure>,
}

/// The section of a region.
///
/// # Errors
/// When a plot cannot be drawn.
pub fn view(
    index: usize,
    region: &RegionAdvice,
    laterals: &RegionLaterals,
) -> Result<LateralsView, ReportError> {
    let mut view = LateralsView {
        intro: intro(laterals),
        finding: String::new(),
        notes: Vec::new(),
        effects: Table::new("", [""; 0]),
        figures: Vec::new(),
    };
    if let Some(why) = &laterals.missing {
        view.intro = words::missing(why);
        return Ok(view);
    }
    view.figures.push(density(index, region, laterals)?.how(how("[].laterals")));
    if !laterals.share.is_empty() {
        view.figures.push(share(index, region, laterals)?.how(how("[].share")));
    }
    match (&laterals.path, &laterals.path_missing) {
        (Some(path), _) => {
            view.finding = finding(region, path);
            view.notes = notes(path);
            view.effects = effects(path);
        }
        (None, Some(why)) => view.notes.push(words::no_path(why)),
        (None, None) => {}
    }
    Ok(view)
}

fn intro(laterals: &RegionLaterals) -> String {
    words::counted(&count(laterals.frames), &count(laterals.trees), &count(laterals.tree_seasons))
}

fn interval(value: &Interval, decimals: usize) -> String {
    format!(
        "{} ({} to {})",
        signed(value.median, decimals),
        signed(value.low, decimals),
        signed(value.high, decimals)
    )
}

/// The finding in words; what crosses zero is not given a direction.
fn finding(region: &RegionAdvice, path: &Path) -> String {
    let clear = |value: &Interval| value.low > 0.0 || value.high < 0.0;
    let (total, part) = (&path.kg.total, &path.kg.indirect);
    let target = if path.intensity < 0.005 {
        "leaving trees unpruned".to_owned()
    } else {
        let lead = path.lead_days.filter(|lead| lead.is_finite());
        let when =
            lead.map_or_else(String::new, |lead| format!(", {} before the flush", days(lead)));
        format!("removing {} of the canopy{when}", percent(path.intensity))
    };
    let chosen =
        if region.advised.as_ref().is_some_and(|a| (a.intensity - path.intensity).abs() < 1e-9) {
            ""
        } else {
            " (the best practice that the records support)"
        };
    let opening = format!(
        "Moving from present practice to {target}{chosen} changes the expected yield by {} kg per tree",
        interval(total, 2)
    );
    let change = percent_change(&path.flowering_ratio);
    let shoots = format!(
        "{} %, interval {} to {} %",
        signed(change.median, 0),
        signed(change.low, 0),
        signed(change.high, 0)
    );
    let more = if path.flowering_ratio.median >= 1.0 { "more" } else { "fewer" };
    let split = if clear(total) && clear(part) && total.median * part.median > 0.0 {
        let word = if total.median > 0.0 { "gained" } else { "lost" };
        format!(
            "About {} of the {} kg {word} run through {more} flowering shoots",
            fixed(part.median.abs(), 2),
            fixed(total.median.abs(), 2)
        )
    } else if clear(part) {
        format!("{} kg run through {more} flowering shoots", interval(part, 2))
    } else {
        format!(
            "What runs through flowering shoots, {} kg, cannot be told from nothing",
            interval(part, 2)
        )
    };
    format!(
        "{opening}. {split} (flowering laterals per m2: {shoots}); {} kg come by everything else: nut set and size, light, loss of bearing wood.",
        interval(&path.kg.direct, 2)
    )
}

fn percent_change(ratio: &Interval) -> Interval {
    let change = |value: f64| 100.0 * (value - 1.0);
    Interval {
        median: change(ratio.median),
        low: change(ratio.low),
        high: change(ratio.high),
        level: ratio.level,
    }
}

fn notes(path: &Path) -> Vec<String> {
    let slope = &path.slope;
    let basis = if slope.within_trees { words::WITHIN } else { words::BETWEEN };
    vec![
        format!("{} {basis}", words::ASSUMPTION),
        match path.undone_at {
            Some(rho) if rho <= 0.0 => words::UNDONE_ALREADY.to_owned(),
            Some(rho) => words::undone(&fixed(rho, 2), &percent(rho)),
            None => words::NEVER_UNDONE.to_owned(),
        },
        words::slope(&count(slope.tree_seasons), &percent(slope.reliability)),
    ]
}

fn effects(path: &Path) -> Table {
    let level = percent(path.kg.total.level);
    let mut table = Table::new(
        words::T_EFFECTS,
        [
            Head::from("Path"),
            Head::from(format!("#kg per tree ({level} interval)")).how(how("[].path.kg")),
            Head::from("#Per cent of present yield").how(how("[].path.per_cent")),
        ],
    );
    for (name, kg, per_cent) in [
        (words::R_INDIRECT, &path.kg.indirect, &path.per_cent.indirect),
        (words::R_DIRECT, &path.kg.direct, &path.per_cent.direct),
        (words::R_TOTAL, &path.kg.total, &path.per_cent.total),
    ] {
        table.row([name.to_owned(), interval(kg, 2), interval(per_cent, 1)]);
    }
    table.cards = true;
    table
}

struct Kind<'a> {
    slug: &'static str,
    title: &'static str,
    caption: &'static str,
    axis: &'static str,
    curve: &'a [CurvePoint],
    classes: Vec<ClassMean>,
    table: Table,
}

fn class(mean: &CountMean, value: f64) -> ClassMean {
    ClassMean {
        from: mean.from,
        to: mean.to,
        mean_intensity: mean.mean_intensity,
        mean_kg: value,
        adjusted_kg: value,
        trees: mean.frames,
        tree_seasons: mean.frames,
    }
}

fn density(
    index: usize,
    region: &RegionAdvice,
    laterals: &RegionLaterals,
) -> Result<Figure, ReportError> {
    let mut table = Table::new(
        words::T_DENSITY,
        [
            crate::text::AXIS_INTENSITY,
            "#Laterals per m2",
            "#Flowering per m2",
            "#Counted per m2",
            "#Frames",
        ],
    );
    let flowering = |k: usize| laterals.flowering.get(k);
    for k in shown(&laterals.laterals) {
        if let Some(p) = laterals.laterals.get(k) {
            table.row([
                percent(p.intensity),
                with_limits(p),
                flowering(k).map_or_else(String::new, with_limits),
                String::new(),
                String::new(),
            ]);
        }
    }
    for mean in &laterals.classes {
        table.row([
            format!("{} (counted)", class_name(mean.from, mean.to)),
            String::new(),
            String::new(),
            fixed(mean.laterals_per_m2, 1),
            count(mean.frames),
        ]);
    }
    let kind = Kind {
        slug: "laterals",
        title: words::F_DENSITY,
        caption: words::CAPTION_DENSITY,
        axis: words::AXIS_DENSITY,
        curve: &laterals.laterals,
        classes: laterals.classes.iter().map(|m| class(m, m.laterals_per_m2)).collect(),
        table,
    };
    finish(index, region, laterals, kind)
}

fn share(
    index: usize,
    region: &RegionAdvice,
    laterals: &RegionLaterals,
) -> Result<Figure, ReportError> {
    let mut table = Table::new(
        words::T_SHARE,
        [crate::text::AXIS_INTENSITY, "#Flowering (%)", "#Counted (%)", "#Frames"],
    );
    let in_percent: Vec<CurvePoint> = laterals
        .share
        .iter()
        .map(|p| CurvePoint {
            intensity: p.intensity,
            median: 100.0 * p.median,
            low: 100.0 * p.low,
            high: 100.0 * p.high,
        })
        .collect();
    for k in shown(&in_percent) {
        if let Some(p) = in_percent.get(k) {
            table.row([percent(p.intensity), with_limits(p), String::new(), String::new()]);
        }
    }
    let counted = || laterals.classes.iter().filter_map(|m| Some((m, 100.0 * m.share?)));
    for (mean, value) in counted() {
        table.row([
            format!("{} (counted)", class_name(mean.from, mean.to)),
            String::new(),
            fixed(value, 1),
            count(mean.frames),
        ]);
    }
    let kind = Kind {
        slug: "flowering-share",
        title: words::F_SHARE,
        caption: words::CAPTION_SHARE,
        axis: words::AXIS_SHARE,
        curve: &in_percent,
        classes: counted().map(|(m, value)| class(m, value)).collect(),
        table,
    };
    finish(index, region, laterals, kind)
}

/// Positions of the points of a curve that its table shows.
fn shown(curve: &[CurvePoint]) -> Vec<usize> {
    let step = curve.len().div_ceil(TABLE_POINTS).max(1);
    let last = curve.len().saturating_sub(1);
    (0..curve.len()).filter(|k| k % step == 0 || *k == last).collect()
}

fn with_limits(point: &CurvePoint) -> String {
    format!("{} ({} to {})", fixed(point.median, 1), fixed(point.low, 1), fixed(point.high, 1))
}

fn finish(
    index: usize,
    region: &RegionAdvice,
    laterals: &RegionLaterals,
    kind: Kind<'_>,
) -> Result<Figure, ReportError> {
    let id = format!("r{}-{}", index + 1, kind.slug);
    let title = format!("{}: {}", region.name, kind.title);
    let mut caption = kind.caption.to_owned();
    if let Some(lead) = laterals.lead_days.filter(|lead| lead.is_finite()) {
        caption.push_str(&crate::text::caption_lead(&days(lead)));
    }
    let spec = CurvePlot {
        y_title: kind.axis,
        curve: kind.curve,
        classes: &kind.classes,
        classes_name: words::L_CLASSES,
        tested: laterals.tested_intensity,
        present: region.present.intensity,
        advised: region.advised.as_ref().map(|a| a.intensity),
    };
    let svg = curve_plot(Label { id: &id, title: &title, description: &caption }, &spec)?;
    Ok(Figure {
        file: plot_file(index, &region.name, kind.slug),
        title: kind.title.to_owned(),
        caption,
        how: String::new(),
        svg,
        table: kind.table,
    })
}
