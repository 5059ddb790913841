//! Amounts as people read them.

use records::units::is_per_cent;
use words::{text, with_mark};

/// An amount with its unit: fractions as per cent, others with four decimals at the most.
#[must_use]
pub fn amount_words(value: f64, unit: &str) -> String {
    if unit == "fraction" {
        with_mark(&format!("{} %", (value * 1e4).round() / 100.0))
    } else {
        let amount = with_mark(&((value * 1e4).round() / 1e4).to_string());
        format!("{amount} {}", unit_words(unit))
    }
}

/// The unit of an amount as it is written behind a number; that of fractions is per cent.
#[must_use]
pub fn unit_words(unit: &str) -> &str {
    match unit {
        "fraction" => "%",
        "days" => text!("days"),
        own if is_per_cent(own) => "%",
        own => own,
    }
}

/// An amount that was estimated: shares of the canopy and days to a tenth, as nobody cuts closer, others with four
/// significant digits at the most.
#[must_use]
pub fn estimated_amount(value: f64, unit: &str) -> String {
    let scale = if unit == "fraction" { 100.0 } else { 1.0 };
    let shown = value * scale;
    if shown == 0.0 || !shown.is_finite() {
        return amount_words(value, unit);
    }
    let digits = match unit {
        "fraction" | "days" => 10.0,
        _ => 10_f64.powf(3.0 - shown.abs().log10().floor()),
    };
    amount_words((shown * digits).round() / digits / scale, unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fractions_are_shown_as_per_cent() {
        assert_eq!(amount_words(0.3, "fraction"), "30 %");
        assert_eq!(amount_words(0.316_82, "fraction"), "31.68 %");
        assert_eq!(amount_words(45.0, "days"), "45 days");
        assert_eq!(amount_words(1.5, "percent"), "1.5 %");
        assert_eq!(amount_words(2.689_024, "kg"), "2.689 kg");
    }

    #[test]
    fn estimates_have_few_digits() {
        assert_eq!(estimated_amount(835.979_4, "g"), "836 g");
        assert_eq!(estimated_amount(12_345.6, "g"), "12350 g");
        assert_eq!(estimated_amount(2.689_024, "kg"), "2.689 kg");
        assert_eq!(estimated_amount(0.334_567, "fraction"), "33.5 %");
        assert_eq!(estimated_amount(48.237, "days"), "48.2 days");
        assert_eq!(estimated_amount(0.0, "fraction"), "0 %");
        assert_eq!(estimated_amount(-0.000_123_456, "kg"), "-0.0001 kg");
    }
}
