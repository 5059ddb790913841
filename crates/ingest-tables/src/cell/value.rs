//! Reads one cell as its column wants it, with range and unit checks.

use super::date::{self, DateFault, DateLiberty};
use super::fault::{CellFault, quoted, too_long};
use super::number::{self, Number};
use crate::rows::Cell;
use records::units::{self, Form, Unit};
use records::{Code, ColumnKind, ColumnSpec, DateOrder, DecimalMark, Table, reads_as_empty};
use words::say;

/// A typed cell; text stays where it is and is fetched when the row is kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Value {
    Null,
    Text,
    Word(&'static str),
    Number(f64),
    Count(i64),
    /// Days since 1970-01-01.
    Date(i32),
    Flag(bool),
}

impl Value {
    /// The value as a number, when it is one.
    pub(crate) fn as_number(self) -> Option<f64> {
        match self {
            Self::Number(value) => Some(value),
            Self::Count(value) => Some(value as f64),
            _ => None,
        }
    }
}

/// How the cells of a file are written.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Style {
    pub(crate) table: Table,
    pub(crate) decimal: DecimalMark,
    /// The file itself, not the book, declares the decimal mark.
    pub(crate) decimal_is_stated: bool,
    pub(crate) dates: DateOrder,
}

/// Repairs and oddities of one cell.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(crate) struct Notes {
    pub(crate) repairs: Vec<Code>,
    pub(crate) is_unusual: bool,
}

/// Reads the cells of one column of one file.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CellReader {
    pub(crate) column: &'static ColumnSpec,
    /// The unit of the file's values, when it is not the schema's.
    pub(crate) unit: Option<Unit>,
    pub(crate) style: Style,
}

/// What spreadsheets write where a formula has no value, in English and where other languages
/// differ.
const ERRORS: [&str; 14] = [
    "#value!", "#ref!", "#n/a", "#div/0!", "#name?", "#num!", "#null!", "#spill!", "#calc!",
    "#valor!", "#n/d", "#nome?", "#valeur!", "#nom?",
];

/// Whether a text is what a spreadsheet writes for a formula without a value.
fn is_formula_error(text: &str) -> bool {
    text.starts_with('#')
        && (ERRORS.iter().any(|error| text.eq_ignore_ascii_case(error))
            || text.bytes().all(|byte| byte == b'#'))
}

impl CellReader {
    /// The value of a cell; repairs go to `notes`.
    pub(crate) fn read(&self, cell: Cell<'_>, notes: &mut Notes) -> Result<Value, CellFault> {
        let value = match cell {
            Cell::Empty => Value::Null,
            Cell::Broken(text) => return Err(self.broken(&text)),
            Cell::Text(text) => {
                let text = text.trim();
                match reads_as_empty(text) {
                    true if self.column.required && !text.is_empty() => {
                        return Err(self.missing(Some(text)));
                    }
                    true => Value::Null,
                    false => self.take_text(text, notes)?,
                }
            }
            Cell::Integer(value) => self.take_number(value as f64, notes)?,
            Cell::Number(value) => self.take_number(value, notes)?,
            Cell::Date(day) => self.take_date(day)?,
            Cell::Clock(days) => self.clock(days, &cell.into_text(), notes)?,
            Cell::Flag(value) => match self.column.kind {
                ColumnKind::Flag => Value::Flag(value),
                ColumnKind::Text => Value::Text,
                _ => return Err(self.broken(if value { "yes" } else { "no" })),
            },
        };
        if value == Value::Null && self.column.required {
            return Err(self.missing(None));
        }
        Ok(value)
    }

