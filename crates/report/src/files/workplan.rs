//! The work plan as CSV and as a spreadsheet.

use super::cells::{csv_record, harmless};
use crate::content::Report;
use crate::dictionary::work_plan_fields;
use crate::error::ReportError;
use crate::text;
use advise::{WorkAction, WorkLine};
use jiff::civil::Date;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError};

/// Longest text a spreadsheet cell holds.
const CELL_LIMIT: usize = 32_767;

fn word(action: WorkAction) -> &'static str {
    match action {
        WorkAction::Prune => "prune",
        WorkAction::Keep => "keep",
        WorkAction::Trial => "trial",
        WorkAction::Train => "train",
    }
}

/// `workplan.csv`: header and one record per block; empty cells where there is no value.
pub fn workplan_csv(work: &[WorkLine]) -> String {
    let number =
        |v: Option<f64>| v.filter(|v| v.is_finite()).map_or(String::new(), |v| v.to_string());
    let day = |d: Option<Date>| d.map_or(String::new(), |d| d.to_string());
    let mut out = csv_record(work_plan_fields().iter().map(|f| f.column.to_owned()));
    for line in work {
        out.push_str(&csv_record([
            harmless(&line.region),
            harmless(&line.site),
            harmless(&line.block),
            word(line.action).to_owned(),
            number(line.intensity),
            day(line.from),
            day(line.to),
            line.trees.to_string(),
            number(line.hours),
            number(line.person_days),
            number(line.cost),
        ]));
    }
    out
}

/// Bytes of `workplan.xlsx`: the plan on one sheet, the cautions on another. Every text is written
/// as text, so nothing in it runs as a formula.
///
/// # Errors
/// When the workbook cannot be encoded.
pub fn workplan_xlsx(report: &Report) -> Result<Vec<u8>, ReportError> {
    let mut book = Workbook::new();
    // A fixed date of creation: the same run gives the same bytes.
    book.set_properties(
        &DocProperties::new()
            .set_title(text::H_WORK)
            .set_creation_datetime(&ExcelDateTime::from_ymd(2000, 1, 1)?),
    );
    fill_plan(book.add_worksheet().set_name(text::H_WORK)?, &report.work)?;
    let cautions = book.add_worksheet().set_name(text::H_SAFETY)?;
    cautions.set_column_width(0, 110)?;
    let wrap = Format::new().set_text_wrap();
    for (row, caution) in (0_u32..).zip(text::CAUTIONS) {
        cautions.write_string_with_format(row, 0, caution, &wrap)?;
    }
    Ok(book.save_to_buffer()?)
}

fn fill_plan(sheet: &mut Worksheet, work: &[WorkLine]) -> Result<(), XlsxError> {
    let head = Format::new().set_bold().set_text_wrap();
    let percent = Format::new().set_num_format("0%");
    let day = Format::new().set_num_format("yyyy-mm-dd");
    let one = Format::new().set_num_format("0.0");
    let two = Format::new().set_num_format("#,##0.00");
    for (column, field) in (0_u16..).zip(work_plan_fields()) {
        sheet.write_string_with_format(0, column, field.column, &head)?;
        sheet.set_column_width(column, if column < 3 { 18 } else { 12 })?;
    }
    sheet.set_freeze_panes(1, 3)?;
    sheet.set_landscape().set_paper_size(9).set_repeat_rows(0, 0)?;
    sheet.set_print_fit_to_pages(1, 0);
    for (row, line) in (1_u32..).zip(work) {
        for (column, value) in (0_u16..).zip([&line.region, &line.site, &line.block]) {
            let cell: String = value.chars().take(CELL_LIMIT).collect();
            sheet.write_string(row, column, cell)?;
        }
        sheet.write_string(row, 3, word(line.action))?;
        write_number(sheet, row, 4, line.intensity, &percent)?;
        write_day(sheet, row, 5, line.from, &day)?;
        write_day(sheet, row, 6, line.to, &day)?;
        #[expect(clippy::cast_precision_loss, reason = "a block has far fewer than 2^52 trees")]
        sheet.write_number(row, 7, line.trees as f64)?;
        write_number(sheet, row, 8, line.hours, &one)?;
        write_number(sheet, row, 9, line.person_days, &one)?;
        write_number(sheet, row, 10, line.cost, &two)?;
    }
    Ok(())
}

fn write_number(
    sheet: &mut Worksheet,
    row: u32,
    column: u16,
    value: Option<f64>,
    format: &Format,
) -> Result<(), XlsxError> {
    if let Some(value) = value.filter(|v| v.is_finite()) {
        sheet.write_number_with_format(row, column, value, format)?;
    }
    Ok(())
}

fn write_day(
    sheet: &mut Worksheet,
    row: u32,
    column: u16,
    value: Option<Date>,
    format: &Format,
) -> Result<(), XlsxError> {
    let Some(value) = value else { return Ok(()) };
    let parts =
        (u16::try_from(value.year()), u8::try_from(value.month()), u8::try_from(value.day()));
    // Spreadsheet dates begin in 1900; an earlier day is written as text.
    if let (Ok(year @ 1900..), Ok(month), Ok(day)) = parts {
        let date = ExcelDateTime::from_ymd(year, month, day)?;
        sheet.write_datetime_with_format(row, column, &date, format)?;
    } else {
        sheet.write_string(row, column, value.to_string())?;
    }
    Ok(())
}
