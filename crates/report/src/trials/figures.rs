//! Plots of a trial, each with its table.

use super::content::{TrialPlot, TrialSeries};
use crate::error::ReportError;
use crate::how;
use crate::number::fixed;
use crate::page::{Figure, Head, Table};
use crate::plots::{Label, trial_plot};
use crate::text;

/// A plot as a figure; `place` makes its id and file name unique.
pub fn figure(place: &str, of: &TrialPlot) -> Result<Figure, ReportError> {
    let id = format!("{place}-{}", of.name);
    let svg = trial_plot(Label { id: &id, title: &of.title, description: &of.caption }, of)?;
    Ok(Figure {
        file: format!("{id}.svg"),
        title: of.title.clone(),
        caption: of.caption.clone(),
        how: String::new(),
        svg,
        table: table(of),
    }
    .how(how::trial(&of.name)))
}

/// Most rows of a table beside a plot; the files hold every number.
const ROWS: usize = 60;

fn table(of: &TrialPlot) -> Table {
    let named = of.series.iter().any(|series| !series.name.is_empty());
    // Columns of names along an axis without a title still need one.
    let along = if of.x_title.is_empty() { text::C_POINT.get() } else { &of.x_title };
    let series = named.then_some(text::C_SERIES.get()).map(Head::from);
    let heads = [Head::from(along), Head::from(format!("#{}", of.y_title))];
    let mut table = Table::new(of.title.clone(), series.into_iter().chain(heads));
    let rows = |series: &TrialSeries| {
        series
            .points
            .iter()
            .map(|point| {
                let mut row = vec![point.name.clone(), fixed(point.y, 3)];
                if named {
                    row.insert(0, series.name.clone());
                }
                row
            })
            .collect::<Vec<_>>()
    };
    for row in of.series.iter().flat_map(rows).take(ROWS) {
        table.row(row);
    }
    table
}