    fn take_text(&self, text: &str, notes: &mut Notes) -> Result<Value, CellFault> {
        match self.column.kind {
            ColumnKind::Text => too_long(self.column.name, text).map_or(Ok(Value::Text), Err),
            _ if is_formula_error(text) => Err(self.broken(text)),
            ColumnKind::Word(words) => self.word(text, words),
            ColumnKind::Flag => self.flag(text),
            ColumnKind::Date => self.date(text, false, notes),
            ColumnKind::DateOrYear => self.date(text, true, notes),
            ColumnKind::Number | ColumnKind::Count => {
                if let Some(Unit { factor, form: Form::Colons }) = self.unit {
                    let value = sixtieths(text).ok_or_else(|| self.no_time(text))?;
                    return self.checked(value, Some(factor), notes);
                }
                let (body, own) = without_own_unit(text, self.column.unit);
                let read = number::parse(body, self.style.decimal, self.style.decimal_is_stated)
                    .map_err(|fault| self.no_number(text, fault))?;
                let Number { value, comma, thousands } = read;
                if comma {
                    notes.repairs.push(Code::DecimalComma);
                }
                if thousands {
                    notes.repairs.push(Code::ThousandsMark);
                }
                self.checked(value, own.or(self.factor()).filter(|&f| f != 1.0), notes)
            }
        }
    }

    fn take_number(&self, value: f64, notes: &mut Notes) -> Result<Value, CellFault> {
        match self.column.kind {
            ColumnKind::Text => Ok(Value::Text),
            ColumnKind::Number | ColumnKind::Count => {
                if self.unit.is_some_and(Unit::has_colons) {
                    return Err(self.no_time(&value.to_string()));
                }
                self.checked(value, self.factor(), notes)
            }
            ColumnKind::Date | ColumnKind::DateOrYear => {
                let or_year = self.column.kind == ColumnKind::DateOrYear;
                self.date(&value.to_string(), or_year, notes)
            }
            ColumnKind::Flag | ColumnKind::Word(_) => self.take_text(&value.to_string(), notes),
        }
    }

    fn take_date(&self, day: jiff::civil::Date) -> Result<Value, CellFault> {
        match self.column.kind {
            ColumnKind::Date | ColumnKind::DateOrYear if date::YEARS.contains(&day.year()) => {
                Ok(Value::Date(date::epoch_days(day)))
            }
            ColumnKind::Date | ColumnKind::DateOrYear => {
                Err(self.no_date(&day.to_string(), DateFault::OutOfRange))
            }
            ColumnKind::Text => Ok(Value::Text),
            _ => Err(CellFault {
                code: Code::NumberUnreadable,
                reason: say!("{} holds the date {day}", self.column.name),
                remedy: say!(
                    "the spreadsheet turned the entry into a date; enter it again as a number"
                ),
            }),
        }
    }

    fn factor(&self) -> Option<f64> {
        self.unit.map(|unit| unit.factor)
    }

    /// A time of a spreadsheet, which takes what is typed with a colon for hours and minutes.
    fn clock(&self, days: f64, shown: &str, notes: &mut Notes) -> Result<Value, CellFault> {
        match (self.column.kind, self.unit) {
            (ColumnKind::Text, _) => Ok(Value::Text),
            (_, Some(Unit { factor, form: Form::Colons })) => {
                // Rounded to the second: a time of day is no exact fraction of a day.
                let parts = (days * 86_400.0).round() / 3600.0;
                self.checked(parts, Some(factor), notes)
            }
            _ if units::forms(self.column.unit).is_empty() => Err(self.broken(shown)),
            _ => Err(self.no_time(shown)),
        }
    }

