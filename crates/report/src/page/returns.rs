//! Odds of loss, gain per ha and break-even values of a region, in words.

use crate::number::{chance, fixed, signed};
use advise::RegionReturns;
use workplan::economics::{BreakEven, Pays};

/// Rows of the region's details, as (name, value).
pub fn rows(found: &RegionReturns, currency: &str) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    if let Some(gain) = &found.net_gain_per_ha {
        let [median, low, high] = [gain.median, gain.low, gain.high].map(|v| signed(v, 0));
        rows.push((
            format!("Net gain over present practice, {currency} per ha"),
            format!("{median} ({low} to {high})"),
        ));
    }
    rows.push((
        "Chance of earning less than present practice".to_owned(),
        chance(found.odds_of_loss),
    ));
    rows.push((
        format!("Break-even price, {currency} per kg"),
        even(&found.break_even_price, "price"),
    ));
    if let Some(wage) = &found.break_even_wage {
        rows.push((format!("Break-even wage, {currency} per hour"), even(wage, "wage")));
    }
    rows
}

fn even(found: &BreakEven, what: &str) -> String {
    let side = match found.pays {
        Pays::Above => "above",
        Pays::Below => "below",
    };
    let Some(median) = found.median else {
        // The value beyond every price: on the paying side's far end for `above`, else never reached.
        return match found.pays {
            Pays::Above => format!("most probably pays at no {what}"),
            Pays::Below => format!("most probably pays at every {what}"),
        };
    };
    let beyond = |value: Option<f64>| value.map_or_else(|| "any".to_owned(), |v| fixed(v, 2));
    format!(
        "{} ({} to {}); pays {side} it",
        fixed(median, 2),
        beyond(found.low),
        beyond(found.high)
    )
}
