//! Amounts as people read them.

use words::{text, with_mark};

/// An amount with its unit: fractions as per cent, others with four decimals at the most.
#[must_use]
pub fn amount_words(value: f64, unit: &str) -> String {
    if unit == "fraction" {
        with_mark(&format!("{} %", (value * 1e4).round() / 100.0))
    } else {
        let amount = with_mark(&((value * 1e4).round() / 1e4).to_string());
        format!("{amount} {}", if unit == "days" { text!("days") } else { unit })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fractions_are_shown_as_per_cent() {
        assert_eq!(amount_words(0.3, "fraction"), "30 %");
        assert_eq!(amount_words(0.316_82, "fraction"), "31.68 %");
        assert_eq!(amount_words(45.0, "days"), "45 days");
        assert_eq!(amount_words(2.689_024, "kg"), "2.689 kg");
    }
}