    fn word(&self, text: &str, words: &'static [&'static str]) -> Result<Value, CellFault> {
        let plain = crate::header::normalised(text);
        words.iter().find(|word| **word == plain).map(|word| Value::Word(word)).ok_or_else(|| {
            CellFault {
                code: Code::WordUnknown,
                reason: say!("{} {} is not in its list", self.column.name, quoted(text)),
                remedy: say!(
                    "use one of {}; or say what the word means: values = {{ {} = {{ {} = \"its meaning\" }} }} under [[files.{}]] in book.toml",
                    words.join(", "),
                    self.column.name,
                    quoted(text),
                    self.style.table
                ),
            }
        })
    }

    fn flag(&self, text: &str) -> Result<Value, CellFault> {
        let is = |words: &[&str]| words.iter().any(|word| text.eq_ignore_ascii_case(word));
        if is(&["yes", "y", "true", "t", "1"]) {
            Ok(Value::Flag(true))
        } else if is(&["no", "n", "false", "f", "0"]) {
            Ok(Value::Flag(false))
        } else {
            Err(CellFault {
                code: Code::WordUnknown,
                reason: say!("{} {} is neither yes nor no", self.column.name, quoted(text)),
                remedy: say!("write yes or no"),
            })
        }
    }

    fn date(&self, text: &str, or_year: bool, notes: &mut Notes) -> Result<Value, CellFault> {
        let read = date::parse(text, self.style.dates, or_year)
            .map_err(|fault| self.no_date(text, fault))?;
        match read.liberty {
            Some(DateLiberty::Serial) => notes.repairs.push(Code::DateSerial),
            Some(DateLiberty::ShortYear) => notes.repairs.push(Code::YearShort),
            None => {}
        }
        Ok(Value::Date(date::epoch_days(read.date)))
    }

    /// Converts, checks the range, and types the number.
    fn checked(
        &self,
        written: f64,
        factor: Option<f64>,
        notes: &mut Notes,
    ) -> Result<Value, CellFault> {
        let name = self.column.name;
        let value = factor.map_or(written, |factor| converted(written, factor));
        let is_left = self.unit.is_some_and(Unit::is_left);
        let value = if is_left { taken(value) } else { value };
        if !value.is_finite() {
            return Err(CellFault {
                code: Code::NumberUnreadable,
                reason: say!("{name} is not a finite number"),
                remedy: say!("leave the cell empty when there is no value"),
            });
        }
        if let Some((low, high)) = self.column.possible
            && !(low..=high).contains(&value)
        {
            let is_converted = factor.is_some() || is_left;
            return Err(self.impossible(written, value, (low, high), is_converted));
        }
        if self.column.kind == ColumnKind::Count && value.fract() != 0.0 {
            return Err(CellFault {
                code: Code::NumberUnreadable,
                reason: say!("{name} {value} is not a whole number"),
                remedy: say!("counts are whole numbers; correct the value"),
            });
        }
        if factor.is_some() || is_left {
            notes.repairs.push(Code::UnitConverted);
        }
        notes.is_unusual =
            self.column.usual.is_some_and(|(low, high)| !(low..=high).contains(&value));
        if self.column.kind == ColumnKind::Count {
            Ok(Value::Count(value as i64))
        } else {
            Ok(Value::Number(value))
        }
    }
}

/// A value in the schema's unit. Where that holds a whole number of the written one it is divided, which rounds as
/// the same value does that was written in the schema's own: 1910 g are 1.91 kg to the last digit, and a repetition.
fn converted(written: f64, factor: f64) -> f64 {
    let parts = (1.0 / factor).round();
    if parts > 1.0 && 1.0 / parts == factor { written / parts } else { written * factor }
}

/// What was taken of a whole of which so much is left, to the decimal digits that people write: 0.7 left are
/// 0.3 taken, where plain subtraction gives 0.30000000000000004, another value than the same cut written as such.
fn taken(left: f64) -> f64 {
    const DIGITS: f64 = 1e12;
    ((1.0 - left) * DIGITS).round() / DIGITS
}

/// A time with one or two colons, in units of its first part; each part is sixty to one of that
/// before it.
pub(super) fn sixtieths(text: &str) -> Option<f64> {
    let mut parts = text.split(':');
    let (first, second, third) = (parts.next()?, parts.next()?, parts.next());
    let part = |part: &str, most: u16| {
        let is_digits = (1..=2).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
        part.parse::<u16>().ok().filter(|&of| is_digits && of <= most).map(f64::from)
    };
    let rest = third.map_or(Some(0.0), |third| part(third, 59))?;
    let whole = part(first, 99)? + part(second, 59)? / 60.0 + rest / 3600.0;
    parts.next().is_none().then_some(whole)
}

