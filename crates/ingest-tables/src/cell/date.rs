//! Text to a date under a declared order of day and month.

use jiff::civil::{Date, date};
use records::DateOrder;

/// A date with the liberty taken to read it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ReadDate {
    pub(crate) date: Date,
    pub(crate) liberty: Option<DateLiberty>,
}

/// What had to be assumed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum DateLiberty {
    /// A spreadsheet's day number.
    Serial,
    /// A year of two digits, taken as 20yy.
    ShortYear,
}

/// Why text is no date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum DateFault {
    Unreadable,
    /// The form is right, the day does not exist.
    NoSuchDay,
    /// Day and month in an order that nobody declared.
    Ambiguous,
    /// Before 1900 or after 2200.
    OutOfRange,
}

/// Years that a record can be of.
pub(crate) const YEARS: std::ops::RangeInclusive<i16> = 1900..=2200;
/// Day numbers that are read as dates: October 1954 to January 2119.
const SERIALS: std::ops::RangeInclusive<f64> = 20_000.0..=80_000.0;

/// Reads a trimmed, non-empty text; with `or_year` a bare year stands for its first day.
pub(crate) fn parse(text: &str, order: DateOrder, or_year: bool) -> Result<ReadDate, DateFault> {
    if let Some((year, month, day)) = iso(text) {
        return checked(year, month, day);
    }
    if or_year
        && text.len() == 4
        && let Ok(year) = text.parse::<i16>()
    {
        return checked(year, 1, 1);
    }
    if let Ok(serial) = text.parse::<f64>() {
        return from_serial(serial);
    }
    if let Some((year, month, day)) = with_month_name(text) {
        let (year, short) = if year < 100 { (2000 + year, true) } else { (year, false) };
        let read = checked(year, month, day)?;
        return Ok(ReadDate { liberty: short.then_some(DateLiberty::ShortYear), ..read });
    }
    let day = text.split(['T', ' ']).next().unwrap_or(text);
    let mark = day.chars().find(|c| !c.is_ascii_digit()).ok_or(DateFault::Unreadable)?;
    if !['-', '/', '.'].contains(&mark) {
        return Err(DateFault::Unreadable);
    }
    let mut parts = day.split(mark);
    let (Some(first), Some(second), Some(third), None) =
        (parts.next(), parts.next(), parts.next(), parts.next())
    else {
        return Err(DateFault::Unreadable);
    };
    let number = |part: &str, lengths: std::ops::RangeInclusive<usize>| -> Result<i16, DateFault> {
        let is_number = part.bytes().all(|byte| byte.is_ascii_digit());
        if !is_number || !lengths.contains(&part.len()) {
            return Err(DateFault::Unreadable);
        }
        part.parse().map_err(|_| DateFault::Unreadable)
    };
    if first.len() == 4 {
        return checked(number(first, 4..=4)?, number(second, 1..=2)?, number(third, 1..=2)?);
    }
    let (first, second, year) =
        (number(first, 1..=2)?, number(second, 1..=2)?, number(third, 2..=4)?);
    let short = match third.len() {
        2 => true,
        4 => false,
        _ => return Err(DateFault::Unreadable),
    };
    let year = if short { 2000 + year } else { year };
    let read = match order {
        // A day that exists in neither order is none, whatever is declared.
        DateOrder::Iso
            if checked(year, second, first).or(checked(year, first, second)).is_err() =>
        {
            return Err(DateFault::NoSuchDay);
        }
        DateOrder::Iso => return Err(DateFault::Ambiguous),
        DateOrder::DayFirst => checked(year, second, first),
        DateOrder::MonthFirst => checked(year, first, second),
    }?;
    Ok(ReadDate { liberty: short.then_some(DateLiberty::ShortYear), ..read })
}

