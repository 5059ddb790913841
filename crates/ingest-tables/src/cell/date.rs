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
        DateOrder::Iso => return Err(DateFault::Ambiguous),
        DateOrder::DayFirst => checked(year, second, first),
        DateOrder::MonthFirst => checked(year, first, second),
    }?;
    Ok(ReadDate { liberty: short.then_some(DateLiberty::ShortYear), ..read })
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
    fn days_since_1970() {
        assert_eq!(epoch_days(date(1970, 1, 1)), 0);
        assert_eq!(epoch_days(date(1969, 12, 31)), -1);
        assert_eq!(epoch_days(date(2000, 3, 1)), 11_017);
    }
}
