//! Numbers as people read them: a real minus sign, sensible rounding and a dash for "not known".

use words::{MINUS, decimal_mark, grouped, say, with_mark};
pub use words::{NO_BREAK, counted, date, span};

/// Shown where there is no number.
pub const DASH: &str = "–";

/// A number with the given decimals, thousands set apart; the dash when it is not finite.
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return DASH.to_owned();
    }
    let digits = format!("{:.decimals$}", value.abs());
    let zero = digits.bytes().all(|b| b == b'0' || b == b'.');
    let (whole, fraction) = digits.split_once('.').unwrap_or((&digits, ""));
    let mut out = String::new();
    if value < 0.0 && !zero {
        out.push(MINUS);
    }
    out.push_str(&grouped(whole));
    if !fraction.is_empty() {
        out.push(decimal_mark());
        out.push_str(fraction);
    }
    out
}

/// As [`fixed`], with a plus sign before a gain.
pub fn signed(value: f64, decimals: usize) -> String {
    let plain = fixed(value, decimals);
    let zero = plain.bytes().all(|b| matches!(b, b'0' | b'.' | b','));
    if value > 0.0 && value.is_finite() && !zero { format!("+{plain}") } else { plain }
}

/// Two limits with two decimals, the dash when one is not finite.
pub fn limits(low: f64, high: f64) -> String {
    if low.is_finite() && high.is_finite() {
        say!("{from} to {to}", from = fixed(low, 2), to = fixed(high, 2))
    } else {
        DASH.to_owned()
    }
}

/// An optional number, the dash when absent.
pub fn optional(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| DASH.to_owned(), |v| fixed(v, decimals))
}

/// A fraction as whole per cent.
pub fn percent(fraction: f64) -> String {
    if fraction.is_finite() {
        format!("{}{NO_BREAK}%", fixed(100.0 * fraction, 0))
    } else {
        DASH.to_owned()
    }
}

/// A probability as whole per cent that never claims certainty.
pub fn chance(probability: f64) -> String {
    if probability > 0.995 && probability.is_finite() {
        say!("over 99{NO_BREAK}%")
    } else if probability < 0.005 && probability.is_finite() {
        say!("under 1{NO_BREAK}%")
    } else {
        percent(probability)
    }
}

/// A sentence whose per cent signs stay with their numbers at the end of a line.
pub fn unbroken(sentence: &str) -> String {
    sentence.replace(" %", &format!("{NO_BREAK}%"))
}

/// The first sentence of a paragraph, with its full stop, and the others; a point within a number is no stop.
pub fn first_sentence(paragraph: &str) -> (String, String) {
    match paragraph.split_once(". ") {
        Some((first, rest)) => (unbroken(&format!("{first}.")), unbroken(rest)),
        None => (unbroken(paragraph), String::new()),
    }
}

/// A p value with three decimals, never a bare zero.
pub fn p_value(p: f64) -> String {
    if p < 0.001 && p.is_finite() { say!("< 0.001") } else { fixed(p, 3) }
}

/// A count with thousands set apart.
pub fn count(n: u64) -> String {
    grouped(&n.to_string())
}

/// Four significant digits, for estimates on the model's scale.
pub fn estimate(value: Option<f64>) -> String {
    let Some(value) = value.filter(|v| v.is_finite()) else { return DASH.to_owned() };
    let size = value.abs();
    if size > 0.0 && !(1e-4..1e6).contains(&size) {
        return with_mark(&format!("{value:.3e}").replace('-', "−"));
    }
    let decimals = if size < 0.1 {
        5
    } else if size < 1.0 {
        4
    } else if size < 100.0 {
        3
    } else {
        1
    };
    fixed(value, decimals)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date as day;

    #[test]
    fn the_first_sentence_ends_at_a_full_stop_and_not_within_a_number() {
        let (first, rest) =
            first_sentence("Yield differs (p = 0.006): 8.13 and 9.59. More at 45 %. Less.");
        assert_eq!(first, "Yield differs (p = 0.006): 8.13 and 9.59.");
        assert_eq!(rest, "More at 45\u{a0}%. Less.");
        assert_eq!(first_sentence("One alone."), ("One alone.".to_owned(), String::new()));
    }

    #[test]
    fn rounding_and_signs() {
        assert_eq!(fixed(-0.004, 2), "0.00");
        assert_eq!(fixed(-1.005, 1), "−1.0");
        assert_eq!(fixed(1_234_567.891, 2), "1\u{202f}234\u{202f}567.89");
        assert_eq!(fixed(1234.5, 1), "1234.5");
        assert_eq!(signed(0.421, 2), "+0.42");
        assert_eq!(signed(0.001, 2), "0.00");
        assert_eq!(signed(-0.3, 2), "−0.30");
        assert_eq!(percent(0.224), "22\u{a0}%");
        assert_eq!(count(12_345), "12\u{202f}345");
        assert_eq!(estimate(Some(0.012_345_6)), "0.01235");
        assert_eq!(p_value(0.000_2), "< 0.001");
    }

    #[test]
    fn never_certain_and_never_nan() {
        assert_eq!(chance(1.0), "over 99\u{a0}%");
        assert_eq!(chance(0.0), "under 1\u{a0}%");
        for shown in [
            fixed(f64::NAN, 2),
            signed(f64::INFINITY, 2),
            percent(f64::NAN),
            chance(f64::NAN),
            p_value(f64::NAN),
            estimate(Some(f64::NAN)),
            optional(None, 1),
        ] {
            assert_eq!(shown, DASH);
        }
    }

    #[test]
    fn spans_name_the_year_once() {
        assert_eq!(span(day(2026, 5, 3), day(2026, 6, 1)), "3 May to 1 June 2026");
        assert_eq!(span(day(2026, 12, 20), day(2027, 1, 9)), "20 December 2026 to 9 January 2027");
    }
}
