//! A region's shoots and flowers, and the path from pruning to yield.

use super::table::{Figure, Head, Table};
use crate::error::ReportError;
use crate::how::laterals as how;
use crate::laterals::{CountMean, Path, RegionLaterals};
use crate::names::plot_file;
use crate::number::{count, fixed, percent, signed};
use crate::plots::{CurvePlot, Label, class_name, curve_plot};
use crate::sentence::days;
use crate::text::laterals as fixed_words;
use advise::{ClassMean, CurvePoint, Interval, RegionAdvice};
use words::{say, text};

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
        view.intro = fixed_words::missing(why);
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
        (None, Some(why)) => view.notes.push(fixed_words::no_path(why)),
        (None, None) => {}
    }
    Ok(view)
}

fn intro(laterals: &RegionLaterals) -> String {
    fixed_words::counted(
        &count(laterals.frames),
        &count(laterals.trees),
        &count(laterals.tree_seasons),
    )
}

fn interval(value: &Interval, decimals: usize) -> String {
    say!(
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
        say!("leaving trees unpruned")
    } else {
        let lead = path.lead_days.filter(|lead| lead.is_finite());
        let when = lead.map_or_else(String::new, |lead| say!(", {} before the flush", days(lead)));
        say!("removing {} of the canopy{when}", percent(path.intensity))
    };
    let chosen =
        if region.advised.as_ref().is_some_and(|a| (a.intensity - path.intensity).abs() < 1e-9) {
            ""
        } else {
            text!(" (the best practice that the records support)")
        };
    let opening = say!(
        "Moving from present practice to {target}{chosen} changes the expected yield by {} kg per tree",
        interval(total, 2)
    );
    let change = percent_change(&path.flowering_ratio);
    let shoots = say!(
        "{} %, interval {} to {} %",
        signed(change.median, 0),
        signed(change.low, 0),
        signed(change.high, 0)
    );
    let more = if path.flowering_ratio.median >= 1.0 { text!("more") } else { text!("fewer") };
    let split = if clear(total) && clear(part) && total.median * part.median > 0.0 {
        let word = if total.median > 0.0 { text!("gained") } else { text!("lost") };
        say!(
            "About {} of the {} kg {word} run through {more} flowering shoots",
            fixed(part.median.abs(), 2),
            fixed(total.median.abs(), 2)
        )
    } else if clear(part) {
        say!("{} kg run through {more} flowering shoots", interval(part, 2))
    } else {
        say!(
            "What runs through flowering shoots, {} kg, cannot be told from nothing",
            interval(part, 2)
        )
    };
    say!(
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
    let basis =
        if slope.within_trees { fixed_words::WITHIN.get() } else { fixed_words::BETWEEN.get() };
    vec![
        format!("{} {basis}", fixed_words::ASSUMPTION.get()),
        match path.undone_at {
            Some(rho) if rho <= 0.0 => fixed_words::UNDONE_ALREADY.get().to_owned(),
            Some(rho) => fixed_words::undone(&fixed(rho, 2), &percent(rho)),
            None => fixed_words::NEVER_UNDONE.get().to_owned(),
        },
        fixed_words::slope(&count(slope.tree_seasons), &percent(slope.reliability)),
    ]
}

fn effects(path: &Path) -> Table {
    let level = percent(path.kg.total.level);
    let mut table = Table::new(
        fixed_words::T_EFFECTS.get(),
        [
            Head::from(text!("Path")),
            Head::from(say!("#kg per tree ({level} interval)")).how(how("[].path.kg")),
            Head::from(text!("#Per cent of present yield")).how(how("[].path.per_cent")),
        ],
    );
    for (name, kg, per_cent) in [
        (fixed_words::R_INDIRECT.get(), &path.kg.indirect, &path.per_cent.indirect),
        (fixed_words::R_DIRECT.get(), &path.kg.direct, &path.per_cent.direct),
        (fixed_words::R_TOTAL.get(), &path.kg.total, &path.per_cent.total),
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
        fixed_words::T_DENSITY.get(),
        [
            crate::text::AXIS_INTENSITY.get(),
            text!("#Laterals per m2"),
            text!("#Flowering per m2"),
            text!("#Counted per m2"),
            text!("#Frames"),
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
            say!("{} (counted)", class_name(mean.from, mean.to)),
            String::new(),
            String::new(),
            fixed(mean.laterals_per_m2, 1),
            count(mean.frames),
        ]);
    }
    let kind = Kind {
        slug: "laterals",
        title: fixed_words::F_DENSITY.get(),
        caption: fixed_words::CAPTION_DENSITY.get(),
        axis: fixed_words::AXIS_DENSITY.get(),
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
        fixed_words::T_SHARE.get(),
        [
            crate::text::AXIS_INTENSITY.get(),
            text!("#Flowering (%)"),
            text!("#Counted (%)"),
            text!("#Frames"),
        ],
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
            say!("{} (counted)", class_name(mean.from, mean.to)),
            String::new(),
            fixed(value, 1),
            count(mean.frames),
        ]);
    }
    let kind = Kind {
        slug: "flowering-share",
        title: fixed_words::F_SHARE.get(),
        caption: fixed_words::CAPTION_SHARE.get(),
        axis: fixed_words::AXIS_SHARE.get(),
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
    say!("{} ({} to {})", fixed(point.median, 1), fixed(point.low, 1), fixed(point.high, 1))
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
        classes_name: fixed_words::L_CLASSES.get(),
        tested: laterals.tested_intensity,
        untried: None,
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
