//! Rows of CSV, TSV and other separated text, with the physical line on which each starts.

mod scan;

use crate::decode::{Decoded, decode};
use crate::header::HeaderWords;
use crate::rows::{Cell, Cells, Damage, Fault, HEADER_WITHIN, Header, RawRow, RowSink, Rows};
use csv::{ReaderBuilder, StringRecord};
use records::{Code, FileOptions, counted, limits};
use scan::{Lines, Oddity, scan};
use std::borrow::Cow;
use words::{say, text};

/// Longest record that is read, bytes; a longer one is quarantined unparsed.
pub(crate) const LONGEST_RECORD: usize = limits::ROW.most as usize;
/// Characters kept of a record that is too long.
const SHORTENED_TO: usize = 200;
/// Text searched for the header.
const HEAD: usize = 64 << 10;
const SEPARATORS: [u8; 4] = *b",;\t|";

/// The text of a row for the quarantine, cut with a note when it exceeds [`LONGEST_RECORD`].
pub(crate) fn shortened(raw: &str) -> String {
    if raw.len() <= LONGEST_RECORD {
        return raw.to_owned();
    }
    let start: String = raw.chars().take(SHORTENED_TO).collect();
    say!("{start} [cut here; the row has {} bytes]", raw.len())
}

/// A text file with its header found.
pub(crate) struct TextRows {
    text: String,
    has_invalid: bool,
    separator: u8,
    /// Byte at which the rows begin.
    body: usize,
    header: Header,
}

struct Candidate {
    score: usize,
    separator: u8,
    body: usize,
    header: Header,
}

impl Cells for StringRecord {
    fn len(&self) -> usize {
        StringRecord::len(self)
    }

    fn cell(&self, index: usize) -> Cell<'_> {
        match self.get(index) {
            None | Some("") => Cell::Empty,
            Some(text) => Cell::Text(Cow::Borrowed(text)),
        }
    }
}

impl TextRows {
    /// Decodes a file and finds separator and header.
    pub(crate) fn open(
        bytes: Vec<u8>,
        options: &FileOptions,
        words: &HeaderWords<'_>,
    ) -> Result<Self, Fault> {
        let first_stray = std::str::from_utf8(&bytes).err().map(|error| {
            let before = bytes.get(..error.valid_up_to()).unwrap_or_default();
            1 + before.iter().filter(|&&byte| byte == b'\n').count() as u64
        });
        let Decoded { text, has_invalid, fell_back } = decode(bytes, options.encoding.as_deref())?;
        let separators: Vec<u8> = match options.separator {
            None => SEPARATORS.to_vec(),
            Some(mark) if mark.is_ascii() && !"\"\r\n".contains(mark) => vec![mark as u8],
            Some(mark) => {
                return Err(Fault::new(
                    Code::SettingImpossible,
                    say!("the separator '{mark}' in book.toml cannot be used"),
                    text!("use a comma, a semicolon, a tab or a bar"),
                ));
            }
        };
        let best = separators.into_iter().filter_map(|mark| candidate(&text, mark, words)).reduce(
            |best, next| {
                let wider = next.score == best.score
                    && best.score == 0
                    && next.header.names.len() > best.header.names.len();
                if next.score > best.score || wider { next } else { best }
            },
        );
        let Some(Candidate { separator, body, mut header, .. }) = best else {
            return Err(Fault::new(
                Code::FileEmpty,
                text!("the file is empty"),
                text!("export it again, or remove it"),
            ));
        };
        header.encoding_found_at = first_stray.filter(|_| fell_back);
        Ok(Self { text, has_invalid, separator, body, header })
    }

    /// What is wrong with a row as a whole.
    fn damage(&self, record: &StringRecord, raw: &str) -> Option<Damage> {
        let at = |mark: char| {
            let cell = record.iter().position(|cell| cell.contains(mark));
            cell.map(|cell| u32::try_from(cell + 1).unwrap_or(u32::MAX))
        };
        if raw.contains('\0') {
            return Some(Damage {
                column: at('\0'),
                code: Code::RowNul,
                reason: say!("the row holds NUL bytes"),
                remedy: say!("export the file again; if it is UTF-16 set encoding = \"utf-16le\""),
            });
        }
        if self.has_invalid && raw.contains(char::REPLACEMENT_CHARACTER) {
            return Some(Damage {
                column: at(char::REPLACEMENT_CHARACTER),
                code: Code::TextEncoding,
                reason: say!("the row holds bytes that are no text in the file's encoding"),
                remedy: say!(
                    "export the file again as UTF-8, or declare its encoding in book.toml"
                ),
            });
        }
        let width = self.header.names.len();
        let beyond = record.iter().skip(width).position(|cell| !cell.trim().is_empty());
        let is_blank = || record.iter().all(|cell| cell.trim().is_empty());
        if beyond.is_none() && (record.len() >= width || is_blank()) {
            return None;
        }
        let lines = 1 + raw.matches('\n').count();
        let mut reason = say!(
            "the row has {}, the header {width}",
            counted(record.len() as u64, text!("cell"), text!("cells"))
        );
        if lines > 1 {
            reason.push_str(&say!("; it spans {lines} lines"));
        }
        Some(Damage {
            column: beyond.map(|extra| u32::try_from(width + extra + 1).unwrap_or(u32::MAX)),
            code: Code::RowRagged,
            reason,
            remedy: say!(
                "give the row one cell per column; quote cells that hold the separator, and \
                     close every quotation mark"
            ),
        })
    }

