//! Marks of numbers, and dates.

use crate::{Language, Text, constant, language, say};
use jiff::civil::Date;

/// A real minus sign.
pub const MINUS: char = '−';
/// Keeps a number and its sign on one line.
pub const NO_BREAK: char = '\u{a0}';
/// Sets thousands apart, in every language (ISO 80000-1, 7.3.1).
pub const NARROW_SPACE: char = '\u{202f}';

/// Between the whole part and the decimals.
#[must_use]
pub fn decimal_mark() -> char {
    match language() {
        Language::English => '.',
        Language::Portuguese => ',',
    }
}

/// Digits with thousands set apart. Four digits stay together: 2026 and 1500 read better whole.
#[must_use]
pub fn grouped(digits: &str) -> String {
    let mut out = String::with_capacity(digits.len());
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && digits.len() > 4 && (digits.len() - i).is_multiple_of(3) {
            out.push(NARROW_SPACE);
        }
        out.push(digit);
    }
    out
}

/// A number written by the program (`-1234.5`) as people of the language write it.
#[must_use]
pub fn spoken(plain: &str) -> String {
    let (sign, digits) = match plain.split_at_checked(1) {
        Some(("-", digits)) => ("−", digits),
        Some(("+", digits)) => ("+", digits),
        _ => ("", plain),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let mut out = format!("{sign}{}", grouped(whole));
    if !fraction.is_empty() {
        out.push(decimal_mark());
        out.push_str(fraction);
    }
    out
}

/// Digits written by the program with the decimal mark of the language, nothing else changed.
#[must_use]
pub fn with_mark(plain: &str) -> String {
    plain.replace('.', &decimal_mark().to_string())
}

const MONTHS: [Text; 12] = [
    constant!("January"),
    constant!("February"),
    constant!("March"),
    constant!("April"),
    constant!("May"),
    constant!("June"),
    constant!("July"),
    constant!("August"),
    constant!("September"),
    constant!("October"),
    constant!("November"),
    constant!("December"),
];

/// Name of a month, 1 to 12.
#[must_use]
pub fn month(number: i8) -> &'static str {
    let month = usize::try_from(number - 1).ok().and_then(|index| MONTHS.get(index));
    month.map_or("", |name| name.get())
}

/// A day of a month as people of the language write it: the first is an ordinal in Portuguese.
#[must_use]
pub fn day_of_month(number: i8) -> String {
    match (language(), number) {
        (Language::Portuguese, 1) => "1.º".to_owned(),
        _ => number.to_string(),
    }
}

/// A day, for example `3 May 2026`.
#[must_use]
pub fn date(day: Date) -> String {
    say!(
        "{day} {month} {year}",
        day = day_of_month(day.day()),
        month = month(day.month()),
        year = day.year()
    )
}

/// A span of days, the year written once where possible; a single day as that day.
#[must_use]
pub fn span(from: Date, to: Date) -> String {
    if from == to {
        date(from)
    } else if from.year() == to.year() {
        let start =
            say!("{day} {month}", day = day_of_month(from.day()), month = month(from.month()));
        say!("{from} to {to}", from = start, to = date(to))
    } else {
        say!("{from} to {to}", from = date(from), to = date(to))
    }
}

#[cfg(test)]
mod tests {
    use super::{date, span};
    use crate::{Language, speaking};

    /// The first of a month is an ordinal in Portuguese, and no other day.
    #[test]
    fn the_first_of_a_month_is_an_ordinal_in_portuguese() {
        let day = |day| jiff::civil::date(2026, 8, day);
        assert_eq!(span(day(1), day(2)), "1 August to 2 August 2026");
        speaking(Language::Portuguese, || {
            assert_eq!(date(day(1)), "1.º de agosto de 2026");
            assert_eq!(date(day(11)), "11 de agosto de 2026");
            assert_eq!(span(day(1), day(2)), "1.º de agosto a 2 de agosto de 2026");
        });
    }
}
