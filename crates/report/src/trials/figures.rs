//! Plots of a trial, each with its table.

use super::content::{TrialPlot, TrialSeries};
use crate::error::ReportError;
use crate::number::fixed;
use crate::page::{Figure, Table};
use crate::plots::{Label, trial_plot};

/// A plot as a figure; `place` makes its id and file name unique.
pub fn figure(place: &str, of: &TrialPlot) -> Result<Figure, ReportError> {
    let id = format!("{place}-{}", of.name);
    let svg = trial_plot(Label { id: &id, title: &of.title, description: &of.caption }, of)?;
    Ok(Figure {
        file: format!("{id}.svg"),
        title: of.title.clone(),
        caption: of.caption.clone(),
        svg,
        table: table(of),
    })
}

/// Most rows of a table beside a plot; the files hold every number.
const ROWS: usize = 60;

fn table(of: &TrialPlot) -> Table {
    let named = of.series.iter().any(|series| !series.name.is_empty());
    let mut heads = vec!["", "#"];
    if named {
        heads.insert(0, "");
    }
    let mut table = Table::new(of.title.clone(), &heads);
    let titles = [of.x_title.as_str(), of.y_title.as_str()];
    let first = heads.len() - 2;
    for (head, title) in table.heads.iter_mut().skip(first).zip(titles) {
        title.clone_into(&mut head.text);
    }
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
