//! Finds the line of `book.toml` a problem belongs to.

use crate::{Code, MonthDay, Place, Problem, Severity, Table};
use jiff::civil::Date;
use words::{say, text};

pub(super) const FILE: &str = "book.toml";

/// Line (from 1) of a byte offset.
fn line_at(text: &str, offset: usize) -> u64 {
    text.bytes().take(offset).filter(|&byte| byte == b'\n').count() as u64 + 1
}

/// Line of `key` under the header `[table]`, of the header itself when `key` is `None` or not
/// found, or nothing when the table is not written as a header.
pub(super) fn line_of(text: &str, table: &str, key: Option<&str>) -> Option<u64> {
    let (mut inside, mut header) = (false, None);
    for (number, line) in (1_u64..).zip(text.lines()) {
        let line = line.trim();
        if line.starts_with('[') {
            let name = line.trim_start_matches('[').split(']').next().unwrap_or("");
            inside = name.replace(['"', ' ', '\''], "") == table;
            if inside && header.is_none() {
                header = Some(number);
            }
        } else if inside
            && let (Some(key), Some((name, _))) = (key, line.split_once('='))
            && name.trim().trim_matches(['"', '\'']) == key
        {
            return Some(number);
        }
    }
    header
}

/// Line of the path by which a file is declared under `[[files.TABLE]]`, else of the table's first
/// header.
pub(super) fn line_of_file(text: &str, table: Table, path: &str) -> Option<u64> {
    let header = format!("files.{table}");
    let mut inside = false;
    for (number, line) in (1_u64..).zip(text.lines()) {
        let line = line.trim();
        if line.starts_with('[') {
            let name = line.trim_start_matches('[').split(']').next().unwrap_or("");
            inside = name.replace(['"', ' ', '\''], "") == header;
        } else if inside
            && let Some((key, value)) = line.split_once('=')
            && key.trim() == "path"
            && value.trim().trim_start_matches(['"', '\'']).starts_with(path)
        {
            return Some(number);
        }
    }
    line_of(text, &header, None)
}

/// A TOML error as a problem with its place.
pub(super) fn from_toml(text: &str, error: &toml::de::Error) -> Problem {
    let span = error.span();
    let mut line = span.as_ref().map(|span| line_at(text, span.start));
    let mut what = error.message().to_owned();
    // The parser's words for a choice of two forms name the program's own types, and its place is that
    // of the whole list.
    if is_rest_date(error.message()) {
        let written = span.and_then(|span| text.get(span)).unwrap_or_default();
        let (below, day) = wrong_rest_date(written).unwrap_or((0, written));
        what = say!("rest_dates: {day} is no day of the calendar");
        line = line.map(|line| line + below);
    }
    if is_stated(error.message()) {
        what = say!("the value is neither a text nor a number");
    }
    let place = line.map_or_else(|| Place::file(FILE), |line| Place::line(FILE, line));
    Problem::new(place, Severity::Fatal, Code::BookUnreadable, what, remedy(error.message()))
}

fn is_rest_date(message: &str) -> bool {
    message.contains("RestDate")
}

/// Whether a word of `values` or `every_row` is of another kind than those, such as a bare date.
fn is_stated(message: &str) -> bool {
    message.contains("StatedValue")
}

/// The first entry of a list of days that is none, and how many lines below the list's first it stands.
fn wrong_rest_date(list: &str) -> Option<(u64, &str)> {
    let is_day = |entry: &str| {
        let quoted = ['"', '\'']
            .iter()
            .find_map(|mark| entry.strip_prefix(*mark).and_then(|entry| entry.strip_suffix(*mark)));
        quoted.is_some_and(|day| day.parse::<Date>().is_ok() || day.parse::<MonthDay>().is_ok())
    };
    (0_u64..).zip(list.lines()).find_map(|(below, line)| {
        let entries = line.split('#').next().unwrap_or_default().split([',', '[', ']']);
        let wrong = entries.map(str::trim).find(|entry| !entry.is_empty() && !is_day(entry))?;
        Some((below, wrong))
    })
}

/// What to write instead, by the parser's words: the slips of a first book.
fn remedy(message: &str) -> &'static str {
    match message {
        "missing field `book`" => text!("add a section [book] with name = \"...\""),
        "missing field `economics`" => text!(
            "add a section [economics] with currency = \"...\", price_per_kg and wage_per_hour"
        ),
        "missing field `regions`" => text!(
            "add a section [regions.NAME] with harvest = [\"MM-DD\", \"MM-DD\"] and flush = [\"MM-DD\", \"MM-DD\"]; blocks name their region"
        ),
        _ if message.contains("string values must be quoted") => text!(
            "texts stand in straight quotation marks, \"so\"; numbers without any, without spaces and with a decimal point"
        ),
        _ if message.contains("expected f64") || message.contains("expected i16") => {
            text!("numbers stand without quotation marks and take a decimal point")
        }
        _ if message.contains("duplicate key") => text!(
            "a key stands once; each further file of a table has a section of its own in double brackets, [[files.TABLE]]"
        ),
        _ if is_stated(message) => text!(
            "write texts and dates in quotation marks, such as \"2024-05-18\", and numbers without"
        ),
        _ if is_rest_date(message) => text!(
            "write each date in quotation marks as \"YYYY-MM-DD\", or as \"MM-DD\" for every year"
        ),
        _ if message.contains("escape") => {
            text!("write paths with forward slashes, for a backslash begins a code")
        }
        _ if message.contains("expected newline") => text!(
            "correct the line: one key = value; numbers take a decimal point, texts stand in quotation marks"
        ),
        _ => text!(
            "correct the line; `anacurve demo DIR` writes a book.toml that explains every key"
        ),
    }
}
