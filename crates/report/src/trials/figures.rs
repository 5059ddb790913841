//! Plots of a trial, each with its table.

use super::content::{TrialPlot, TrialSeries};
use crate::error::ReportError;
use crate::how;
use crate::number::{fixed, unbroken};
use crate::page::{Figure, Head, Table};
use crate::plots::{Label, trial_plot};
use crate::text;
use words::say;

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

/// Most rows of a table beside a plot: a page of thousands of points is slow to open.
const ROWS: usize = 1000;

fn table(of: &TrialPlot) -> Table {
    let named = of.series.iter().any(|series| !series.name.is_empty());
    // Residuals are named by their plots, and the axis beside them is a number of its own; elsewhere
    // the names are what the axis shows. Names along an axis without a title still need one.
    let of_plots = of.name.starts_with("residuals");
    let along = if of_plots || of.x_title.is_empty() { text::C_POINT.get() } else { &of.x_title };
    let series = named.then_some(text::C_SERIES.get()).map(Head::from);
    let across = of_plots.then(|| Head::from(format!("#{}", of.x_title)));
    let heads = std::iter::once(Head::from(along))
        .chain(across)
        .chain([Head::from(format!("#{}", of.y_title))]);
    let points: usize = of.series.iter().map(|series| series.points.len()).sum();
    let caption = if points > ROWS {
        let (shown, all) = (ROWS, points);
        format!("{} ({})", of.title, say!("{shown} of {all} rows"))
    } else {
        of.title.clone()
    };
    let mut table = Table::new(caption, series.into_iter().chain(heads));
    let rows = |series: &TrialSeries| {
        series
            .points
            .iter()
            .map(|point| {
                let mut row = vec![unbroken(&point.name), fixed(point.y, 3)];
                if of_plots {
                    row.insert(1, fixed(point.x, 2));
                }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trials::content::TrialPoint;

    fn plotted(points: usize) -> Table {
        let point =
            |nth: usize| TrialPoint { x: nth as f64, y: 0.5 * nth as f64, name: format!("P{nth}") };
        let of = |from: usize, to: usize| TrialSeries {
            name: String::new(),
            points: (from..to).map(point).collect(),
            joined: false,
        };
        let plot = TrialPlot {
            name: "residuals".to_owned(),
            title: "Residuals".to_owned(),
            caption: String::new(),
            x_title: "Fitted".to_owned(),
            y_title: "Residual".to_owned(),
            categories: Vec::new(),
            series: vec![of(0, points / 2), of(points / 2, points)],
            curves: Vec::new(),
            bar: None,
            levels: Vec::new(),
            span: None,
        };
        table(&plot)
    }

    #[test]
    fn a_long_table_beside_a_plot_is_cut_short_and_says_so() {
        let whole = plotted(ROWS);
        assert_eq!((whole.rows.len(), whole.caption.as_str()), (ROWS, "Residuals"));
        let cut = plotted(ROWS + 2);
        assert_eq!(cut.rows.len(), ROWS);
        assert_eq!(cut.caption, "Residuals (1000 of 1002 rows)");
    }
}
