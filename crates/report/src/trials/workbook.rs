//! The tables of a trial as a spreadsheet, one sheet per trait.

use super::content::{TrialCell, TrialReport, TrialSection, TrialTable};
use crate::cells::{across, empty, held, lines, pattern, set_height, top};
use crate::error::ReportError;
use rust_xlsxwriter::{Format, FormatAlign, FormatBorder, Workbook, Worksheet, XlsxError};
use words::{say, text};

/// Longest name of a sheet.
const NAME_LIMIT: usize = 31;
/// Widths of columns, characters: the first one, one of numbers, and the most for one of texts.
const FIRST: f64 = 26.0;
const NUMBERS: f64 = 12.0;
const MOST: f64 = 28.0;
/// Columns over which paragraphs run at the least: about the width of a printed page.
const PAGE_COLUMNS: usize = 9;

/// Bytes of the workbook. Every text is written as text, so nothing in it runs as a formula.
///
/// # Errors
/// When the workbook cannot be encoded.
pub fn workbook(trial: &TrialReport, inputs: &str) -> Result<Vec<u8>, ReportError> {
    let mut book = empty(&say!("Trial {}", trial.id), inputs)?;
    let mut about = Page::new(&mut book, text!("About"), std::iter::empty())?;
    about.line(&trial.title, true)?;
    about.line(&trial.sentence, false)?;
    for (name, value) in &trial.facts {
        about.fact(name, value)?;
    }
    for note in &trial.notes {
        about.line(note, false)?;
    }
    about.cautions()?;
    for (number, part) in trial.parts.iter().enumerate() {
        let tables = part.sections.iter().flat_map(|section| &section.tables);
        let mut page = Page::new(&mut book, &sheet_name(number, &part.heading), tables)?;
        page.line(&part.heading, true)?;
        page.line(&part.finding, false)?;
        if let Some((what, remedy)) = &part.refused {
            page.line(what, false)?;
            page.line(remedy, false)?;
        }
        for of in &part.sections {
            page.row += 1;
            page.section(of)?;
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
    let mut about = Page::new(&mut book, text!("About"), std::iter::empty())?;
    about.line(title, true)?;
    for text in found {
        about.line(text, false)?;
    }
    about.cautions()?;
    for (number, of) in sections.enumerate() {
        let name = sheet_name(number, &of.heading);
        Page::new(&mut book, &name, of.tables.iter())?.section(of)?;
    }
    Ok(book.save_to_buffer()?)
}

/// Name of a sheet under a heading: the number keeps names apart, and spaces stand for what a sheet's
/// name may not hold.
fn sheet_name(number: usize, heading: &str) -> String {
    let name = format!("{} {heading}", number + 1);
    let name = name.chars().map(|letter| match letter {
        '[' | ']' | ':' | '*' | '?' | '/' | '\\' | '\'' => ' ',
        letter if letter.is_control() => ' ',
        letter => letter,
    });
    // The limit counts as spreadsheets do, in units of UTF-16.
    let mut units = 0;
    let kept = name.take_while(|letter| {
        units += letter.len_utf16();
        units <= NAME_LIMIT
    });
    kept.collect::<String>().trim_end().to_owned()
}

/// A sheet that is filled from top to bottom.
struct Page<'a> {
    sheet: &'a mut Worksheet,
    row: u32,
    widths: Vec<f64>,
}

impl<'a> Page<'a> {
    /// A sheet as wide as the tables that will stand on it.
    fn new<'t>(
        book: &'a mut Workbook,
        name: &str,
        tables: impl Iterator<Item = &'t TrialTable>,
    ) -> Result<Self, XlsxError> {
        let mut widths = vec![NUMBERS; PAGE_COLUMNS];
        widths[0] = FIRST;
        for of in tables {
            widths.resize(widths.len().max(of.heads.len()), NUMBERS);
            for (column, cell) in of.rows.iter().flat_map(|cells| cells.iter().enumerate()) {
                if let (TrialCell::Text(text), Some(width)) = (cell, widths.get_mut(column)) {
                    *width = width.max(1.1 * text.chars().count() as f64).min(MOST);
                }
            }
        }
        let sheet = book.add_worksheet().set_name(name)?;
        across(sheet);
        for (column, width) in (0_u16..).zip(&widths) {
            sheet.set_column_width(column, *width)?;
        }
        Ok(Self { sheet, row: 0, widths })
    }

    /// A text over the whole width.
    fn line(&mut self, text: &str, bold: bool) -> Result<(), XlsxError> {
        if text.is_empty() {
            return Ok(());
        }
        self.span(0, text, bold)?;
        self.row += 1;
        Ok(())
    }

    /// A name and what it stands for.
    fn fact(&mut self, name: &str, value: &str) -> Result<(), XlsxError> {
        self.sheet.write_string_with_format(self.row, 0, held(name), &top().set_text_wrap())?;
        self.span(1, value, false)?;
        self.row += 1;
        Ok(())
    }

    /// A text from a column to the last one.
    fn span(&mut self, from: u16, text: &str, bold: bool) -> Result<(), XlsxError> {
        let wrap = top().set_text_wrap();
        let format = if bold { wrap.set_bold() } else { wrap };
        let last = self.widths.len() as u16 - 1;
        self.sheet.merge_range(self.row, from, self.row, last, &held(text), &format)?;
        let width = self.widths[usize::from(from)..].iter().sum();
        set_height(self.sheet, self.row, lines(text, width))
    }

    fn cautions(&mut self) -> Result<(), XlsxError> {
        for caution in crate::text::CAUTIONS {
            self.line(caution.get(), false)?;
        }
        Ok(())
    }

    fn section(&mut self, of: &TrialSection) -> Result<(), XlsxError> {
        self.line(&of.heading, true)?;
        for paragraph in &of.paragraphs {
            self.line(paragraph, false)?;
        }
        for of in &of.tables {
            self.row += 1;
            self.table(of)?;
        }
        Ok(())
    }

    fn table(&mut self, of: &TrialTable) -> Result<(), XlsxError> {
        self.line(&of.caption, false)?;
        let head = top().set_bold().set_text_wrap().set_border_bottom(FormatBorder::Thin);
        // A heading stands over its numbers as they stand in their cells, to the right.
        let is_text = |cell: Option<&TrialCell>| matches!(cell, Some(TrialCell::Text(_)) | None);
        let texts = |column: usize| of.rows.iter().all(|cells| is_text(cells.get(column)));
        let heads = of.heads.iter().enumerate();
        self.cells(heads.map(|(column, of)| Some((of.text.as_str(), texts(column)))), &head)?;
        for cells in &of.rows {
            for (column, cell) in (0_u16..).zip(cells) {
                let (value, decimals) = match cell {
                    TrialCell::Number(Some(value), decimals) => (*value, *decimals),
                    TrialCell::P(Some(p)) => (*p, 4),
                    TrialCell::Text(_) | TrialCell::Number(..) | TrialCell::P(_) => continue,
                };
                if value.is_finite() {
                    let format = top().set_num_format(pattern("0", decimals));
                    self.sheet.write_number_with_format(self.row, column, value, &format)?;
                }
            }
            let text = |cell: &'_ TrialCell| match cell {
                TrialCell::Text(text) => Some(text.clone()),
                TrialCell::Number(..) | TrialCell::P(_) => None,
            };
            let texts: Vec<Option<String>> = cells.iter().map(text).collect();
            let texts = texts.iter().map(|text| Some((text.as_deref()?, true)));
            self.cells(texts, &top().set_text_wrap())?;
        }
        for note in &of.notes {
            self.line(note, false)?;
        }
        Ok(())
    }

    /// The texts of a row, which becomes as high as they need; those beside numbers keep apart from
    /// them, those over numbers stand to the right.
    fn cells<'t>(
        &mut self,
        texts: impl Iterator<Item = Option<(&'t str, bool)>>,
        format: &Format,
    ) -> Result<(), XlsxError> {
        let mut most = 1;
        for (column, text) in texts.enumerate() {
            let Some((text, left)) = text else { continue };
            let own = match (left, column) {
                (true, 0) => format.clone(),
                (true, _) => format.clone().set_align(FormatAlign::Left).set_indent(1),
                (false, _) => format.clone().set_align(FormatAlign::Right),
            };
            self.sheet.write_string_with_format(self.row, column as u16, held(text), &own)?;
            most = most.max(lines(text, self.widths.get(column).copied().unwrap_or(NUMBERS)));
        }
        set_height(self.sheet, self.row, most)?;
        self.row += 1;
        Ok(())
    }
}
