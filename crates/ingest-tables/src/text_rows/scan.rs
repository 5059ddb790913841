//! Looks over separated text for records that must not be parsed, and counts lines.

use super::LONGEST_RECORD;

/// A record that is handed on unparsed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Oddity {
    pub(super) start: usize,
    pub(super) end: usize,
    /// The file ends inside its quotation marks.
    pub(super) is_unclosed: bool,
    /// It spans lines and text follows a closing quotation mark: rows were swallowed.
    pub(super) is_mispaired: bool,
}

/// Line numbers of ascending byte positions; a line ends with LF, CR or both.
pub(super) struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl<'a> Lines<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        Self { bytes: text.as_bytes(), at: 0, line: 1 }
    }

    /// The line of a byte position not before the last one asked for.
    pub(super) fn of(&mut self, position: usize) -> u64 {
        let passed = self.bytes.get(self.at..position).unwrap_or_default();
        for (offset, &byte) in passed.iter().enumerate() {
            let ends = byte == b'\n'
                || (byte == b'\r' && self.bytes.get(self.at + offset + 1) != Some(&b'\n'));
            self.line += u64::from(ends);
        }
        self.at = self.at.max(position);
        self.line
    }
}

#[derive(Clone, Copy, PartialEq)]
enum State {
    FieldStart,
    Bare,
    Quoted,
    QuoteInQuoted,
}

/// Finds the odd records after `body`, in file order. The states are those of RFC 4180 as the csv
/// crate reads it: a quotation mark counts only at the start of a cell.
pub(super) fn scan(text: &str, body: usize, separator: u8) -> Vec<Oddity> {
    let mut found = Vec::new();
    let (mut state, mut start, mut trailing, mut breaks) = (State::FieldStart, body, false, 0_u32);
    let bytes = text.as_bytes();
    for (at, &byte) in bytes.iter().enumerate().skip(body) {
        let line_end = byte == b'\n' || byte == b'\r';
        state = match (state, byte) {
            (State::Quoted, b'"') => State::QuoteInQuoted,
            (State::Quoted, _) => {
                breaks += u32::from(line_end);
                State::Quoted
            }
            (State::QuoteInQuoted, b'"') => State::Quoted,
            (State::FieldStart, b'"') => State::Quoted,
            (_, byte) if byte == separator => State::FieldStart,
            _ if line_end => {
                let is_mispaired = trailing && breaks > 0;
                if is_mispaired || at - start > LONGEST_RECORD {
                    found.push(Oddity { start, end: at, is_unclosed: false, is_mispaired });
                }
                (start, trailing, breaks) = (at + 1, false, 0);
                State::FieldStart
            }
            (before, _) => {
                trailing |= before == State::QuoteInQuoted;
                State::Bare
            }
        };
    }
    let is_unclosed = state == State::Quoted;
    let is_mispaired = trailing && breaks > 0;
    if is_unclosed || is_mispaired || bytes.len() - start.min(bytes.len()) > LONGEST_RECORD {
        found.push(Oddity { start, end: bytes.len(), is_unclosed, is_mispaired });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_end_in_three_ways() {
        let mut lines = Lines::new("a\nb\r\nc\rd");
        assert_eq!([0, 2, 4, 5, 7].map(|at| lines.of(at)), [1, 2, 2, 3, 4]);
    }

    #[test]
    fn quotes_are_followed_over_lines() {
        assert_eq!(scan("a,\"b\nc\"\nd,e\n", 0, b','), []);
        assert_eq!(scan("a,\"b\"\"\nc\"\nd,5\" pipe\n", 0, b','), []);
        let odd = scan("a,b\nc,\"d\ne,f\n", 0, b',');
        assert_eq!(odd, [Oddity { start: 4, end: 13, is_unclosed: true, is_mispaired: false }]);
        let odd = scan("a,\"b\nc,\"d\"\ne,f\n", 0, b',');
        assert_eq!(odd, [Oddity { start: 0, end: 10, is_unclosed: false, is_mispaired: true }]);
    }
}
