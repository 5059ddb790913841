//! Figures of the review, each with its table.

use super::content::{BlockMap, Intervals, PartsPlot, ReviewFigure, TreeFlag};
use crate::error::ReportError;
use crate::number::{fixed, optional, signed};
use crate::page::{Figure, Table};
use crate::plots::{Label, interval_plot, map_plot, parts_plot};

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
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let mut table = Table::new(format!("{} ({})", of.title, of.axis), &heads);
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
    let heads = [of.row.clone(), format!("#{middle}"), "#".to_owned(), format!("#{realised}")];
    let known = of.rows.iter().any(|row| row.realised.is_some());
    let heads: Vec<&str> =
        heads.iter().map(String::as_str).take(if known { 4 } else { 3 }).collect();
    let mut table = Table::new(format!("{} ({})", of.title, of.axis), &heads);
    if let Some(head) = table.heads.get_mut(2) {
        head.text.clone_from(&of.axis);
    }
    for row in &of.rows {
        let [low, high] = row.limits;
        let limits = crate::number::limits(low, high);
        let mut cells = vec![row.name.clone(), fixed(row.middle, 2), limits];
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
    let (row, column) = (format!("#{row}"), format!("#{column}"));
    let mut table = Table::new(of.title.clone(), &[tree, &row, &column, mark]);
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
        svg,
        table,
    }
}
