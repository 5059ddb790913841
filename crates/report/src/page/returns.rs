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

fn even(found: &BreakEven, what: &str) -> String {
    let side = match found.pays {
        Pays::Above => text!("above"),
        Pays::Below => text!("below"),
    };
    let Some(median) = found.median else {
        // More than half of the draws have a value beyond every price or wage.
        return match found.pays {
            Pays::Above => say!("pays at no {what}, with a chance of {}", chance(found.never)),
            Pays::Below => say!("pays at every {what}, with a chance of {}", chance(found.always)),
        };
    };
    let beyond = |value: Option<f64>| value.map_or_else(|| say!("any"), |v| fixed(v, 2));
    say!("{} ({} to {}); pays {side} it", fixed(median, 2), beyond(found.low), beyond(found.high))
}
