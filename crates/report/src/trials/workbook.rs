//! The tables of a trial as a spreadsheet, one sheet per trait.

use super::content::{TrialCell, TrialReport, TrialSection, TrialTable};
use crate::error::ReportError;
use crate::manifest::INPUTS;
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatBorder, Workbook, Worksheet, XlsxError,
};
use words::{say, text};

/// Longest name of a sheet.
const NAME_LIMIT: usize = 31;

/// A workbook without sheets that carries its title and the fingerprint of the input files.
pub(crate) fn empty(title: &str, inputs: &str) -> Result<Workbook, XlsxError> {
    let mut book = Workbook::new();
    book.set_properties(
        &DocProperties::new()
            .set_title(title)
            .set_custom_property(INPUTS, inputs)
            // A fixed date of creation: the same run gives the same bytes.
            .set_creation_datetime(&ExcelDateTime::from_ymd(2000, 1, 1)?),
    );
    Ok(book)
}

/// Bytes of the workbook. Every text is written as text, so nothing in it runs as a formula.
///
/// # Errors
/// When the workbook cannot be encoded.
pub fn workbook(trial: &TrialReport, inputs: &str) -> Result<Vec<u8>, ReportError> {
    let mut book = empty(&say!("Trial {}", trial.id), inputs)?;
    about(book.add_worksheet().set_name(text!("About"))?, trial)?;
    for (number, part) in trial.parts.iter().enumerate() {
        // The number keeps names apart, and hyphens stand for what a sheet's name may not hold.
        let name: String =
            format!("{} {}", number + 1, part.slug).chars().take(NAME_LIMIT).collect();
        let sheet = book.add_worksheet().set_name(name)?;
        sheet.set_column_width(0, 26)?;
        let mut row = 0;
        line(sheet, &mut row, &part.heading, true)?;
        line(sheet, &mut row, &part.finding, false)?;
        if let Some((what, remedy)) = &part.refused {
            line(sheet, &mut row, what, false)?;
            line(sheet, &mut row, remedy, false)?;
        }
        for of in &part.sections {
            row += 1;
            section(sheet, &mut row, of)?;
        }
    }
    Ok(book.save_to_buffer()?)
}

/// Bytes of a workbook with one sheet per section, after one with the title, what was found and the
/// cautions; titled so, from inputs of that fingerprint.
///
/// # Errors
/// When the workbook cannot be encoded.
pub fn sections_workbook<'a>(
    (title, inputs): (&str, &str),
    found: &[String],
    sections: impl Iterator<Item = &'a TrialSection>,
) -> Result<Vec<u8>, ReportError> {
    let mut book = empty(title, inputs)?;
    let sheet = book.add_worksheet().set_name(text!("About"))?;
    sheet.set_column_width(0, 26)?;
    let mut row = 0;
    line(sheet, &mut row, title, true)?;
    for text in found
        .iter()
        .map(String::as_str)
        .chain(crate::text::CAUTIONS.iter().map(|caution| caution.get()))
    {
        line(sheet, &mut row, text, false)?;
    }
    for (number, of) in sections.enumerate() {
        let name: String = format!("{} {}", number + 1, of.heading)
            .chars()
            .map(|letter| if "[]:*?/\\'".contains(letter) { ' ' } else { letter })
            .take(NAME_LIMIT)
            .collect();
        let sheet = book.add_worksheet().set_name(name.trim_end())?;
        sheet.set_column_width(0, 26)?;
        section(sheet, &mut 0, of)?;
    }
    Ok(book.save_to_buffer()?)
}

fn section(sheet: &mut Worksheet, row: &mut u32, of: &TrialSection) -> Result<(), XlsxError> {
    line(sheet, row, &of.heading, true)?;
    for paragraph in &of.paragraphs {
        line(sheet, row, paragraph, false)?;
    }
    for of in &of.tables {
        *row += 1;
        table(sheet, row, of)?;
    }
    Ok(())
}

fn about(sheet: &mut Worksheet, trial: &TrialReport) -> Result<(), XlsxError> {
    sheet.set_column_width(0, 26)?;
    let mut row = 0;
    line(sheet, &mut row, &trial.title, true)?;
    line(sheet, &mut row, &trial.sentence, false)?;
    for (name, value) in &trial.facts {
        sheet.write_string(row, 0, name)?;
        sheet.write_string(row, 1, value)?;
        row += 1;
    }
    for note in &trial.notes {
        line(sheet, &mut row, note, false)?;
    }
    for caution in crate::text::CAUTIONS {
        line(sheet, &mut row, caution.get(), false)?;
    }
    Ok(())
}

fn line(sheet: &mut Worksheet, row: &mut u32, text: &str, bold: bool) -> Result<(), XlsxError> {
    if !text.is_empty() {
        let format = if bold { Format::new().set_bold() } else { Format::new() };
        let text: String = text.chars().take(32_767).collect();
        sheet.write_string_with_format(*row, 0, text, &format)?;
        *row += 1;
    }
    Ok(())
}

fn table(sheet: &mut Worksheet, row: &mut u32, of: &TrialTable) -> Result<(), XlsxError> {
    line(sheet, row, &of.caption, false)?;
    let head = Format::new().set_bold().set_text_wrap().set_border_bottom(FormatBorder::Thin);
    for (column, name) in (0_u16..).zip(&of.heads) {
        sheet.write_string_with_format(*row, column, &name.text, &head)?;
    }
    *row += 1;
    for cells in &of.rows {
        for (column, cell) in (0_u16..).zip(cells) {
            match cell {
                TrialCell::Text(text) => {
                    sheet.write_string(*row, column, text)?;
                }
                TrialCell::Number(Some(value), decimals) if value.is_finite() => {
                    let places = if *decimals == 0 {
                        "0".to_owned()
                    } else {
                        format!("0.{}", "0".repeat(*decimals))
                    };
                    let format = Format::new().set_num_format(places);
                    sheet.write_number_with_format(*row, column, *value, &format)?;
                }
                TrialCell::P(Some(p)) if p.is_finite() => {
                    let format = Format::new().set_num_format("0.0000");
                    sheet.write_number_with_format(*row, column, *p, &format)?;
                }
                TrialCell::Number(..) | TrialCell::P(_) => {}
            }
        }
        *row += 1;
    }
    for note in &of.notes {
        line(sheet, row, note, false)?;
    }
    Ok(())
}
