//! Field sheets and labels as a spreadsheet.

use super::labels::{stands, tree_lines, within};
use super::trials_csv_rows;
use crate::error::ReportError;
use crate::text;
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatBorder, Workbook, Worksheet, XlsxError,
};
use trials::layout::Layout;

/// Labels side by side on a sheet.
const LABELS: u16 = 3;

/// Bytes of `field-sheets.xlsx`: plots, pruning and harvest sheets, labels, the trial table and the
/// cautions. Every text is written as text, so nothing in it runs as a formula.
///
/// # Errors
/// When the workbook cannot be encoded.
pub fn workbook(layout: &Layout) -> Result<Vec<u8>, ReportError> {
    let mut book = Workbook::new();
    book.set_properties(
        &DocProperties::new()
            .set_title(format!("Field sheets of {}", layout.trial))
            // A fixed date of creation: the same layout gives the same bytes.
            .set_creation_datetime(&ExcelDateTime::from_ymd(2000, 1, 1)?),
    );
    plots(book.add_worksheet().set_name("Plots")?, layout)?;
    let pruning = [
        "tree",
        "where",
        "plot",
        "treatment",
        "observed",
        "date",
        "intensity",
        "measured_as",
        "minutes",
        "remarks",
    ];
    trees(book.add_worksheet().set_name("Pruning")?, layout, &pruning, true)?;
    let harvest = [
        "tree",
        "where",
        "plot",
        "treatment",
        "observed",
        "date",
        "nut_kg",
        "moisture_pct",
        "nut_count",
        "remarks",
    ];
    trees(book.add_worksheet().set_name("Harvest")?, layout, &harvest, false)?;
    labels(book.add_worksheet().set_name("Labels")?, layout)?;
    table(book.add_worksheet().set_name("trials")?, layout)?;
    let cautions = book.add_worksheet().set_name(text::H_SAFETY.get())?;
    cautions.set_column_width(0, 110)?;
    let wrap = Format::new().set_text_wrap();
    for (row, caution) in (0_u32..).zip(text::CAUTIONS) {
        cautions.write_string_with_format(row, 0, caution, &wrap)?;
    }
    Ok(book.save_to_buffer()?)
}

fn head(sheet: &mut Worksheet, names: &[&str], frozen: u16) -> Result<(), XlsxError> {
    let bold = Format::new().set_bold().set_text_wrap().set_border_bottom(FormatBorder::Medium);
    for (column, name) in (0_u16..).zip(names) {
        sheet.write_string_with_format(0, column, *name, &bold)?;
        sheet.set_column_width(column, if column < 2 { 18 } else { 13 })?;
    }
    sheet.set_freeze_panes(1, frozen)?;
    sheet.set_landscape().set_paper_size(9).set_repeat_rows(0, 0)?;
    sheet.set_print_fit_to_pages(1, 0);
    Ok(())
}

fn plots(sheet: &mut Worksheet, layout: &Layout) -> Result<(), XlsxError> {
    let mut names = vec!["plot", "within", "code", "treatment", "trees"];
    names.extend(layout.factors.iter().map(|factor| factor.name.as_str()));
    head(sheet, &names, 1)?;
    for (row, plot) in (1_u32..).zip(&layout.plots) {
        let (code, treatment) = super::treatment_of(layout, plot.treatment);
        let ids: Vec<&str> = plot.trees.iter().map(|tree| tree.tree.as_str()).collect();
        for (column, cell) in
            (0_u16..).zip([plot.plot.as_str(), &within(plot), &code, &treatment, &ids.join(" ")])
        {
            sheet.write_string(row, column, cell)?;
        }
        let levels = layout.treatments.get(plot.treatment).map_or(&[][..], |found| &found.levels);
        for (column, level) in (5_u16..).zip(levels) {
            sheet.write_string(row, column, level.as_deref().unwrap_or("none"))?;
        }
    }
    Ok(())
}

/// One line per tree, to be filled by hand.
fn trees(
    sheet: &mut Worksheet,
    layout: &Layout,
    names: &[&str],
    border: bool,
) -> Result<(), XlsxError> {
    head(sheet, names, 1)?;
    let empty = Format::new().set_border_bottom(FormatBorder::Thin);
    let lines = tree_lines(layout).into_iter().filter(|line| line.observed || border);
    for (row, line) in (1_u32..).zip(lines) {
        let treatment = format!("{}: {}", line.code, line.treatment);
        let observed = if line.observed { "yes" } else { "no" };
        let cells =
            [line.tree.tree.as_str(), &stands(line.tree), &line.plot.plot, &treatment, observed];
        for (column, cell) in (0_u16..).zip(cells) {
            sheet.write_string_with_format(row, column, cell, &empty)?;
        }
        for (column, _) in (0_u16..).zip(names).skip(5) {
            sheet.write_blank(row, column, &empty)?;
        }
        sheet.set_row_height(row, 22)?;
    }
    Ok(())
}

/// Labels to cut out, one per plot.
fn labels(sheet: &mut Worksheet, layout: &Layout) -> Result<(), XlsxError> {
    let box_format = Format::new()
        .set_border(FormatBorder::Thin)
        .set_text_wrap()
        .set_font_size(12)
        .set_align(rust_xlsxwriter::FormatAlign::Center)
        .set_align(rust_xlsxwriter::FormatAlign::VerticalCenter);
    for column in 0..LABELS {
        sheet.set_column_width(column, 30)?;
    }
    sheet.set_paper_size(9);
    sheet.set_print_fit_to_pages(1, 0);
    for (number, plot) in layout.plots.iter().enumerate() {
        let (code, treatment) = super::treatment_of(layout, plot.treatment);
        let text =
            format!("{}\nPlot {}\n{code}: {treatment}\n{}", layout.trial, plot.plot, within(plot));
        let (row, column) = (number / usize::from(LABELS), number % usize::from(LABELS));
        let (row, column) =
            (u32::try_from(row).unwrap_or(u32::MAX), u16::try_from(column).unwrap_or(0));
        sheet.set_row_height(row, 96)?;
        sheet.write_string_with_format(row, column, text, &box_format)?;
    }
    Ok(())
}

/// The trial table, as in `trials.csv`.
fn table(sheet: &mut Worksheet, layout: &Layout) -> Result<(), XlsxError> {
    let (columns, rows) = trials_csv_rows(layout);
    let names: Vec<&str> = columns.iter().map(String::as_str).collect();
    head(sheet, &names, 2)?;
    for (row, cells) in (1_u32..).zip(&rows) {
        for (column, cell) in (0_u16..).zip(cells) {
            sheet.write_string(row, column, cell)?;
        }
    }
    Ok(())
}
