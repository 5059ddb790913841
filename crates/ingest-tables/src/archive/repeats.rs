//! What the repeated rows, cells and spaces of an ODS workbook come to when they are written out, and
//! whether its elements end: the reader of ODS would wait for the end of a sheet or a comment for ever.

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
            "text:s" => self.text(repeats(element, "text:c")),
            _ => {}
        }
    }

    fn text(&mut self, bytes: u64) {
        if let Some((_, text)) = &mut self.cell {
            *text = text.saturating_add(bytes);
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

/// Checks that no sheet's cells, written out, exceed the limits of a sheet, and that every element
/// ends where it must.
///
/// # Errors
/// When they do or one does not, or when the markup cannot be followed.
pub(super) fn check(content: impl BufRead) -> Result<(), Fault> {
    let mut reader = Reader::from_reader(content);
    let config = reader.config_mut();
    config.check_end_names = true;
    config.expand_empty_elements = true;
    let (mut walk, mut room, mut open) = (Walk::default(), Vec::new(), 0_u64);
    loop {
        match reader.read_event_into(&mut room).map_err(unreadable)? {
            Event::Start(element) => {
                open += 1;
                walk.start(&element);
            }
            Event::Text(text) => walk.text(text.len() as u64),
            Event::CData(text) => walk.text(text.len() as u64),
            Event::GeneralRef(text) => walk.text(text.len() as u64),
            Event::End(element) => {
                open = open.saturating_sub(1);
                walk.end(element.name().as_ref());
            }
            Event::Eof if open > 0 => {
                return Err(unreadable(say!("its content breaks off before the end of a sheet")));
            }
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

    #[test]
    fn content_that_does_not_end_is_refused() {
        let row = "<table:table-row><table:table-cell office:value=\"3\"/></table:table-row>";
        let whole = sheet(row);
        assert!(check(whole.as_bytes()).is_ok());
        for cut in
            ["</table:table></office:body>", "</table:table-row></table:table></office:body>"]
        {
            let refused = check(whole.replace(cut, "").as_bytes()).unwrap_err();
            assert!(refused.what.contains("breaks off"), "{}", refused.what);
        }
        // The end of the sheet within a cell, where the reader looks for the end of the cell alone.
        let crossed = row.replace("\"3\"/>", "\"3\"></table:table></table:table-cell>");
        assert!(
            check(format!("<office:body><table:table>{crossed}</office:body>").as_bytes()).is_err()
        );
        assert!(
            check(
                sheet(&row.replace("\"3\"/>", "\"3\"><office:annotation></table:table-cell>"))
                    .as_bytes()
            )
            .is_err()
        );
    }

    #[test]
    fn spaces_that_are_counted_are_text() {
        let cell = |spaces: &str| {
            sheet(&format!(
                "<table:table-row><table:table-cell><text:p>a<text:s text:c=\"{spaces}\"/></text:p>\
                 </table:table-cell></table:table-row>"
            ))
        };
        assert!(check(cell("7").as_bytes()).is_ok());
        for many in ["99999999999", "99999999999999999999999"] {
            let refused = check(cell(many).as_bytes()).unwrap_err();
            assert_eq!(refused.code, records::Code::FileTooLarge);
        }
    }
}
