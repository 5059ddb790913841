//! Plots of an analysis: means with the critical difference, and residuals.

use super::words::{factor_of, factor_words, level_words, plot_words};
use ::words::{capital, say, text};
use report::{TrialPlot, TrialPoint, TrialSeries};
use std::collections::BTreeSet;
use trials::checks::ResidualPoint;
use trials::{Analysis, MeansOfTerm, Observations, Trait, unit_words};

/// A plot without points.
pub fn empty(name: &str, title: String, caption: &str) -> TrialPlot {
    TrialPlot {
        name: name.to_owned(),
        title,
        caption: caption.to_owned(),
        x_title: String::new(),
        y_title: String::new(),
        categories: Vec::new(),
        series: Vec::new(),
        curves: Vec::new(),
        bar: None,
        levels: Vec::new(),
        span: None,
    }
}

/// Name and unit of the trait.
pub fn axis(observed: &Trait) -> String {
    let name = capital(&observed.name);
    if observed.unit.is_empty() { name } else { format!("{name} ({})", observed.unit) }
}

/// Means of a term of one or two parts: the part with most amounts along the axis, the other as
/// series. `None` for other terms.
pub fn means(analysis: &Analysis, of: &MeansOfTerm) -> Option<TrialPlot> {
    if of.means.len() < 2 || of.parts.is_empty() || of.parts.len() > 2 {
        return None;
    }
    let amounts = |part: usize| factor_of(analysis, of, part).and_then(|f| f.amounts.as_ref());
    let levels = |part: usize| {
        let own = of.means.iter().filter_map(|mean| mean.levels.get(part));
        own.collect::<BTreeSet<_>>().len()
    };
    // Amounts lie along the axis, else what has the more levels: series are told apart by a few symbols.
    let along = (0..of.parts.len()).max_by_key(|&part| {
        (amounts(part).map_or(0, |amounts| amounts.values.len()), levels(part))
    })?;
    let across = (of.parts.len() == 2).then(|| 1 - along);
    let mut plot = empty(
        &format!("means-{}", super::tables::slug(&of.term)),
        say!("Means of {}", factor_words(&of.term)),
        text!(
            "Means with the critical difference: two means further apart than the bar differ at 5 %, each pair judged by itself."
        ),
    );
    plot.y_title = axis(&analysis.plan.observed);
    let is_number = amounts(along).is_some();
    let unit = amounts(along)
        .map_or_else(String::new, |amounts| format!(" ({})", unit_words(&amounts.unit)));
    let is_share = amounts(along).is_some_and(|amounts| amounts.unit == "fraction");
    plot.x_title = format!("{}{unit}", capital(&factor_words(&of.parts[along])));
    for mean in &of.means {
        let Some(value) = mean.mean else { continue };
        let level = mean.levels.get(along)?;
        let x = if is_number {
            let scale = if is_share { 100.0 } else { 1.0 };
            level.parse::<f64>().ok()? * scale
        } else {
            let found = plot.categories.iter().position(|name| name == level);
            found.unwrap_or_else(|| {
                plot.categories.push(level.clone());
                plot.categories.len() - 1
            }) as f64
        };
        let name = across.map_or_else(String::new, |part| {
            let factor = factor_of(analysis, of, part);
            let level = mean.levels.get(part).map_or("", String::as_str);
            format!("{} {}", factor_words(&of.parts[part]), level_words(factor, level))
        });
        let point =
            TrialPoint { x, y: value, name: level_words(factor_of(analysis, of, along), level) };
        match plot.series.iter_mut().find(|series| series.name == name) {
            Some(series) => series.points.push(point),
            None => {
                // Categories have no order that a line could follow; two factors are read by it.
                let joined = is_number || across.is_some();
                plot.series.push(TrialSeries { name, points: vec![point], joined });
            }
        }
    }
    for series in &mut plot.series {
        series.points.sort_by(|a, b| a.x.total_cmp(&b.x));
    }
    let kind = of.comparisons.first();
    plot.bar = kind.and_then(|kind| Some((kind.cd5?, say!("CD 5 %"))));
    Some(plot)
}