/// The stretches of days, as first and last of each, that a text which is no date may stand for: two
/// days where nobody declared the order of day and month, the month or the year of a day that does not
/// exist. Empty where nothing is known.
pub(crate) fn possible(text: &str, order: DateOrder) -> Vec<(i32, i32)> {
    let whole = |year: i16, month: i16| -> Option<(i32, i32)> {
        let first = checked(year, month, 1).ok()?.date;
        Some((epoch_days(first), epoch_days(first.last_of_month())))
    };
    let of_year = |year: i16| {
        let (first, last) = (checked(year, 1, 1).ok()?, checked(year, 12, 31).ok()?);
        Some((epoch_days(first.date), epoch_days(last.date)))
    };
    match parse(text, order, false) {
        Ok(read) => vec![(epoch_days(read.date), epoch_days(read.date))],
        Err(DateFault::Ambiguous) => {
            let either = [DateOrder::DayFirst, DateOrder::MonthFirst];
            let mut days: Vec<i32> = either
                .into_iter()
                .filter_map(|order| Some(epoch_days(parse(text, order, false).ok()?.date)))
                .collect();
            days.dedup();
            days.into_iter().map(|day| (day, day)).collect()
        }
        Err(DateFault::NoSuchDay) => {
            let numbers: Vec<i16> = text
                .split(|c: char| !c.is_ascii_digit())
                .filter_map(|part| part.parse().ok())
                .take(3)
                .collect();
            let (year, month) = match (numbers.as_slice(), with_month_name(text)) {
                (_, Some((year, month, _))) => (year, Some(month)),
                ([year, month, _], None) if *year > 31 => (*year, Some(*month)),
                ([first, second, year], None) => {
                    let month = match order {
                        DateOrder::Iso => None,
                        DateOrder::DayFirst => Some(*second),
                        DateOrder::MonthFirst => Some(*first),
                    };
                    (*year, month)
                }
                _ => return Vec::new(),
            };
            let year = if year < 100 { 2000 + year } else { year };
            let month = month.and_then(|month| whole(year, month));
            month.or_else(|| of_year(year)).into_iter().collect()
        }
        Err(DateFault::Unreadable | DateFault::OutOfRange) => Vec::new(),
    }
}

/// Months in the languages of the countries that grow most cashew: English, Portuguese, French and
/// Spanish, without accents.
const MONTHS: [[&str; 4]; 12] = [
    ["january", "janeiro", "janvier", "enero"],
    ["february", "fevereiro", "fevrier", "febrero"],
    ["march", "marco", "mars", "marzo"],
    ["april", "abril", "avril", "abril"],
    ["may", "maio", "mai", "mayo"],
    ["june", "junho", "juin", "junio"],
    ["july", "julho", "juillet", "julio"],
    ["august", "agosto", "aout", "agosto"],
    ["september", "setembro", "septembre", "septiembre"],
    ["october", "outubro", "octobre", "octubre"],
    ["november", "novembro", "novembre", "noviembre"],
    ["december", "dezembro", "decembre", "diciembre"],
];

/// Year, month and day of 5-Jul-2024, 5 de julho de 2024, July 5, 2024 or 2024 Jul 5: a named month
/// leaves no doubt of the order, so none has to be declared.
fn with_month_name(text: &str) -> Option<(i16, i16, i16)> {
    let parts = text.split(['-', '/', '.', ',', ' ']);
    let mut parts = parts.filter(|part| !part.is_empty() && !part.eq_ignore_ascii_case("de"));
    let (first, second, third) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() {
        return None;
    }
    let number = |part: &str, length: std::ops::RangeInclusive<usize>| -> Option<i16> {
        let is_number = part.bytes().all(|byte| byte.is_ascii_digit());
        if is_number && length.contains(&part.len()) { part.parse().ok() } else { None }
    };
    let year = |part: &str| number(part, 2..=4).filter(|_| part.len() != 3);
    if let Some(month) = month_of(second) {
        return match number(first, 4..=4) {
            Some(year) => Some((year, month, number(third, 1..=2)?)),
            None => Some((year(third)?, month, number(first, 1..=2)?)),
        };
    }
    Some((year(third)?, month_of(first)?, number(second, 1..=2)?))
}

