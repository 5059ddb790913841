//! Figures of the review, each with its table.

use super::content::{BlockMap, Intervals, PartsPlot, ReviewFigure, TreeFlag};
use crate::error::ReportError;
use crate::how;
use crate::number::{fixed, limits, optional, signed};
use crate::page::{Figure, Table};
use crate::plots::{Label, interval_plot, map_plot, parts_plot};
use crate::text;

/// Draws a figure.
pub fn figure(of: &ReviewFigure) -> Result<Figure, ReportError> {
    match of {
        ReviewFigure::Parts(parts) => of_parts(parts),
        ReviewFigure::Intervals(intervals) => of_intervals(intervals),
        ReviewFigure::Map(map) => of_map(map),
    }
}

fn of_parts(of: &PartsPlot) -> Result<Figure, ReportError> {
    let mut heads = vec![of.group.clone()];
    heads.extend(of.parts.iter().chain([&of.sum]).map(|name| format!("#{name}")));
    let mut table = Table::new(format!("{} ({})", of.title, of.axis), heads);
    for row in &of.rows {
        let mut cells = vec![row.name.clone()];
        cells.extend(row.parts.iter().map(|part| signed(*part, 2)));
        cells.push(signed(row.parts.iter().sum(), 2));
        table.row(cells);
    }
    let id = format!("review-{}", of.name);
    let label = Label { id: &id, title: &of.title, description: &of.caption };
    Ok(named(&of.name, &of.title, &of.caption, parts_plot(label, of)?, table))
}

fn of_intervals(of: &Intervals) -> Result<Figure, ReportError> {
    let [middle, realised] = &of.names;
    let known = of.rows.iter().any(|row| row.realised.is_some());
    let mut heads =
        vec![of.row.clone(), format!("#{middle}"), format!("#{}", text::C_LIMITS.get())];
    heads.extend(known.then(|| format!("#{realised}")));
    let mut table = Table::new(format!("{} ({})", of.title, of.axis), heads);
    for row in &of.rows {
        let [low, high] = row.limits;
        let mut cells = vec![row.name.clone(), fixed(row.middle, 2), limits(low, high)];
        if known {
            cells.push(optional(row.realised, 2));
        }
        table.row(cells);
    }
    let id = format!("review-{}", of.name);
    let label = Label { id: &id, title: &of.title, description: &of.caption };
    Ok(named(&of.name, &of.title, &of.caption, interval_plot(label, of)?, table))
}

fn of_map(of: &BlockMap) -> Result<Figure, ReportError> {
    let [tree, row, column, mark] = &of.heads;
    let heads = [tree.clone(), format!("#{row}"), format!("#{column}"), mark.clone()];
    let mut table = Table::new(of.title.clone(), heads);
    let [_, poor, sudden] = &of.legend;
    for tree in &of.trees {
        let mark = match tree.flag {
            TreeFlag::Plain => continue,
            TreeFlag::Poor => poor,
            TreeFlag::Sudden => sudden,
        };
        let place = [tree.tree.clone(), tree.row.to_string(), tree.column.to_string()];
        table.row(place.into_iter().chain([mark.clone()]));
    }
    let id = format!("review-{}", of.name);
    let label = Label { id: &id, title: &of.title, description: &of.caption };
    Ok(named(&of.name, &of.title, &of.caption, map_plot(label, of)?, table))
}

fn named(name: &str, title: &str, caption: &str, svg: String, table: Table) -> Figure {
    Figure {
        file: format!("{name}.svg"),
        title: title.to_owned(),
        caption: caption.to_owned(),
        how: String::new(),
        svg,
        table,
    }
    .how(how::review(name))
}
