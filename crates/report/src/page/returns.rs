//! Odds of loss, gain per ha and break-even values of a region, in words.

use super::table::Fact;
use crate::how::advice as how;
use crate::number::{chance, fixed, signed};
use advise::RegionReturns;
use words::{say, text};
use workplan::economics::{BreakEven, Pays};

/// Rows of the region's details.
pub fn rows(found: &RegionReturns, currency: &str) -> Vec<Fact> {
    let mut rows = Vec::new();
    if let Some(gain) = &found.net_gain_per_ha {
        let [median, low, high] = [gain.median, gain.low, gain.high].map(|v| signed(v, 0));
        rows.push(Fact::new(
            say!("Net gain over present practice, {currency} per ha"),
            say!("{median} ({low} to {high})"),
            how("returns.net_gain_per_ha"),
        ));
    }
    if found.wood_gain != 0.0 {
        rows.push(Fact::new(
            say!("Of the gain, from cut wood after haulage, {currency} per tree"),
            signed(found.wood_gain, 2),
            how("returns.wood_gain"),
        ));
    }
    rows.push(Fact::new(
        text!("Chance of earning less than present practice"),
        chance(found.odds_of_loss),
        how("returns.odds_of_loss"),
    ));
    rows.push(Fact::new(
        say!("Break-even price, {currency} per kg"),
        even(&found.break_even_price, text!("price")),
        how("returns.break_even_price"),
    ));
    if let Some(wage) = &found.break_even_wage {
        rows.push(Fact::new(
            say!("Break-even wage, {currency} per hour"),
            even(wage, text!("wage")),
            how("returns.break_even_wage"),
        ));
    }
    rows
}

/// Least price that is shown as more than nothing.
const LEAST: f64 = 0.005;

fn even(found: &BreakEven, what: &str) -> String {
    let side = match found.pays {
        Pays::Above => text!("above"),
        Pays::Below => text!("below"),
    };
    // More than half of the draws have no price or wage at which it begins or ceases to pay: the
    // median is none, or the 0 that no price and no wage lies below.
    if found.always > 0.5 || found.median.is_none() && found.pays == Pays::Below {
        return say!("pays at every {what}, with a chance of {}", chance(found.always));
    }
    // A price that rounds to nothing is none that anyone waits for.
    if found.pays == Pays::Above && found.high.is_some_and(|high| high < LEAST) {
        return say!("pays at every {what}, with a chance of {}", chance(1.0 - found.never));
    }
    let Some(median) = found.median.filter(|_| found.never <= 0.5) else {
        return say!("pays at no {what}, with a chance of {}", chance(found.never));
    };
    let beyond = |value: Option<f64>| value.map_or_else(|| say!("any"), |v| fixed(v, 2));
    say!("{} ({} to {}); pays {side} it", fixed(median, 2), beyond(found.low), beyond(found.high))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A median of 0 is no wage that anything pays above or below.
    #[test]
    fn what_pays_always_or_never_has_no_value_to_break_even_at() {
        let at = |pays, median, never, always| {
            let found =
                BreakEven { pays, median, low: median, high: median, level: 0.9, never, always };
            even(&found, "wage")
        };
        let every = "pays at every wage, with a chance of over 99\u{a0}%";
        assert_eq!(at(Pays::Above, Some(0.0), 0.0, 1.0), every);
        assert_eq!(at(Pays::Below, None, 0.0, 1.0), every);
        let none = "pays at no wage, with a chance of over 99\u{a0}%";
        assert_eq!(at(Pays::Below, Some(0.0), 1.0, 0.0), none);
        assert_eq!(at(Pays::Above, None, 1.0, 0.0), none);
        assert_eq!(at(Pays::Above, Some(0.001), 0.0, 0.4), every);
        assert_eq!(at(Pays::Above, Some(1.5), 0.1, 0.4), "1.50 (1.50 to 1.50); pays above it");
    }
}