/// The month that a word of three letters or more begins; none where two months begin so.
fn month_of(word: &str) -> Option<i16> {
    let plain: String = word
        .chars()
        .flat_map(char::to_lowercase)
        .map(|letter| match letter {
            '\u{e7}' => 'c',
            '\u{e9}' => 'e',
            '\u{fb}' => 'u',
            other => other,
        })
        .collect();
    if plain.len() < 3 || !plain.bytes().all(|byte| byte.is_ascii_lowercase()) {
        return None;
    }
    let mut found = (1..)
        .zip(&MONTHS)
        .filter(|(_, names)| names.iter().any(|name| name.starts_with(&plain)))
        .map(|(month, _)| month);
    found.next().filter(|_| found.next().is_none())
}

/// The parts of the commonest form, 2024-07-05, without a look at the others.
fn iso(text: &str) -> Option<(i16, i16, i16)> {
    let [a, b, c, d, b'-', e, f, b'-', g, h] = text.as_bytes() else { return None };
    let number = |digits: &[&u8]| {
        digits.iter().try_fold(0_i16, |number, digit| {
            digit.is_ascii_digit().then(|| 10 * number + i16::from(**digit - b'0'))
        })
    };
    Some((number(&[a, b, c, d])?, number(&[e, f])?, number(&[g, h])?))
}

/// A spreadsheet's day number, day 1 being 1 January 1900 with the customary 29 February 1900,
/// so that day 60 onwards counts from 30 December 1899.
pub(crate) fn from_serial(serial: f64) -> Result<ReadDate, DateFault> {
    if !SERIALS.contains(&serial) {
        return Err(DateFault::Unreadable);
    }
    let span = jiff::SignedDuration::from_hours(24 * serial.floor() as i64);
    let date = date(1899, 12, 30).checked_add(span).map_err(|_| DateFault::OutOfRange)?;
    Ok(ReadDate { date, liberty: Some(DateLiberty::Serial) })
}

fn checked(year: i16, month: i16, day: i16) -> Result<ReadDate, DateFault> {
    let narrow = |part: i16| i8::try_from(part).map_err(|_| DateFault::NoSuchDay);
    let date = Date::new(year, narrow(month)?, narrow(day)?).map_err(|_| DateFault::NoSuchDay)?;
    if YEARS.contains(&year) {
        Ok(ReadDate { date, liberty: None })
    } else {
        Err(DateFault::OutOfRange)
    }
}

