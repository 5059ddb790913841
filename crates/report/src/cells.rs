//! What the workbooks share: properties, pages, and rows that are as high as their texts.

use crate::error::ReportError;
use crate::manifest::INPUTS;
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatAlign, Workbook, Worksheet, XlsxError,
};

/// Longest text a cell holds.
pub(crate) const CELL_LIMIT: usize = 32_767;
/// Height of a line, points.
pub(crate) const LINE_HEIGHT: f64 = 15.0;
/// Lines that a row shows at the most; a spreadsheet allows rows of 409 points.
const MOST_LINES: u32 = 27;
/// A4 by the number that spreadsheets give it.
const A4: u8 = 9;

/// A workbook without sheets that carries its title and the fingerprint of the input files.
pub(crate) fn empty(title: &str, inputs: &str) -> Result<Workbook, ReportError> {
    with(&DocProperties::new().set_title(title).set_custom_property(INPUTS, inputs))
}

/// A workbook without sheets that carries its title.
pub(crate) fn titled(title: &str) -> Result<Workbook, ReportError> {
    with(&DocProperties::new().set_title(title))
}

fn with(properties: &DocProperties) -> Result<Workbook, ReportError> {
    let mut book = Workbook::new();
    // A fixed date of creation: the same run gives the same bytes.
    let created = ExcelDateTime::from_ymd(2000, 1, 1)?;
    book.set_properties(&properties.clone().set_creation_datetime(&created));
    Ok(book)
}

/// Prints a sheet across A4, all columns on one page's width.
pub(crate) fn across(sheet: &mut Worksheet) {
    sheet.set_landscape().set_paper_size(A4).set_print_fit_to_pages(1, 0);
}

/// Cells stand at the top of their row, so that a text of several lines covers no neighbour.
pub(crate) fn top() -> Format {
    Format::new().set_align(FormatAlign::Top)
}

/// The pattern of a number with so many decimals.
pub(crate) fn pattern(whole: &str, decimals: usize) -> String {
    if decimals == 0 { whole.to_owned() } else { format!("{whole}.{}", "0".repeat(decimals)) }
}

/// A text cut to what a cell holds.
pub(crate) fn held(text: &str) -> String {
    text.chars().take(CELL_LIMIT).collect()
}

/// Lines that a text takes in a column of so many letters, broken between words.
pub(crate) fn lines(text: &str, width: f64) -> u32 {
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
pub(crate) fn set_height(sheet: &mut Worksheet, row: u32, lines: u32) -> Result<(), XlsxError> {
    if lines > 1 {
        sheet.set_row_height(row, LINE_HEIGHT * f64::from(lines.min(MOST_LINES)))?;
    }
    Ok(())
}
