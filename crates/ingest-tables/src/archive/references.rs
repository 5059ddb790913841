//! References to cells that no spreadsheet has: the reader of XLSX would count them over the end of
//! its numbers and put the cell anywhere.

use super::unreadable;
use crate::rows::Fault;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use std::io::BufRead;
use words::say;

/// Letters of the last column, XFD, and digits of the last row, 1048576 (ECMA-376).
const LETTERS: usize = 3;
const DIGITS: usize = 7;

/// Looks at the references of one part of an XLSX workbook.
///
/// # Errors
/// When a cell, a row or a range lies beyond what a sheet can have. Where the part is no XML, the
/// reader says so itself.
pub(super) fn check(content: impl BufRead) -> Result<(), Fault> {
    let mut reader = Reader::from_reader(content);
    reader.config_mut().check_end_names = false;
    let mut room = Vec::new();
    loop {
        room.clear();
        match reader.read_event_into(&mut room) {
            Ok(Event::Start(element) | Event::Empty(element)) => of_element(&element)?,
            Ok(Event::Eof) | Err(_) => return Ok(()),
            Ok(_) => {}
        }
    }
}

fn of_element(element: &BytesStart<'_>) -> Result<(), Fault> {
    let mut attributes = element.attributes();
    for attribute in attributes.with_checks(false).flatten() {
        let name = attribute.key.as_ref();
        if (name == "r" || name == "ref")
            && let Some(beyond) = attribute.value.split(':').find(|cell| !is_possible(cell))
        {
            let shown: String = beyond.chars().take(20).collect();
            return Err(unreadable(say!(
                "its cell '{shown}' lies beyond XFD1048576, the last of a sheet"
            )));
        }
    }
    Ok(())
}

/// Whether a reference has no more letters and digits than the last cell of a sheet; what is no
/// reference is left to the reader.
fn is_possible(cell: &str) -> bool {
    let longest = |is: fn(&char) -> bool| cell.chars().filter(is).count();
    longest(char::is_ascii_alphabetic) <= LETTERS && longest(char::is_ascii_digit) <= DIGITS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_beyond_the_last_are_refused() {
        let sheet =
            |cell: &str| format!("<worksheet><row r=\"1\"><c r=\"{cell}\"/></row></worksheet>");
        for possible in ["A1", "XFD1048576", "a1", "", "$B$2"] {
            assert!(check(sheet(possible).as_bytes()).is_ok(), "{possible}");
        }
        for beyond in ["AAAAAAAAAA1", "A99999999999"] {
            let refused = check(sheet(beyond).as_bytes()).unwrap_err();
            assert!(refused.what.contains("beyond XFD1048576"), "{}", refused.what);
        }
        let range = "<worksheet><dimension ref = 'A1:ZZZZZZZZ9'/></worksheet>";
        assert!(check(range.as_bytes()).is_err());
        assert!(check("no markup <<".as_bytes()).is_ok());
    }
}
