//! Numbers in the columns of a trial, which reading keeps as text.

use crate::units::is_per_cent;

/// The number that a cell holds, with a decimal point or comma; `None` for anything else, and for
/// what is not finite.
#[must_use]
pub fn written_number(text: &str) -> Option<f64> {
    let text = text.trim();
    let commas = text.matches(',').count();
    let value = match (commas, text.contains('.')) {
        (1, false) => text.replace(',', ".").parse::<f64>(),
        _ => text.parse::<f64>(),
    };
    value.ok().filter(|value| value.is_finite())
}

/// The amount that a cell holds, in the unit that its factor declares: a fraction may be written as
/// per cent with the sign, as intensities of prunings are, and what is declared in per cent may bear
/// the sign.
#[must_use]
pub fn written_amount(text: &str, unit: &str) -> Option<f64> {
    match text.trim().strip_suffix('%') {
        Some(percent) if unit == "fraction" => {
            // Rounded, so that 33.3 % and 0.333 are one level.
            written_number(percent).map(|percent| (percent * 1e10).round() / 1e12)
        }
        Some(percent) if is_per_cent(unit) => written_number(percent),
        _ => written_number(text),
    }
}

#[cfg(test)]
mod tests {
    use super::{written_amount, written_number};

    #[test]
    fn per_cent_is_a_fraction_where_fractions_are_declared() {
        for (text, fraction) in [("15%", 0.15), (" 33,3 % ", 0.333), ("0 %", 0.0), ("0.3", 0.3)] {
            assert_eq!(written_amount(text, "fraction"), Some(fraction), "{text}");
        }
        assert_eq!(written_amount("15 %", "kg"), None);
        assert_eq!(written_amount("some %", "fraction"), None);
        // Declared in per cent, the sign says nothing new, and the number stays what it is.
        for unit in ["percent", "%", "per cent", "pct"] {
            assert_eq!(written_amount("15 %", unit), Some(15.0), "{unit}");
            assert_eq!(written_amount("15", unit), Some(15.0), "{unit}");
        }
        // A number of per cent without its sign is refused as a fraction, not divided.
        assert_eq!(written_amount("15", "fraction"), Some(15.0));
    }

    #[test]
    fn a_decimal_comma_is_a_point_and_words_are_no_numbers() {
        assert_eq!(written_number(" 0,3 "), Some(0.3));
        assert_eq!(written_number("-12.5"), Some(-12.5));
        for text in ["", "none", "nan", "inf", "1,000.5", "1,2,3", "15 %"] {
            assert_eq!(written_number(text), None, "{text}");
        }
    }
}
