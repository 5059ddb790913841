//! `workplan.xlsx`: every table of the plan on its own sheet.

use super::{PlanCell, Sheet};
use crate::cells::{across, empty, held, lines, pattern, set_height, top};
use crate::error::ReportError;
use crate::text;
use jiff::civil::Date;
use rust_xlsxwriter::{ExcelDateTime, FormatAlign, Worksheet, XlsxError};
use words::Language;

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
    across(last);
    let wrap = top().set_text_wrap();
    for (row, caution) in (0_u32..).zip(cautions) {
        last.write_string_with_format(row, 0, caution, &wrap)?;
    }
    Ok(book.save_to_buffer()?)
}

fn fill(target: &mut Worksheet, sheet: &Sheet) -> Result<(), XlsxError> {
    let head = top().set_bold().set_text_wrap();
    let mut widths = Vec::with_capacity(sheet.titles.len());
    let mut height = 1;
    for (column, title) in (0_u16..).zip(&sheet.titles) {
        let text = |row: &Vec<PlanCell>| {
            matches!(row.get(usize::from(column)), Some(PlanCell::Text(_) | PlanCell::Word { .. }))
        };
        let wide = sheet.rows.iter().any(text);
        // Over numbers, which stand at the right.
        let head = if wide { head.clone() } else { head.clone().set_align(FormatAlign::Right) };
        target.write_string_with_format(0, column, *title, &head)?;
        let width = if wide { WIDTHS[0] } else { WIDTHS[1] };
        target.set_column_width(column, width)?;
        height = height.max(lines(title, width));
        widths.push(width);
    }
    set_height(target, 0, height)?;
    target.set_freeze_panes(1, 0)?;
    across(target);
    target.set_repeat_rows(0, 0)?;
    for (row, cells) in (1_u32..).zip(&sheet.rows) {
        for (column, cell) in (0_u16..).zip(cells) {
            write(target, row, column, cell)?;
        }
        let texts = cells.iter().zip(&widths).filter_map(|(cell, width)| match cell {
            PlanCell::Text(text) | PlanCell::Word { shown: text, .. } => Some(lines(text, *width)),
            _ => None,
        });
        set_height(target, row, texts.max().unwrap_or(1))?;
    }
    Ok(())
}

fn write(target: &mut Worksheet, row: u32, column: u16, cell: &PlanCell) -> Result<(), XlsxError> {
    match cell {
        PlanCell::Empty => {}
        PlanCell::Text(text) | PlanCell::Word { shown: text, .. } => {
            target.write_string_with_format(row, column, held(text), &top().set_text_wrap())?;
        }
        PlanCell::Number(value, decimals) => {
            let format = top().set_num_format(pattern("#,##0", usize::from(*decimals)));
            target.write_number_with_format(row, column, *value, &format)?;
        }
        PlanCell::Share(value) => {
            let format = top().set_num_format("0 %");
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
        let format = top().set_num_format(day_pattern());
        target.write_datetime_with_format(row, column, &date, &format)?;
    } else {
        target.write_string(row, column, day.to_string())?;
    }
    Ok(())
}

/// Days as the language being spoken writes them in numbers.
fn day_pattern() -> &'static str {
    match words::language() {
        Language::English => "yyyy-mm-dd",
        Language::Portuguese => "dd/mm/yyyy",
    }
}
