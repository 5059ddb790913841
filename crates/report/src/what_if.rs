//! What other prices, wages, yields and horizons would bring, in the digits of page and command.

use advise::{Advice, AsPlanned, RegionPicture, Verdict};
use words::{Text, constant, say, with_mark};
use workplan::SettingError;
use workplan::economics::{Outcome, Scenario, shown};

/// What is supposed; a price or wage left out is the region's own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supposed {
    /// Quoted price per kg.
    pub price: Option<f64>,
    /// Wage per hour.
    pub wage: Option<f64>,
    /// Yields as a multiple of those expected.
    pub yield_level: f64,
    /// Seasons added up, from 1.
    pub seasons: usize,
}

/// The answer for one region.
#[derive(Debug, Clone, PartialEq)]
pub struct WhatIfRow {
    /// Region id.
    pub region: String,
    /// Region name.
    pub name: String,
    /// The scenario with the region's own price and wage filled in.
    pub scenario: Scenario,
    /// What it brings.
    pub outcome: Outcome,
}

impl WhatIfRow {
    /// Headings of [`Self::cells`].
    pub const HEADS: [Text; 5] = [
        constant!("Advised practice, per tree"),
        constant!("Present practice, per tree"),
        constant!("Gain, per tree"),
        constant!("Gain, per ha"),
        constant!("Chance of loss"),
    ];

    /// Net returns and gain in money, and the chance of a loss, as page and command show them.
    #[must_use]
    pub fn cells(&self) -> [String; 5] {
        let found = &self.outcome;
        [
            with_mark(&shown(found.advised_per_tree, 2)),
            with_mark(&shown(found.present_per_tree, 2)),
            with_mark(&shown(found.gain_per_tree, 2)),
            found.gain_per_ha.map_or_else(String::new, |gain| shown(gain, 0)),
            chance(found.odds_of_loss),
        ]
    }
}

/// No chance is certain. The twin of `chance` in the page's script.
fn chance(odds: f64) -> String {
    if odds < 0.005 {
        say!("under 1 %")
    } else if odds > 0.995 {
        say!("over 99 %")
    } else {
        format!("{} %", shown(100.0 * odds, 0))
    }
}

/// Regions that can be asked, in the order of the advice: id, name and numbers.
pub fn asked<'a>(
    advice: &'a Advice,
    pictures: &'a [RegionPicture],
) -> Vec<(&'a str, &'a str, &'a AsPlanned)> {
    let regions = advice.regions.iter();
    regions
        .filter_map(|region| {
            let picture = pictures.iter().find(|picture| picture.region == region.region)?;
            Some((region.region.as_str(), region.name.as_str(), picture.what_if.as_ref()?))
        })
        .collect()
}

/// That the first column is of no advice in regions that wait for a trial; `None` where none does.
#[must_use]
pub fn no_advice(advice: &Advice, regions: &[&str]) -> Option<String> {
    let waiting = advice.regions.iter().filter(|region| {
        region.verdict == Verdict::Trial && regions.contains(&region.region.as_str())
    });
    let names: Vec<&str> = waiting.map(|region| region.name.as_str()).collect();
    (!names.is_empty()).then(|| {
        say!(
            "Of regions that wait for a trial ({}) this is the best practice that the records support, and no advice.",
            names.join(", ")
        )
    })
}

/// The answer for every region that has draws, in the order of the advice.
///
/// # Errors
/// When a supposed value is out of range, with its name and the range.
pub fn what_if_rows(
    advice: &Advice,
    pictures: &[RegionPicture],
    supposed: &Supposed,
) -> Result<Vec<WhatIfRow>, SettingError> {
    asked(advice, pictures)
        .into_iter()
        .map(|(region, name, planned)| {
            let scenario = Scenario {
                price_per_kg: supposed.price.unwrap_or(planned.price_per_kg),
                wage_per_hour: supposed.wage.unwrap_or(planned.wage_per_hour),
                yield_level: supposed.yield_level,
                seasons: supposed.seasons,
            };
            Ok(WhatIfRow {
                region: region.to_owned(),
                name: name.to_owned(),
                scenario,
                outcome: planned.what_if.at(&scenario)?,
            })
        })
        .collect()
}
