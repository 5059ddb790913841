//! Refuses books of a layout that this program does not know.

use super::super::BOOK_FORMAT;
use super::{FILE, line_of};
use crate::{Code, Place, Problem, Severity};
use words::{say, text};

/// What is wrong with the layout that a book states; `None` for one that is read, and for a text
/// that is no TOML, which is told with its place later.
pub(in super::super) fn other_format(text: &str) -> Option<Problem> {
    let book: toml::Table = text.parse().ok()?;
    let stated = book.get("book")?.get("format")?.as_integer()?;
    if stated == i64::from(BOOK_FORMAT) {
        return None;
    }
    let place = line_of(text, "book", Some("format"))
        .map_or_else(|| Place::file(FILE), |line| Place::line(FILE, line));
    let (what, remedy) = if stated > i64::from(BOOK_FORMAT) {
        (
            say!(
                "the book is of format {stated}, made for a newer anacurve; this one reads format \
                 {BOOK_FORMAT}"
            ),
            text!("use the newer anacurve for this book"),
        )
    } else {
        (
            say!("there is no format {stated} of record books"),
            text!("write format = 1, or remove the line: books without it are of format 1"),
        )
    };
    Some(Problem::new(place, Severity::Fatal, Code::SettingImpossible, what, remedy))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_newer_book_is_told_by_its_format_before_its_unknown_keys() {
        let text = "[book]\nname = \"x\"\nformat = 2\n\n[unheard_of]\nkey = 1\n";
        let problems = crate::Book::parse(text).unwrap_err().problems;
        assert_eq!(problems.len(), 1);
        assert_eq!(problems[0].place.to_string(), "book.toml:3");
        assert!(problems[0].what.contains("format 2"), "{}", problems[0].what);
        assert!(problems[0].remedy.contains("newer anacurve"));
    }

    #[test]
    fn books_without_a_format_and_of_the_first_are_read() {
        for text in ["[book]\nname = \"x\"\n", "[book]\nformat = 1\n", "no toml ="] {
            assert_eq!(other_format(text), None, "{text}");
        }
        let none = other_format("[book]\nformat = 0\n").unwrap();
        assert!(none.remedy.contains("format = 1"));
    }
}
