//! `workplan.xlsx`: every table of the plan on its own sheet.

use super::{PlanCell, Sheet};
use crate::error::ReportError;
use crate::text;
use crate::trials::empty;
use jiff::civil::Date;
use rust_xlsxwriter::{ExcelDateTime, Format, FormatAlign, Worksheet, XlsxError};

/// Longest text a spreadsheet cell holds.
const CELL_LIMIT: usize = 32_767;
/// Height of a line, points.
const LINE_HEIGHT: f64 = 15.0;
/// Lines that a row shows at the most; a spreadsheet allows rows of 409 points.
const MOST_LINES: u32 = 27;
/// Width of a column of text and of one of numbers, characters.
const WIDTHS: [f64; 2] = [22.0, 12.0];

/// Bytes of `workplan.xlsx`, the cautions on a sheet of their own. Every text is written as text, so
/// nothing in it runs as a formula.
pub(super) fn workbook(
    sheets: &[Sheet],
    cautions: &[String],
    inputs: &str,
) -> Result<Vec<u8>, ReportError> {
    let mut book = empty(text::H_WORK.get(), inputs)?;
    for sheet in sheets {
        fill(book.add_worksheet().set_name(sheet.name)?, sheet)?;
    }
    let last = book.add_worksheet().set_name(text::H_SAFETY.get())?;
    last.set_column_width(0, 110)?;
    last.set_landscape().set_paper_size(9).set_print_fit_to_pages(1, 0);
    let wrap = top().set_text_wrap();
    for (row, caution) in (0_u32..).zip(cautions) {
        last.write_string_with_format(row, 0, caution, &wrap)?;
    }
    Ok(book.save_to_buffer()?)
}

fn fill(target: &mut Worksheet, sheet: &Sheet) -> Result<(), XlsxError> {
    let head = top().set_bold().set_text_wrap();
    let mut widths = Vec::with_capacity(sheet.heads.len());
    let mut height = 1;
    for (column, title) in (0_u16..).zip(&sheet.heads) {
        let text =
            |row: &Vec<PlanCell>| matches!(row.get(usize::from(column)), Some(PlanCell::Text(_)));
        let title = title.replace('_', " ");
        target.write_string_with_format(0, column, &title, &head)?;
        let wide = sheet.rows.iter().any(text);
        let width = if wide { WIDTHS[0] } else { WIDTHS[1] };
        target.set_column_width(column, width)?;
        height = height.max(lines(&title, width));
        widths.push(width);
    }
    set_height(target, 0, height)?;
    target.set_freeze_panes(1, 0)?;
    target.set_landscape().set_paper_size(9).set_repeat_rows(0, 0)?;
    target.set_print_fit_to_pages(1, 0);
    for (row, cells) in (1_u32..).zip(&sheet.rows) {
        for (column, cell) in (0_u16..).zip(cells) {
            write(target, row, column, cell)?;
        }
        let texts = cells.iter().zip(&widths).filter_map(|(cell, width)| match cell {
            PlanCell::Text(text) => Some(lines(text, *width)),
            _ => None,
        });
        set_height(target, row, texts.max().unwrap_or(1))?;
    }
    Ok(())
}

/// Lines that a text takes in a column of so many letters, broken between words.
fn lines(text: &str, width: f64) -> u32 {
    let mut lines = 1;
    let mut used = 0;
    for word in text.split_whitespace() {
        let letters = word.chars().count();
        // Bold letters and capitals are wider than the digits that columns are measured in.
        if used > 0 && 1.1 * (used + 1 + letters) as f64 > width {
            lines += 1;
            used = letters;
        } else {
            used += letters + usize::from(used > 0);
        }
    }
    lines
}

/// Not every program fits the rows to texts of several lines by itself.
fn set_height(target: &mut Worksheet, row: u32, lines: u32) -> Result<(), XlsxError> {
    if lines > 1 {
        target.set_row_height(row, LINE_HEIGHT * f64::from(lines.min(MOST_LINES)))?;
    }
    Ok(())
}

/// Cells stand at the top of their row, so that a text of several lines covers no neighbour.
fn top() -> Format {
    Format::new().set_align(FormatAlign::Top)
}

fn write(target: &mut Worksheet, row: u32, column: u16, cell: &PlanCell) -> Result<(), XlsxError> {
    match cell {
        PlanCell::Empty => {}
        PlanCell::Text(text) => {
            let cell: String = text.chars().take(CELL_LIMIT).collect();
            let wrap = top().set_text_wrap();
            target.write_string_with_format(row, column, cell, &wrap)?;
        }
        PlanCell::Number(value, decimals) => {
            let pattern = match decimals {
                0 => "#,##0".to_owned(),
                n => format!("#,##0.{}", "0".repeat(usize::from(*n))),
            };
            let format = top().set_num_format(pattern);
            target.write_number_with_format(row, column, *value, &format)?;
        }
        PlanCell::Day(day) => write_day(target, row, column, *day)?,
    }
    Ok(())
}

fn write_day(target: &mut Worksheet, row: u32, column: u16, day: Date) -> Result<(), XlsxError> {
    let parts = (u16::try_from(day.year()), u8::try_from(day.month()), u8::try_from(day.day()));
    // Spreadsheet dates begin in 1900; an earlier day is written as text.
    if let (Ok(year @ 1900..), Ok(month), Ok(number)) = parts {
        let date = ExcelDateTime::from_ymd(year, month, number)?;
        let format = top().set_num_format("yyyy-mm-dd");
        target.write_datetime_with_format(row, column, &date, &format)?;
    } else {
        target.write_string(row, column, day.to_string())?;
    }
    Ok(())
}