/// The number of a cell that states its own unit, such as `2.4 kg` or `30%`, and what that unit's
/// values are multiplied by; the text as it is where nothing or no known unit follows the digits.
fn without_own_unit<'text>(text: &'text str, schema: &str) -> (&'text str, Option<f64>) {
    let end = text.rfind(|c: char| c.is_ascii_digit()).map_or(0, |last| last + 1);
    let (body, unit) = text.split_at(end);
    if unit.is_empty() || body.is_empty() {
        return (text, None);
    }
    units::factor(unit, schema).map_or((text, None), |factor| (body, Some(factor)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::borrow::Cow;

    fn reader(table: Table, column: &str, factor: Option<f64>) -> CellReader {
        let style = Style {
            table,
            decimal: DecimalMark::Point,
            decimal_is_stated: false,
            dates: DateOrder::Iso,
        };
        let unit = factor.map(Unit::plain);
        CellReader { column: table.spec().column(column).unwrap(), unit, style }
    }

    fn read(reader: &CellReader, text: &str) -> (Result<Value, CellFault>, Notes) {
        let mut notes = Notes::default();
        let value = reader.read(Cell::Text(Cow::Borrowed(text)), &mut notes);
        (value, notes)
    }

    #[test]
    fn four_tonnes_from_a_tree_are_probably_grams() {
        let fault = read(&reader(Table::Harvests, "nut_kg", None), "4000").0.unwrap_err();
        assert_eq!(fault.code, Code::UnitSuspect);
        assert_eq!(fault.reason, "nut_kg = 4000 kg is impossible (0 to 300 kg)");
        assert_eq!(
            fault.remedy,
            "4 kg if the file is in grams: set units.nut_kg = \"g\" under [[files.harvests]] in book.toml; else correct the value, in which a decimal mark may be lost"
        );
        let negative = read(&reader(Table::Harvests, "nut_kg", None), "-1").0.unwrap_err();
        assert_eq!(negative.code, Code::RangeImpossible);
        let (value, notes) = read(&reader(Table::Harvests, "nut_kg", Some(0.001)), "4000");
        assert_eq!(value, Ok(Value::Number(4.0)));
        assert_eq!(notes.repairs, [Code::UnitConverted]);
    }

    #[test]
    fn per_cent_needs_a_sign_or_a_declaration() {
        let plain = reader(Table::Prunings, "intensity", None);
        assert_eq!(read(&plain, "0.3").0, Ok(Value::Number(0.3)));
        let (value, notes) = read(&plain, "30 %");
        assert_eq!((value, notes.repairs), (Ok(Value::Number(0.3)), vec![Code::UnitConverted]));
        let fault = read(&plain, "30").0.unwrap_err();
        assert_eq!(fault.code, Code::UnitSuspect);
        assert!(fault.remedy.contains("units.intensity = \"pct\""), "{}", fault.remedy);
        let declared = reader(Table::Prunings, "intensity", Some(0.01));
        assert_eq!(read(&declared, "30").0, Ok(Value::Number(0.3)));
        assert_eq!(read(&declared, "30%").0, Ok(Value::Number(0.3)));
        assert_eq!(
            read(&reader(Table::Harvests, "moisture_pct", None), "8%").0,
            Ok(Value::Number(8.0))
        );
    }

    /// A file may say what was left of the canopy: every cell of it does, whatever unit it states.
    #[test]
    fn what_is_left_is_read_as_what_was_cut() {
        let plain = reader(Table::Prunings, "intensity", None);
        let with = |word: &str| CellReader { unit: units::declared(word, "fraction"), ..plain };
        let cases = [
            ("pct_left", "75", 0.25),
            ("pct_left", "70", 0.3),
            ("pct_left", "72.3", 0.277),
            ("pct_left", "100", 0.0),
            ("pct_left", "100 %", 0.0),
            ("pct_left", "0", 1.0),
            ("fraction_left", "0.7", 0.3),
            ("fraction_left", "1", 0.0),
            ("fraction_left", "75 %", 0.25),
            ("fraction_cut", "0.75", 0.75),
            ("pct_cut", "75", 0.75),
        ];
        for (unit, text, cut) in cases {
            let (value, notes) = read(&with(unit), text);
            assert_eq!(value, Ok(Value::Number(cut)), "{unit} {text}");
            let is_as_written = unit == "fraction_cut";
            assert_eq!(notes.repairs.len(), usize::from(!is_as_written), "{unit} {text}");
        }
        let mut notes = Notes::default();
        let value = with("fraction_left").read(Cell::Number(0.7), &mut notes);
        assert_eq!((value, notes.repairs), (Ok(Value::Number(0.3)), vec![Code::UnitConverted]));
        let fault = read(&with("pct_left"), "130").0.unwrap_err();
        assert_eq!(fault.code, Code::RangeImpossible);
        assert_eq!(
            fault.reason,
            "intensity = -0.3 (written 130, as what is left) is impossible (0 to 1)"
        );
        let fault = read(&with("fraction_left"), "75").0.unwrap_err();
        assert_eq!(fault.code, Code::UnitSuspect);
        assert!(fault.remedy.contains("units.intensity = \"pct_left\""), "{}", fault.remedy);
        // Who meets per cent first is told of both ways to mean them.
        let fault = read(&plain, "75").0.unwrap_err();
        assert!(fault.remedy.contains("\"pct_left\""), "{}", fault.remedy);
    }

    /// A cell's own unit settles what it means, whatever the file declares.
    #[test]
    fn a_unit_behind_the_number_is_read() {
        let kilograms = reader(Table::Harvests, "nut_kg", None);
        let (value, notes) = read(&kilograms, "2.4 kg");
        assert_eq!((value, notes.repairs), (Ok(Value::Number(2.4)), vec![]));
        let (value, notes) = read(&kilograms, "2400g");
        assert_eq!((value, notes.repairs), (Ok(Value::Number(2.4)), vec![Code::UnitConverted]));
        let grams = reader(Table::Harvests, "nut_kg", Some(0.001));
        assert_eq!(read(&grams, "2400").0, Ok(Value::Number(2.4)));
        assert_eq!(read(&grams, "2.4 KG").0, Ok(Value::Number(2.4)));
        let minutes = reader(Table::Prunings, "minutes", None);
        assert_eq!(read(&minutes, "1.5 h").0, Ok(Value::Number(90.0)));
        for text in ["2.4 bags", "2.4 kg wet", "2.4 m", "kg 2.4"] {
            let fault = read(&kilograms, text).0.unwrap_err();
            assert_eq!(fault.code, Code::NumberUnreadable, "{text}");
            assert_eq!(fault.remedy, "write digits only, or digits and their unit: kg, g, t, lb");
        }
        let words = read(&kilograms, "many").0.unwrap_err();
        assert!(
            words.remedy.contains("values = { nut_kg = { 'many' = NUMBER } }"),
            "{}",
            words.remedy
        );
        let nuts = read(&reader(Table::Harvests, "nut_count", None), "12 nuts").0.unwrap_err();
        assert_eq!(nuts.remedy, "write digits only, without unit or remark");
    }

    /// 0:09 may be nine minutes or nine seconds: it is read as declared, or refused with both ways.
    #[test]
    fn times_with_colons_are_read_as_declared() {
        let undeclared = reader(Table::Prunings, "minutes", None);
        let fault = read(&undeclared, "0:09").0.unwrap_err();
        assert!(fault.remedy.contains("units = { minutes = \"h:mm\" }"), "{}", fault.remedy);
        let with = |form: &str| CellReader { unit: units::declared(form, "min"), ..undeclared };
        let (hours, minutes) = (with("h:mm"), with("m:ss"));
        for (text, of_hours, of_minutes) in
            [("0:09", 9.0, 0.15), ("1:30", 90.0, 1.5), ("0:09:30", 9.5, 0.158_333_333_333_333_33)]
        {
            let near = |reader, expected: f64| {
                let (value, notes) = read(reader, text);
                let value = value.unwrap().as_number().unwrap();
                assert!((value - expected).abs() < 1e-12, "{text}: {value}");
                assert_eq!(notes.repairs, [Code::UnitConverted]);
            };
            near(&hours, of_hours);
            near(&minutes, of_minutes);
        }
        for text in ["9", "0:60", "0:9:99", "1:2:3:4", ":09", "0:", "-1:00", "noon"] {
            assert!(read(&hours, text).0.is_err(), "{text}");
        }
        // Nine minutes past midnight, as spreadsheets keep it.
        let mut notes = Notes::default();
        let clock =
            |reader: &CellReader, notes: &mut Notes| reader.read(Cell::Clock(0.00625), notes);
        assert_eq!(clock(&hours, &mut notes), Ok(Value::Number(9.0)));
        assert_eq!(clock(&minutes, &mut notes), Ok(Value::Number(0.15)));
        assert!(clock(&undeclared, &mut notes).unwrap_err().reason.ends_with("'0:09'"));
        let kilograms = reader(Table::Harvests, "nut_kg", None);
        assert!(clock(&kilograms, &mut notes).is_err());
    }

    #[test]
    fn marks_for_the_cell_above_are_sent_to_fill_down() {
        let date = reader(Table::Harvests, "date", None);
        for mark in ["\"", "''", "do.", ",,", "Idem"] {
            let fault = read(&date, mark).0.unwrap_err();
            assert_eq!(fault.code, Code::DateUnreadable, "{mark}");
            assert!(fault.remedy.contains("fill_down = [\"date\"]"), "{}", fault.remedy);
        }
        let fault = read(&date, "domingo").0.unwrap_err();
        assert!(!fault.remedy.contains("fill_down"), "{}", fault.remedy);
    }

    #[test]
    fn a_hint_on_dates_names_the_order_declared() {
        let of = |dates| {
            let date = reader(Table::Harvests, "date", None);
            let date = CellReader { style: Style { dates, ..date.style }, ..date };
            read(&date, "after the rains").0.unwrap_err().remedy
        };
        assert_eq!(of(DateOrder::Iso), "write dates as year-month-day, for example 2024-07-15");
        assert!(of(DateOrder::DayFirst).contains("\"day_first\" declares, for example 15/07/2024"));
        assert!(of(DateOrder::MonthFirst).contains("\"month_first\" declares, for example 07/15"));
    }

    /// What a formula left behind is no word of the file's own.
    #[test]
    fn errors_of_formulas_are_to_be_mended() {
        for (table, column) in [
            (Table::Harvests, "nut_kg"),
            (Table::Harvests, "date"),
            (Table::Prunings, "dressed"),
            (Table::Blocks, "training"),
        ] {
            for text in ["#VALUE!", "#N/A", "#DIV/0!", "#REF!", "####"] {
                let fault = read(&reader(table, column, None), text).0.unwrap_err();
                assert_eq!(
                    fault.remedy, "mend the cell in the file and run again",
                    "{column} {text}"
                );
            }
        }
        let words = read(&reader(Table::Harvests, "nut_kg", None), "# many").0.unwrap_err();
        assert!(words.remedy.contains("values = "), "{}", words.remedy);
    }

    #[test]
    fn missing_words_flags_counts_and_lists() {
        let moisture = reader(Table::Harvests, "moisture_pct", None);
        for text in ["", " ", "NA", "n/a", "-", "null", "."] {
            assert_eq!(read(&moisture, text).0, Ok(Value::Null), "{text}");
        }
        let kilograms = reader(Table::Harvests, "nut_kg", None);
        assert_eq!(read(&kilograms, "NA").0.unwrap_err().code, Code::CellMissing);
        assert_eq!(read(&kilograms, "nan").0.unwrap_err().code, Code::NumberUnreadable);
        assert!(read(&kilograms, "75").1.is_unusual);
        let count = reader(Table::Harvests, "nut_count", None);
        assert_eq!(read(&count, "12.0").0, Ok(Value::Count(12)));
        assert_eq!(read(&count, "12.5").0.unwrap_err().code, Code::NumberUnreadable);
        let dressed = reader(Table::Prunings, "dressed", None);
        assert_eq!(read(&dressed, "Yes").0, Ok(Value::Flag(true)));
        assert_eq!(read(&dressed, "perhaps").0.unwrap_err().code, Code::WordUnknown);
        let training = reader(Table::Blocks, "training", None);
        assert_eq!(read(&training, "Open centre").0, Ok(Value::Word("open_centre")));
        assert_eq!(read(&training, "bonsai").0.unwrap_err().code, Code::WordUnknown);
    }
}