/// Days since 1970-01-01.
pub(crate) fn epoch_days(day: Date) -> i32 {
    let hours = day.duration_since(date(1970, 1, 1)).as_hours();
    i32::try_from(hours / 24).unwrap_or(i32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use DateOrder::{DayFirst, Iso, MonthFirst};

    fn read(text: &str, order: DateOrder) -> Result<(Date, Option<DateLiberty>), DateFault> {
        parse(text, order, false).map(|read| (read.date, read.liberty))
    }

    #[test]
    fn forms() {
        let day = date(2024, 7, 5);
        for text in ["2024-07-05", "2024/7/5", "2024-07-05T10:00:00Z", "2024-07-05 10:00"] {
            assert_eq!(read(text, Iso), Ok((day, None)), "{text}");
        }
        for text in ["05/07/2024", "5.7.2024", "05-07-2024 08:30"] {
            assert_eq!(read(text, DayFirst), Ok((day, None)), "{text}");
        }
        assert_eq!(read("07/05/2024", MonthFirst), Ok((day, None)));
        assert_eq!(read("5/7/24", DayFirst), Ok((day, Some(DateLiberty::ShortYear))));
    }

    #[test]
    fn serials_follow_the_spreadsheet() {
        // Spreadsheet convention: 45292 is 1 January 2024 (and 36526 is 1 January 2000).
        assert_eq!(read("45292", Iso), Ok((date(2024, 1, 1), Some(DateLiberty::Serial))));
        assert_eq!(read("36526.75", Iso), Ok((date(2000, 1, 1), Some(DateLiberty::Serial))));
        assert_eq!(read("20240101", Iso), Err(DateFault::Unreadable));
    }

    #[test]
    fn years_and_faults() {
        assert_eq!(parse("2009", Iso, true).unwrap().date, date(2009, 1, 1));
        assert_eq!(read("2009", Iso), Err(DateFault::Unreadable));
        assert_eq!(read("05/07/2024", Iso), Err(DateFault::Ambiguous));
        assert_eq!(read("25/07/2024", Iso), Err(DateFault::Ambiguous));
        assert_eq!(read("07/15/2024", DayFirst), Err(DateFault::NoSuchDay));
        assert_eq!(read("2023-02-29", Iso), Err(DateFault::NoSuchDay));
        assert_eq!(read("1024-07-05", Iso), Err(DateFault::OutOfRange));
        for text in ["soon", "2024-07", "1/2/3/4", "1/2/345", "2024-7-5x", "é/1/2024", "inf"] {
            assert_eq!(read(text, DayFirst), Err(DateFault::Unreadable), "{text}");
        }
    }

    #[test]
    fn what_a_day_that_is_none_may_have_been() {
        let span = |(y0, m0, d0): (i16, i8, i8), (y1, m1, d1): (i16, i8, i8)| {
            (epoch_days(date(y0, m0, d0)), epoch_days(date(y1, m1, d1)))
        };
        let february = vec![span((2023, 2, 1), (2023, 2, 28))];
        for (text, order) in [
            ("2023-02-30", Iso),
            ("30/2/2023", DayFirst),
            ("2/30/23", MonthFirst),
            ("30-feb-2023", Iso),
        ] {
            assert_eq!(possible(text, order), february, "{text}");
        }
        // No month either: somewhere in the year.
        assert_eq!(possible("2023-13-05", Iso), [span((2023, 1, 1), (2023, 12, 31))]);
        let either = [span((2024, 4, 3), (2024, 4, 3)), span((2024, 3, 4), (2024, 3, 4))];
        assert_eq!(possible("03/04/2024", Iso), either);
        assert_eq!(possible("25/04/2024", Iso), [span((2024, 4, 25), (2024, 4, 25))]);
        assert_eq!(possible("after the rains", Iso), []);
        assert_eq!(possible("2024-07-05", Iso), [span((2024, 7, 5), (2024, 7, 5))]);
    }

    #[test]
    fn days_since_1970() {
        assert_eq!(epoch_days(date(1970, 1, 1)), 0);
        assert_eq!(epoch_days(date(1969, 12, 31)), -1);
        assert_eq!(epoch_days(date(2000, 3, 1)), 11_017);
    }

    #[test]
    fn a_named_month_needs_no_declared_order() {
        let fifth = Ok((date(2024, 7, 5), None));
        for text in [
            "5-Jul-2024",
            "05/jul/2024",
            "5 de julho de 2024",
            "July 5, 2024",
            "2024 juil. 5",
            "5.Julio.2024",
        ] {
            assert_eq!(read(text, Iso), fifth, "{text}");
        }
        for (text, month) in
            [("1-out-2024", 10), ("1 ao\u{fb}t 2024", 8), ("1-dez-2024", 12), ("1-Mar-2024", 3)]
        {
            assert_eq!(read(text, Iso), Ok((date(2024, month, 1), None)), "{text}");
        }
        let short = Some(DateLiberty::ShortYear);
        assert_eq!(read("25-out-24", Iso), Ok((date(2024, 10, 25), short)));
        // June and July both begin so in French; a season is no month; no day has three digits.
        for text in [
            "5-jui-2024",
            "5-verao-2024",
            "205-jul-2024",
            "5-jul-202",
            "jul-2024",
            "5 jul 2024 10:00",
        ] {
            assert_eq!(read(text, Iso), Err(DateFault::Unreadable), "{text}");
        }
        assert_eq!(read("31-Apr-2024", Iso), Err(DateFault::NoSuchDay));
    }
}
