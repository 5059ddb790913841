//! What is wrong with a cell, in words, and what to do about it.

use super::date::DateFault;
use super::number::{NumberFault, plain};
use super::value::{CellReader, sixtieths};
use crate::rows::NOT_RECKONED;
use records::units::{self, Form, Unit};
use records::{Code, ColumnKind, ColumnSpec, DateOrder, Table, limits};
use words::{say, text};

/// What is wrong with a cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct CellFault {
    pub(crate) code: Code,
    pub(crate) reason: String,
    pub(crate) remedy: String,
}

/// Longest stretch of a cell quoted in a message, characters.
const QUOTED: usize = 40;

pub(super) fn quoted(text: &str) -> String {
    let mut short: String = text.chars().take(QUOTED).collect();
    if short.len() < text.len() {
        short.push_str("...");
    }
    format!("'{short}'")
}

/// The one order of day and month that reads a date, where the other does not.
fn only_order(text: &str) -> Option<DateOrder> {
    let reads = |order: &DateOrder| super::date::parse(text, *order, false).is_ok();
    match [DateOrder::DayFirst, DateOrder::MonthFirst].map(|order| Some(order).filter(reads)) {
        [one, None] | [None, one] => one,
        _ => None,
    }
}

/// Marks by which people repeat the cell above.
const DITTO: [&str; 11] =
    ["\"", "''", "\u{201d}", "\u{201c}", "\u{3003}", ",,", "do", "do.", "ditto", "idem", "id."];

/// Whether a text is a mark for the cell above.
fn is_ditto(text: &str) -> bool {
    DITTO.iter().any(|mark| text.eq_ignore_ascii_case(mark))
}

/// Whether a unit multiplies its values.
fn is_converted_by(unit: Option<Unit>) -> bool {
    unit.is_some_and(|unit| unit.factor != 1.0)
}

/// The fault of a text that is longer than what is kept.
pub(crate) fn too_long(column: &str, text: &str) -> Option<CellFault> {
    // A character has at least one byte, so short text is not counted through.
    let is_long =
        !limits::TEXT.holds(text.len() as u64) && !limits::TEXT.holds(text.chars().count() as u64);
    is_long.then(|| CellFault {
        code: Code::RowTooLong,
        reason: say!("{column} {} is longer than {}", quoted(text), limits::TEXT.words()),
        remedy: say!("shorten it; look for a missing quotation mark or line end before it"),
    })
}

impl CellReader {
    /// The fault of an empty cell, or of one with a word that says that it is.
    pub(super) fn missing(&self, word: Option<&str>) -> CellFault {
        let (name, table) = (self.column.name, self.style.table);
        let mut remedy = say!("fill in {}; every row needs it", name);
        if matches!(self.column.kind, ColumnKind::Text | ColumnKind::Date) {
            remedy.push_str(&say!(
                "; if it stands once for a group of rows, as in merged cells: fill_down = [\"{name}\"] under [[files.{table}]] in book.toml"
            ));
        }
        if table == Table::Harvests && name == "nut_kg" {
            remedy.push_str(text!(
                "; under [[files.harvests]] in book.toml values = { nut_kg = { \"\" = 0 } } says that an empty cell is 0 kg, { \"\" = \"\" } that it is no pick, as of trees that are dead or not there yet"
            ));
        }
        let reason = match word {
            Some(word) => say!("{name} is empty: {} says that it has no value", quoted(word)),
            None => say!("{} is empty", name),
        };
        CellFault { code: Code::CellMissing, reason, remedy }
    }

    /// The fault of a time that nothing says how to read, or of what is none where times are declared.
    pub(super) fn no_time(&self, text: &str) -> CellFault {
        let (name, table) = (self.column.name, self.style.table);
        let reason = say!("{} holds {}", name, quoted(text));
        let remedy = match self.unit {
            Some(Unit { form: Form::Colons, .. }) => {
                say!("write a time with colons, as units.{name} under [[files.{table}]] declares")
            }
            _ => say!(
                "if these are times, say which: units = {{ {name} = \"h:mm\" }} (or \"m:ss\") under [[files.{table}]] in book.toml; else write a number of minutes"
            ),
        };
        CellFault { code: Code::NumberUnreadable, reason, remedy }
    }

    pub(super) fn broken(&self, text: &str) -> CellFault {
        let code = match self.column.kind {
            ColumnKind::Date | ColumnKind::DateOrYear => Code::DateUnreadable,
            ColumnKind::Text | ColumnKind::Word(_) | ColumnKind::Flag => Code::WordUnknown,
            ColumnKind::Number | ColumnKind::Count => Code::NumberUnreadable,
        };
        if text == NOT_RECKONED {
            return CellFault {
                code,
                reason: say!("{} holds a formula without its result", self.column.name),
                remedy: text!(
                    "open the file in a spreadsheet program, which reckons it, save it and run again; or write the numbers instead of formulas"
                )
                .to_owned(),
            };
        }
        CellFault {
            code,
            reason: say!("{} holds {}", self.column.name, quoted(text)),
            remedy: say!("mend the cell in the file and run again"),
        }
    }

