//! Text to a number under a declared decimal mark.

use records::DecimalMark;

/// A number with the liberties taken to read it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Number {
    pub(crate) value: f64,
    /// A comma was read as the decimal mark although the point is declared.
    pub(crate) comma: bool,
    /// Thousands marks were dropped.
    pub(crate) thousands: bool,
}

/// Why text is no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NumberFault {
    Unreadable,
    /// `1,234`: thousands or decimals.
    Ambiguous,
    /// Too large for a number.
    TooLarge,
    /// A decimal point where the comma is declared.
    PointUnderComma,
}

/// Spaces and apostrophes that people put between thousands.
const GAPS: [char; 6] = [' ', '\u{a0}', '\u{202f}', '\u{2009}', '\'', '\u{2019}'];

/// A number as people write it: six decimals hide the rounding of unit conversions and nothing
/// that is measured here.
pub(crate) fn plain(value: f64) -> String {
    let rounded = (value * 1e6).round() / 1e6;
    let shown = if rounded.is_finite() && rounded != 0.0 { rounded } else { value };
    words::with_mark(&shown.to_string())
}

/// Reads a trimmed, non-empty text.
///
/// Under the point, a comma that cannot stand for thousands is a decimal mark. `is_stated` says
/// that the file itself declares its mark, so that `1,234` is one thousand and not a riddle.
pub(crate) fn parse(text: &str, mark: DecimalMark, is_stated: bool) -> Result<Number, NumberFault> {
    let plain =
        |byte: &u8| byte.is_ascii_digit() || matches!(byte, b'.' | b'-' | b'+' | b'e' | b'E');
    let has_point = text.contains('.');
    if text.as_bytes().iter().all(plain) && (mark == DecimalMark::Point || !has_point) {
        // The point cannot appear twice here: `parse` refuses it, and the slow path reads 1.234.567.
        if let Ok(value) = text.parse::<f64>() {
            return finite(value, false, false);
        }
    }
    slow(text, mark, is_stated)
}

fn finite(value: f64, comma: bool, thousands: bool) -> Result<Number, NumberFault> {
    if value.is_finite() {
        Ok(Number { value, comma, thousands })
    } else {
        Err(NumberFault::TooLarge)
    }
}

fn slow(text: &str, mark: DecimalMark, is_stated: bool) -> Result<Number, NumberFault> {
    let text = text.replace('\u{2212}', "-");
    let (sign, body) = match text.strip_prefix(['-', '+']) {
        Some(body) => (if text.starts_with('-') { "-" } else { "" }, body.trim_start()),
        None => ("", text.as_str()),
    };
    let (body, gaps) = without_gaps(body)?;
    let points = body.matches('.').count();
    let commas = body.matches(',').count();
    let last_point = body.rfind('.');
    let last_comma = body.rfind(',');
    // Which mark is the decimal one, if any.
    let decimal = match mark {
        DecimalMark::Point => match (points, commas) {
            (_, 0) if points <= 1 => last_point.map(|_| '.'),
            (_, 0) => None,
            (0, 1) => comma_under_point(&body, is_stated)?,
            (0, _) => None,
            _ if last_comma > last_point && commas == 1 => Some(','),
            _ if last_point > last_comma && points == 1 => Some('.'),
            _ => return Err(NumberFault::Unreadable),
        },
        DecimalMark::Comma => match (points, commas) {
            (_, 1) if last_point > last_comma => return Err(NumberFault::PointUnderComma),
            (_, 1) => Some(','),
            (1, 0) if body.len() - last_point.unwrap_or(0) != 4 => {
                return Err(NumberFault::PointUnderComma);
            }
            (_, 0) => None,
            _ => return Err(NumberFault::Unreadable),
        },
    };
    let (whole, part) = match decimal {
        Some(mark) => body.rsplit_once(mark).unwrap_or((body.as_str(), "")),
        None => (body.as_str(), ""),
    };
    let (whole, marks) = without_thousands(whole)?;
    let value: f64 =
        format!("{sign}{whole}.{part}0").parse().map_err(|_| NumberFault::Unreadable)?;
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    if whole.is_empty() && part.is_empty() || !digits(&whole) || !digits(part) {
        return Err(NumberFault::Unreadable);
    }
    let comma = mark == DecimalMark::Point && decimal == Some(',');
    finite(value, comma, gaps || marks)
}

