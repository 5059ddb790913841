//! What the repeated rows and cells of an ODS workbook come to when they are written out.

use super::{too_large, unreadable};
use crate::rows::Fault;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use records::limits;
use std::io::BufRead;
use words::say;

/// Cells and bytes of text of a stretch of a sheet.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Size {
    cells: u64,
    text: u64,
}

impl Size {
    fn plus(self, other: Self, times: u64) -> Self {
        Self {
            cells: self.cells.saturating_add(other.cells.saturating_mul(times)),
            text: self.text.saturating_add(other.text.saturating_mul(times)),
        }
    }

    fn is_within(self) -> bool {
        limits::SHEET_CELLS.holds(self.cells) && limits::SHEET_TEXT.holds(self.text)
    }
}

/// How often an element repeats; 1 where nothing is said. What cannot be read counts as the most,
/// so that it is never taken for less than the reader makes of it.
fn repeats(element: &BytesStart<'_>, name: &str) -> u64 {
    for attribute in element.attributes().with_checks(false).flatten() {
        if attribute.key.as_ref() == name {
            return attribute.value.trim().parse().unwrap_or(u64::MAX);
        }
    }
    1
}

/// Bytes of the values that a cell carries in its attributes.
fn written(element: &BytesStart<'_>) -> u64 {
    let mut attributes = element.attributes();
    let values = attributes.with_checks(false).flatten();
    values.filter(|a| a.key.as_ref().starts_with("office:")).map(|a| a.value.len() as u64).sum()
}

/// Follows a sheet through its rows and cells.
#[derive(Default)]
struct Walk {
    total: Size,
    row: Size,
    row_repeats: u64,
    /// Empty cells and rows since the last filled one: they count only when a filled one follows.
    blank_cells: u64,
    cell: Option<(u64, u64)>,
}

impl Walk {
    fn start(&mut self, element: &BytesStart<'_>) {
        match element.name().as_ref() {
            "table:table-row" => {
                self.row = Size::default();
                self.blank_cells = 0;
                self.row_repeats = repeats(element, "table:number-rows-repeated");
            }
            "table:table-cell" | "table:covered-table-cell" => {
                let times = repeats(element, "table:number-columns-repeated");
                self.cell = Some((times, written(element)));
            }
            _ => {}
        }
    }

    fn text(&mut self, bytes: usize) {
        if let Some((_, text)) = &mut self.cell {
            *text = text.saturating_add(bytes as u64);
        }
    }

    fn end(&mut self, name: &str) {
        match name {
            "table:table-cell" | "table:covered-table-cell" => {
                let Some((times, text)) = self.cell.take() else { return };
                if text == 0 {
                    self.blank_cells = self.blank_cells.saturating_add(times);
                } else {
                    let blank = Size { cells: self.blank_cells, text: 0 };
                    self.row = self.row.plus(blank, 1).plus(Size { cells: 1, text }, times);
                    self.blank_cells = 0;
                }
            }
            "table:table-row" => {
                self.total = self.total.plus(self.row, self.row_repeats);
                self.row = Size::default();
            }
            _ => {}
        }
    }
}

/// Checks that no sheet's cells, written out, exceed the limits of a sheet.
///
/// # Errors
/// When they do, or when the markup cannot be followed.
pub(super) fn check(content: impl BufRead) -> Result<(), Fault> {
    let mut reader = Reader::from_reader(content);
    let config = reader.config_mut();
    config.check_end_names = false;
    config.expand_empty_elements = true;
    let (mut walk, mut room) = (Walk::default(), Vec::new());
    loop {
        match reader.read_event_into(&mut room).map_err(unreadable)? {
            Event::Start(element) => walk.start(&element),
            Event::Text(text) => walk.text(text.len()),
            Event::CData(text) => walk.text(text.len()),
            Event::GeneralRef(text) => walk.text(text.len()),
            Event::End(element) => walk.end(element.name().as_ref()),
            Event::Eof => return Ok(()),
            _ => {}
        }
        if !walk.total.is_within() || !walk.row.is_within() {
            let Size { cells, text } = walk.total.plus(walk.row, 1);
            return Err(too_large(say!(
                "the sheets come to {cells} cells with {text} bytes of text when repeated cells are \
                 written out; at most {} with {} are read",
                limits::SHEET_CELLS.words(),
                limits::SHEET_TEXT.words()
            )));
        }
        room.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(rows: &str) -> String {
        format!("<office:body><table:table table:name=\"x\">{rows}</table:table></office:body>")
    }

    #[test]
    fn blank_repeats_are_free_and_filled_ones_count() {
        // What LibreOffice writes below and beside every sheet.
        let tail = "<table:table-row table:number-rows-repeated=\"1048575\"><table:table-cell \
                    table:number-columns-repeated=\"16384\"/></table:table-row>";
        let one = "<table:table-row><table:table-cell office:value=\"3\"><text:p>3</text:p>\
                   </table:table-cell></table:table-row>";
        assert!(check(sheet(&format!("{one}{tail}")).as_bytes()).is_ok());
        let many = tail.replace("/>", "><text:p>x</text:p></table:table-cell>");
        let refused = check(sheet(&many).as_bytes()).unwrap_err();
        assert_eq!(refused.code, records::Code::FileTooLarge);
        assert!(refused.what.contains("17179852800 cells"), "{}", refused.what);
        let endless = tail
            .replace("1048575", "99999999999999999999999")
            .replace("/>", "><text:p>x</text:p></table:table-cell>");
        assert!(check(sheet(&endless).as_bytes()).is_err());
    }
}