/// Residuals against fitted values; `observed` names the trees.
pub fn residuals(analysis: &Analysis, observed: &Observations) -> Option<TrialPlot> {
    let residuals = analysis.residuals.as_ref()?;
    let trees = analysis.plan.units_are_trees;
    let seasons = analysis.plan.units.iter().any(|unit| unit.season.is_some());
    let caption = match (trees, seasons) {
        (false, false) => {
            text!("One point per plot; a funnel or a bend would speak against the model.")
        }
        (false, true) => {
            text!(
                "One point per plot and season; a funnel or a bend would speak against the model."
            )
        }
        (true, false) => {
            text!("One point per tree; a funnel or a bend would speak against the model.")
        }
        (true, true) => {
            text!(
                "One point per tree and season; a funnel or a bend would speak against the model."
            )
        }
    };
    let mut plot = empty("residuals", say!("Residuals against fitted values"), caption);
    plot.x_title = say!("Fitted {}", axis(&analysis.plan.observed).to_lowercase());
    plot.y_title = say!("Observed less fitted");
    let points = residuals.units.iter().map(|unit| TrialPoint {
        x: unit.fitted,
        y: unit.residual,
        name: analysis.plan.units.get(unit.unit).map_or_else(String::new, |found| {
            let tree = found.rows.first().and_then(|row| observed.tree.get(*row));
            let plot = match tree.filter(|_| trees) {
                Some(tree) => format!("{}, {tree}", plot_words(&analysis.plan, &found.plot)),
                None => plot_words(&analysis.plan, &found.plot),
            };
            found.season.map_or_else(|| plot.clone(), |s| format!("{plot}, {s}"))
        }),
    });
    plot.series =
        vec![TrialSeries { name: String::new(), points: points.collect(), joined: false }];
    plot.levels = vec![0.0];
    Some(plot)
}

/// Residuals against normal scores.
pub fn normal_plot(points: &[ResidualPoint]) -> Option<TrialPlot> {
    // Plots that fix their own fit tell nothing of the errors.
    if points.iter().filter(|point| point.studentised.is_some()).count() < 3 {
        return None;
    }
    let mut plot = empty(
        "normal-scores",
        say!("Residuals against normal scores"),
        text!("Normal residuals lie along a straight line."),
    );
    plot.x_title = say!("Normal score");
    plot.y_title = say!("Residual");
    let mut found: Vec<TrialPoint> = points
        .iter()
        .filter(|point| point.studentised.is_some())
        .map(|point| TrialPoint {
            x: point.normal_score,
            y: point.residual,
            name: say!("{:.2}", point.normal_score),
        })
        .collect();
    found.sort_by(|a, b| a.x.total_cmp(&b.x));
    plot.series = vec![TrialSeries { name: String::new(), points: found, joined: false }];
    Some(plot)
}

/// Residuals along the columns of the field, a line for each row.
pub fn residual_map(points: &[ResidualPoint], names: &[String]) -> Option<TrialPlot> {
    let mut plot = empty(
        "residuals-in-the-field",
        say!("Residuals where the plots stand"),
        text!(
            "A line for each row of plots. A slope or lines apart show a trend that blocks did not take out."
        ),
    );
    plot.x_title = say!("Plot along the row");
    plot.y_title = say!("Residual");
    for (point, name) in points.iter().zip(names) {
        let position = point.position?;
        let row = say!("row {}", position.row);
        let shown = TrialPoint { x: position.column, y: point.residual, name: name.clone() };
        match plot.series.iter_mut().find(|series| series.name == row) {
            Some(series) => series.points.push(shown),
            None => plot.series.push(TrialSeries { name: row, points: vec![shown], joined: true }),
        }
    }
    plot.series.sort_by(|a, b| a.name.len().cmp(&b.name.len()).then_with(|| a.name.cmp(&b.name)));
    for series in &mut plot.series {
        series.points.sort_by(|a, b| a.x.total_cmp(&b.x));
    }
    plot.levels = vec![0.0];
    (!plot.series.is_empty() && plot.series.len() <= 12).then_some(plot)
}