/// Whether a single comma under the declared point is a decimal mark.
fn comma_under_point(body: &str, is_stated: bool) -> Result<Option<char>, NumberFault> {
    let (whole, part) = body.split_once(',').unwrap_or((body, ""));
    // Thousands come in groups of three behind one to three digits that do not begin with 0.
    let can_be_thousands =
        part.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0');
    match (can_be_thousands, is_stated) {
        (false, _) => Ok(Some(',')),
        (true, true) => Ok(None),
        (true, false) => Err(NumberFault::Ambiguous),
    }
}

/// Drops gaps between groups of three digits.
fn without_gaps(body: &str) -> Result<(String, bool), NumberFault> {
    if !body.contains(GAPS) {
        return Ok((body.to_owned(), false));
    }
    let whole_end = body.find([',', '.']).unwrap_or(body.len());
    let (whole, rest) = body.split_at(whole_end);
    if rest.contains(GAPS) || !is_grouped(whole, |c| GAPS.contains(&c)) {
        return Err(NumberFault::Unreadable);
    }
    Ok((format!("{}{rest}", whole.replace(GAPS, "")), true))
}

/// Drops points or commas between groups of three digits.
fn without_thousands(whole: &str) -> Result<(String, bool), NumberFault> {
    if !whole.contains(['.', ',']) {
        return Ok((whole.to_owned(), false));
    }
    let mixed = whole.contains('.') && whole.contains(',');
    if mixed || !is_grouped(whole, |c| c == '.' || c == ',') {
        return Err(NumberFault::Unreadable);
    }
    Ok((whole.replace(['.', ','], ""), true))
}

fn is_grouped(whole: &str, is_mark: impl Fn(char) -> bool) -> bool {
    whole.split(is_mark).enumerate().all(|(index, group)| {
        let right_length =
            if index == 0 { (1..=3).contains(&group.len()) } else { group.len() == 3 };
        right_length && group.bytes().all(|byte| byte.is_ascii_digit())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use DecimalMark::{Comma, Point};

    fn read(text: &str, mark: DecimalMark) -> Result<(f64, bool, bool), NumberFault> {
        parse(text, mark, false).map(|n| (n.value, n.comma, n.thousands))
    }

    #[test]
    fn under_the_point() {
        assert_eq!(read("3.5", Point), Ok((3.5, false, false)));
        assert_eq!(read("-1e-3", Point), Ok((-0.001, false, false)));
        assert_eq!(read(".5", Point), Ok((0.5, false, false)));
        assert_eq!(read("3,5", Point), Ok((3.5, true, false)));
        assert_eq!(read("0,500", Point), Ok((0.5, true, false)));
        assert_eq!(read("3,1234", Point), Ok((3.1234, true, false)));
        assert_eq!(read("1234,567", Point), Ok((1234.567, true, false)));
        assert_eq!(read("1,234", Point), Err(NumberFault::Ambiguous));
        assert_eq!(parse("1,234", Point, true).map(|n| n.value), Ok(1234.0));
        assert_eq!(read("1,234,567", Point), Ok((1_234_567.0, false, true)));
        assert_eq!(read("1,234.5", Point), Ok((1234.5, false, true)));
        assert_eq!(read("1.234,5", Point), Ok((1234.5, true, true)));
        assert_eq!(read("1 234.5", Point), Ok((1234.5, false, true)));
        assert_eq!(read("12\u{a0}345", Point), Ok((12345.0, false, true)));
        assert_eq!(read("1'234", Point), Ok((1234.0, false, true)));
        assert_eq!(read("\u{2212}2.5", Point), Ok((-2.5, false, false)));
        assert_eq!(read("0.1000000000000000055511151231257827", Point), Ok((0.1, false, false)));
    }

    #[test]
    fn under_the_comma() {
        assert_eq!(read("3,5", Comma), Ok((3.5, false, false)));
        assert_eq!(read("1.234,5", Comma), Ok((1234.5, false, true)));
        assert_eq!(read("1.234", Comma), Ok((1234.0, false, true)));
        assert_eq!(read("1234", Comma), Ok((1234.0, false, false)));
        assert_eq!(read("3.5", Comma), Err(NumberFault::PointUnderComma));
        assert_eq!(read("1,234.5", Comma), Err(NumberFault::PointUnderComma));
    }

    #[test]
    fn no_numbers() {
        for text in [
            "inf", "nan", "1e400", "abc", "3.5 kg", "12 34", "1,2,3", "--1", ".", "1.2.3", ",",
            "0x10",
        ] {
            assert!(read(text, Point).is_err(), "{text}");
        }
    }
}