    /// Reads the records of a stretch of text that holds none of the oddities.
    fn each_plain(
        &self,
        from: usize,
        to: usize,
        lines: &mut Lines<'_>,
        sink: &mut RowSink<'_>,
    ) -> Result<(), Fault> {
        let stretch = self.text.get(from..to).unwrap_or_default();
        let mut reader = reader(stretch, self.separator);
        let mut record = StringRecord::new();
        loop {
            let start = position(&reader);
            if !reader.read_record(&mut record).map_err(unreadable)? {
                return Ok(());
            }
            let raw = stretch.get(start..position(&reader)).unwrap_or_default();
            let blank = raw.len() - raw.trim_start_matches(['\r', '\n']).len();
            let raw = raw.trim_matches(['\r', '\n']);
            let line = lines.of(from + start + blank);
            let damage = self.damage(&record, raw);
            sink(&RawRow { line, cells: &record, raw: Some(raw), damage });
        }
    }

    /// A record that the scan found to be broken, as one row.
    fn hand_on_odd(&self, odd: &Oddity, lines: &mut Lines<'_>, sink: &mut RowSink<'_>) {
        let raw = self.text.get(odd.start..odd.end).unwrap_or_default();
        let raw = raw.trim_matches(['\r', '\n']);
        let line = lines.of(odd.start);
        let spans = raw.lines().count();
        let (code, reason) = if odd.is_unclosed {
            let reason =
                say!("a quotation mark is opened and never closed; it swallowed {spans} lines");
            let long = raw.len() > LONGEST_RECORD;
            (if long { Code::RowTooLong } else { Code::RowRagged }, reason)
        } else if odd.is_mispaired {
            let reason = say!("quotation marks do not pair up over {spans} lines");
            (Code::RowRagged, reason)
        } else {
            let reason =
                say!("the row has {} bytes, more than {LONGEST_RECORD} are not read", raw.len());
            (Code::RowTooLong, reason)
        };
        let remedy = if odd.is_unclosed || odd.is_mispaired {
            text!(
                "look for a missing quotation mark at the start of this row; the rows that it swallowed \
             are read once it is mended"
            )
        } else {
            text!("look for missing line ends within this row, or remove it")
        };
        let mut remedy = remedy.to_owned();
        let mark = char::from(self.separator);
        if (odd.is_unclosed || odd.is_mispaired) && raw.contains(&format!("{mark}\"{mark}")) {
            remedy.push_str(text!(
                "; if it stands for the cell above, leave the cell empty and name its column under fill_down in book.toml"
            ));
        }
        let damage = Damage { column: None, code, reason, remedy };
        let cells = StringRecord::new();
        sink(&RawRow { line, cells: &cells, raw: Some(raw), damage: Some(damage) });
    }
}

impl Rows for TextRows {
    fn header(&self) -> &Header {
        &self.header
    }

    fn each(&mut self, sink: &mut RowSink<'_>) -> Result<(), Fault> {
        let mut lines = Lines::new(&self.text);
        let mut from = self.body;
        for odd in scan(&self.text, self.body, self.separator) {
            self.each_plain(from, odd.start, &mut lines, sink)?;
            self.hand_on_odd(&odd, &mut lines, sink);
            from = odd.end;
        }
        self.each_plain(from, self.text.len(), &mut lines, sink)
    }
}

fn reader(text: &str, separator: u8) -> csv::Reader<&[u8]> {
    ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .from_reader(text.as_bytes())
}

fn position(reader: &csv::Reader<&[u8]>) -> usize {
    usize::try_from(reader.position().byte()).unwrap_or(usize::MAX)
}

fn unreadable(error: csv::Error) -> Fault {
    Fault::new(Code::FileUnreadable, error.to_string(), text!("export the file again"))
}

/// The most header-like of the first lines under a separator; `None` when there is no text.
fn candidate(text: &str, separator: u8, words: &HeaderWords<'_>) -> Option<Candidate> {
    // A character has at most four bytes, so one of these ends on a boundary.
    let head = (HEAD..HEAD + 4).find_map(|end| text.get(..end)).unwrap_or(text);
    let mut reader = reader(head, separator);
    let mut lines = Lines::new(text);
    let mut record = StringRecord::new();
    let mut best: Option<(_, Candidate)> = None;
    let mut above = 0_u64;
    loop {
        let start = position(&reader);
        if !reader.read_record(&mut record).ok()? {
            break;
        }
        let body = position(&reader);
        let blank = head.get(start..).unwrap_or_default();
        let blank = blank.len() - blank.trim_start_matches(['\r', '\n']).len();
        let line = lines.of(start + blank);
        if line > HEADER_WITHIN as u64 {
            break;
        }
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let mut names: Vec<String> = record.iter().map(|cell| cell.trim().to_owned()).collect();
        while names.last().is_some_and(String::is_empty) {
            names.pop();
        }
        let rank = words.rank(&names);
        if best.as_ref().is_none_or(|(high, _)| rank > *high) {
            let header = Header { line, names, titles: above, encoding_found_at: None };
            best = Some((rank, Candidate { score: rank.0, separator, body, header }));
        }
        above += 1;
    }
    best.map(|(_, candidate)| candidate)
}