    pub(super) fn no_date(&self, text: &str, fault: DateFault) -> CellFault {
        let is_ditto = is_ditto(text);
        let only = only_order(text);
        let (name, text, table) = (self.column.name, quoted(text), self.style.table);
        let (code, reason, remedy) = match fault {
            DateFault::Unreadable => (
                Code::DateUnreadable,
                say!("{name} {text} is no date"),
                match self.style.dates {
                    _ if is_ditto => say!(
                        "if it stands for the cell above, leave the cell empty and write fill_down = [\"{name}\"] under [[files.{table}]] in book.toml: an empty cell then takes what stands above it"
                    ),
                    DateOrder::Iso => say!("write dates as year-month-day, for example 2024-07-15"),
                    DateOrder::DayFirst => say!(
                        "write dates as dates = \"day_first\" declares, for example 15/07/2024, or as year-month-day"
                    ),
                    DateOrder::MonthFirst => say!(
                        "write dates as dates = \"month_first\" declares, for example 07/15/2024, or as year-month-day"
                    ),
                },
            ),
            DateFault::NoSuchDay => (
                Code::DateUnreadable,
                say!("{name} {text} is not a day of the calendar"),
                match self.style.dates {
                    DateOrder::Iso => say!("correct the date"),
                    DateOrder::DayFirst => {
                        say!("correct the date; the file is declared day_first")
                    }
                    DateOrder::MonthFirst => {
                        say!("correct the date; the file is declared month_first")
                    }
                },
            ),
            // Known of this value, and no more than likely of the others.
            DateFault::Ambiguous if only.is_some() => {
                let order = only.map_or("", DateOrder::as_str);
                (
                    Code::DateAmbiguous,
                    say!(
                        "{name} {text} reads with dates = \"{order}\" alone, and book.toml does not say that the file is written so"
                    ),
                    say!(
                        "set dates = \"{order}\" under [[files.{table}]] or [book] in book.toml, if all its dates are written so"
                    ),
                )
            }
            DateFault::Ambiguous => (
                Code::DateAmbiguous,
                say!("{name} {text}: nothing says whether the day or the month comes first"),
                say!(
                    "set dates = \"day_first\" (or \"month_first\") under [[files.{table}]] or [book] in book.toml"
                ),
            ),
            DateFault::OutOfRange => (
                Code::RangeImpossible,
                say!("{name} {text} lies before 1900 or after 2200"),
                say!("correct the year"),
            ),
        };
        CellFault { code, reason, remedy }
    }

    pub(super) fn no_number(&self, text: &str, fault: NumberFault) -> CellFault {
        if fault == NumberFault::Unreadable
            && !units::forms(self.column.unit).is_empty()
            && sixtieths(text).is_some()
        {
            return self.no_time(text);
        }
        let is_words = !text.chars().any(char::is_numeric);
        let (name, text, table) = (self.column.name, quoted(text), self.style.table);
        let (reason, remedy) = match fault {
            NumberFault::Unreadable if is_words => (
                say!("{name} {text} is not a number"),
                say!(
                    "write a number; if the file writes words, say what each means: values = {{ {name} = {{ {text} = NUMBER }} }} under [[files.{table}]] in book.toml (\"\" in place of NUMBER says that there is no value)"
                ),
            ),
            NumberFault::Unreadable => (
                say!("{name} {text} is not a number"),
                match units::takes(self.column.unit) {
                    units if units.is_empty() => say!("write digits only, without unit or remark"),
                    units => say!("write digits only, or digits and their unit: {units}"),
                },
            ),
            NumberFault::TooLarge => {
                (say!("{name} {text} is too large a number"), say!("correct the value"))
            }
            NumberFault::Ambiguous => (
                say!("{name} {text} may mean thousands or decimals"),
                say!("set decimal = \"comma\" (or \"point\") under [[files.{table}]] in book.toml"),
            ),
            NumberFault::PointUnderComma => (
                say!("{name} {text} has a decimal point, and decimal = \"comma\" is declared"),
                say!("write a comma, or correct decimal under [[files.{table}]] in book.toml"),
            ),
        };
        CellFault { code: Code::NumberUnreadable, reason, remedy }
    }

    pub(super) fn impossible(
        &self,
        written: f64,
        value: f64,
        (low, high): (f64, f64),
        is_converted: bool,
    ) -> CellFault {
        let ColumnSpec { name, unit, .. } = *self.column;
        let table = self.style.table;
        // A fraction is a bare number.
        let unit_shown = if unit == "fraction" { "" } else { unit };
        let shown = |value: f64| format!("{} {unit_shown}", plain(value)).trim_end().to_owned();
        let is_left = self.unit.is_some_and(Unit::is_left);
        let converted = match plain(written) {
            written if is_left => say!(" (written {written}, as what is left)"),
            written if is_converted => say!(" (written {})", written),
            _ => String::new(),
        };
        let reason =
            say!("{name} = {}{converted} is impossible ({low} to {})", shown(value), shown(high));
        let usual = self.column.usual.unwrap_or((low, high));
        let mistaken = if is_left && !is_converted_by(self.unit) {
            // 75 left of 1 is 75 % left.
            let left = units::mistaken(written, unit, (low, high));
            left.map(|(_, people, of)| ("pct_left", people, 1.0 - of))
        } else if value > high && !is_converted {
            units::mistaken(value, unit, usual)
        } else {
            None
        };
        match mistaken {
            Some((word, people, right)) if unit == "fraction" && !is_left => CellFault {
                code: Code::UnitSuspect,
                reason,
                remedy: say!(
                    "{} if the file is in {people}: set units.{name} = \"{word}\" under [[files.{table}]] in book.toml, or \"pct_left\" if it holds what was left of the canopy; else correct the value, in which a decimal mark may be lost",
                    shown(right)
                ),
            },
            Some((word, people, right)) => CellFault {
                code: Code::UnitSuspect,
                reason,
                remedy: say!(
                    "{} if the file is in {people}: set units.{name} = \"{word}\" under [[files.{table}]] in book.toml; else correct the value, in which a decimal mark may be lost",
                    shown(right)
                ),
            },
            None => {
                CellFault { code: Code::RangeImpossible, reason, remedy: say!("correct the value") }
            }
        }
    }
}
