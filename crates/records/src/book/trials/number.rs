//! Numbers in the columns of a trial, which reading keeps as text.

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

#[cfg(test)]
mod tests {
    use super::written_number;

    #[test]
    fn a_decimal_comma_is_a_point_and_words_are_no_numbers() {
        assert_eq!(written_number(" 0,3 "), Some(0.3));
        assert_eq!(written_number("-12.5"), Some(-12.5));
        for text in ["", "none", "nan", "inf", "1,000.5", "1,2,3", "15 %"] {
            assert_eq!(written_number(text), None, "{text}");
        }
    }
}
