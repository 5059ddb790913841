//! Spreadsheets as offices keep them: a merged title above the header, days as serial numbers.

use super::sheet::{Cell, Sheet};
use jiff::civil::{Date, date};
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, XlsxError};

/// Name of the only sheet.
pub(crate) const SHEET_NAME: &str = "Visits";

/// The bytes of a workbook with one sheet.
pub(crate) fn bytes(sheet: &Sheet) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = Workbook::new();
    // The day of making is part of the file: a fixed one keeps the bytes the same.
    let made = ExcelDateTime::from_ymd(2026, 6, 30)?;
    workbook.set_properties(&DocProperties::new().set_creation_datetime(&made));
    let page = workbook.add_worksheet();
    page.set_name(SHEET_NAME)?;
    let last_column = u16::try_from(sheet.header.len().saturating_sub(1)).unwrap_or(1).max(1);
    page.merge_range(0, 0, 0, last_column, &sheet.title, &Format::new().set_bold())?;
    for (column, name) in (0_u16..).zip(&sheet.header) {
        page.write_string(1, column, name)?;
    }
    for (row, cells) in (2_u32..).zip(&sheet.rows) {
        for (column, cell) in (0_u16..).zip(cells) {
            match cell {
                Cell::Empty => {}
                Cell::Text(text) => {
                    page.write_string(row, column, text)?;
                }
                Cell::Number(value, _) => {
                    page.write_number(row, column, *value)?;
                }
                Cell::Date(day) => {
                    page.write_number(row, column, serial(*day))?;
                }
            }
        }
    }
    workbook.save_to_buffer()
}

/// Day number of a spreadsheet (1900 system): 1 March 1900 is 61.
fn serial(day: Date) -> f64 {
    let since = date(1899, 12, 30).until(day).map_or(0, |span| span.get_days());
    f64::from(since)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: spreadsheet programs show 45292 as 1 January 2024.
    #[test]
    fn serial_of_a_known_day() {
        assert!((serial(date(2024, 1, 1)) - 45_292.0).abs() < 1e-9);
        assert!((serial(date(1900, 3, 1)) - 61.0).abs() < 1e-9);
    }
}
