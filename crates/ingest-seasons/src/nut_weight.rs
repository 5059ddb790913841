//! Picks whose weight and number of nuts do not go together, or that weigh less than a nut: a decimal point out of
//! its place shows so.

use crate::frame::{floats, stands};
use crate::misdated::others;
use crate::outcome::Outcome;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use records::{Code, counted};
use words::{say, text};

/// Fewest picks with a number of nuts that tell the usual weight of a nut.
const COUNTED: usize = 20;
/// How many times the usual weight a nut has, or what part of it, from which one of the numbers is a slip:
/// nuts of a book differ by half or so with variety, season and moisture.
const TIMES: f64 = 4.0;

/// No pick is lighter, kg: a raw nut has 5 to 10 g (common practice), a shrivelled one some less.
const LIGHTEST: f64 = 0.003;

/// Tells picks that weigh less than one nut, however many they are: a unit, or the mark of decimals or thousands, is
/// another than was taken.
pub(crate) fn warn_of_less_than_a_nut(
    picks: &DataFrame,
    kilograms: &str,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let weighed = floats(picks, kilograms)?.iter().zip(stands(picks)?);
    let mut light: Vec<((u32, u32), f64)> = weighed
        .filter_map(|(kg, at)| Some((at, kg.filter(|kg| *kg > 0.0 && *kg < LIGHTEST)?)))
        .collect();
    light.sort_by_key(|(at, _)| *at);
    let Some(&(at, kg)) = light.first() else { return Ok(()) };
    outcome.warn(
        outcome.place(at),
        Code::RangeUnusual,
        say!(
            "{} lighter than one nut, here first: {} g",
            counted(light.len() as u64, text!("pick"), text!("picks")),
            grams(1000.0 * kg)
        ),
        say!(
            "kept; if the unit is another, correct units.nut_kg under [[files.harvests]]; if 4.070 means thousands, set decimal = \"comma\" for the file{}",
            others(light.iter().skip(1).map(|(at, _)| at), outcome)
        ),
    );
    Ok(())
}

/// Grams with two digits that count.
fn grams(value: f64) -> String {
    let digits = (1.0 - value.log10().floor()).clamp(0.0, 6.0) as usize;
    say!("{value:.digits$}")
}

/// Tells picks whose nuts would be far heavier or lighter than those of the other picks.
pub(crate) fn warn(picks: &DataFrame, kilograms: &str, outcome: &mut Outcome) -> PolarsResult<()> {
    let counts = picks.column(ts::NUT_COUNT)?.i64()?;
    let weighed = floats(picks, kilograms)?.iter().zip(counts.iter()).zip(stands(picks)?);
    let mut grams: Vec<(f64, (u32, u32))> = weighed
        .filter_map(|((kg, count), at)| Some((1000.0 * kg? / count.filter(|n| *n > 0)? as f64, at)))
        .filter(|(grams, _)| *grams > 0.0)
        .collect();
    if grams.len() < COUNTED {
        return Ok(());
    }
    grams.sort_by(|a, b| a.0.total_cmp(&b.0));
    let usual = grams.get(grams.len() / 2).map_or(f64::NAN, |(grams, _)| *grams);
    let mut odd: Vec<(f64, (u32, u32))> = grams
        .into_iter()
        .filter(|(grams, _)| *grams >= TIMES * usual || TIMES * grams <= usual)
        .collect();
    odd.sort_by_key(|(_, at)| *at);
    let Some(&(first, at)) = odd.first() else { return Ok(()) };
    outcome.warn(
        outcome.place(at),
        Code::RangeUnusual,
        say!(
            "{} whose weight and number of nuts do not go together, here first: {first:.1} g a nut, where {usual:.1} g is usual",
            counted(odd.len() as u64, text!("pick"), text!("picks"))
        ),
        say!(
            "kept; compare weight and number with the field book: a decimal point may be out of its place{}",
            others(odd.iter().skip(1).map(|(_, at)| at), outcome)
        ),
    );
    Ok(())
}
