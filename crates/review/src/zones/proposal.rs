//! Zones as people read them and as text for the record book.

use super::k_means::Groups;
use super::points::{FeatureKind, Features, Points};
use super::{OtherGroup, UNSTABLE, Zones, indices};
use jiff::ToSpan;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;
use std::fmt::Write;

const YEAR: f64 = 365.25;

/// A feature within a zone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ZoneFeature {
    /// Feature.
    pub name: String,
    /// Mean over the zone's blocks; of days of the year the circular mean.
    pub mean: f64,
    /// Lowest value; `None` for days of the year.
    pub low: Option<f64>,
    /// Highest value; `None` for days of the year.
    pub high: Option<f64>,
}

/// A proposed zone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Zone {
    /// Region id proposed, `zone_1` and so on.
    pub id: String,
    /// Its blocks.
    pub blocks: Vec<String>,
    /// Its features.
    pub features: Vec<ZoneFeature>,
    /// Mean Jaccard similarity under resampling; `None` where it could not be had.
    pub stability: Option<f64>,
}

pub(super) fn zones(
    features: &Features,
    points: &Points,
    grouped: &Groups,
    stability: &[f64],
) -> Vec<Zone> {
    let groups = grouped.codes.iter().max().map_or(0, |most| most + 1);
    (0..groups)
        .map(|group| {
            let blocks: Vec<usize> = points
                .blocks
                .iter()
                .zip(&points.place)
                .filter(|(_, place)| grouped.codes[**place] == group)
                .map(|(block, _)| *block)
                .collect();
            let feature = |j: usize| {
                let values: Vec<f64> = blocks.iter().map(|&b| features.values[b][j]).collect();
                let plain = features.kinds[j] == FeatureKind::Plain;
                ZoneFeature {
                    name: features.names[j].clone(),
                    mean: if plain { mean(&values) } else { mean_day(&values) },
                    low: plain.then(|| values.iter().copied().fold(f64::INFINITY, f64::min)),
                    high: plain.then(|| values.iter().copied().fold(f64::NEG_INFINITY, f64::max)),
                }
            };
            Zone {
                id: id(group),
                blocks: blocks.iter().map(|&block| features.blocks[block].clone()).collect(),
                features: (0..features.names.len()).map(feature).collect(),
                stability: stability.get(group).copied().filter(|value| value.is_finite()),
            }
        })
        .collect()
}

/// Zone of a code.
fn id(group: usize) -> String {
    format!("zone_{}", group + 1)
}

/// The groups of another method that are not one of the zones, by first zone; those of no zone come last.
pub(super) fn otherwise(
    features: &Features,
    points: &Points,
    codes: &[usize],
    other: &[usize],
) -> Vec<OtherGroup> {
    let size = |codes: &[usize]| codes.iter().max().map_or(0, |most| most + 1);
    let usual = indices::usual_partner(codes, other, size(codes));
    let mut groups: Vec<OtherGroup> = (0..size(other))
        .map(|group| OtherGroup {
            zones: (0..usual.len()).filter(|&zone| usual[zone] == group).map(id).collect(),
            places: points
                .blocks
                .iter()
                .zip(&points.place)
                .filter(|(_, place)| other[**place] == group && usual[codes[**place]] != group)
                .map(|(block, _)| features.blocks[*block].clone())
                .collect(),
        })
        .filter(|group| group.zones.len() != 1 || !group.places.is_empty())
        .collect();
    groups.sort_by_key(|group| group.zones.is_empty());
    groups
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn mean_day(days: &[f64]) -> f64 {
    let sine: f64 = days.iter().map(|day| (TAU * day / YEAR).sin()).sum();
    let cosine: f64 = days.iter().map(|day| (TAU * day / YEAR).cos()).sum();
    let day = (sine.atan2(cosine) * YEAR / TAU).rem_euclid(YEAR);
    if day < 0.5 { day + YEAR } else { day }
}

impl Zones {
    /// What the other method groups otherwise; `None` where both agree.
    #[must_use]
    pub fn otherwise_in_words(&self) -> Option<String> {
        let groups = self.otherwise.iter().map(|group| {
            let places = group.places.join(", ");
            match group.zones.as_slice() {
                [] => format!("{places} in a group of no zone"),
                zones if places.is_empty() => format!("{} as one group", zones.join(" and ")),
                zones => format!("{} as one group with {places}", zones.join(" and ")),
            }
        });
        let words: Vec<String> = groups.collect();
        (!words.is_empty()).then(|| words.join("; "))
    }

    /// The proposal as text to paste into `book.toml`, with remarks that say what it rests on. A
    /// harvest or flush window that the features do not give is left open: the book is refused until a
    /// person has filled it in.
    #[must_use]
    pub fn book_toml(&self) -> String {
        let mut text = String::from(
            "# Proposed zones. Nothing uses them before you confirm: paste these lines into book.toml,\n\
             # give the zones their names, check every window, and put each block's zone into the\n\
             # column `region` of the block table.\n",
        );
        let mut line = |words: String| {
            // Writing to a String cannot fail.
            let _ = writeln!(text, "{words}");
        };
        line(format!("# {}", self.reason));
        if let Some(index) = self.linkage_agreement {
            line(format!("# Agreement with average linkage (adjusted Rand index): {index:.2}."));
        }
        if let Some(otherwise) = self.otherwise_in_words() {
            line(format!("# Average linkage groups otherwise: {}.", listed(&[otherwise])));
        }
        if !self.unassigned.is_empty() {
            line(format!("# In no zone, a feature being missing: {}.", listed(&self.unassigned)));
        }
        for zone in &self.zones {
            line(format!("\n[regions.{}]", zone.id));
            line(format!("name = \"{}\"", zone.id.replace("zone_", "Zone ")));
            line(format!("# Blocks: {}.", listed(&zone.blocks)));
            if let Some(stability) = zone.stability {
                let warning = if stability < UNSTABLE { ", not to be trusted" } else { "" };
                line(format!("# Stability (mean Jaccard similarity): {stability:.2}{warning}."));
            }
            for feature in &zone.features {
                let range = match (feature.low, feature.high) {
                    (Some(low), Some(high)) => format!(" ({low:.1} to {high:.1})"),
                    _ => String::new(),
                };
                line(format!(
                    "# {}: {:.1}{range}",
                    listed(std::slice::from_ref(&feature.name)),
                    feature.mean
                ));
            }
            for window in ["harvest", "rest", "flush"] {
                let day = |end: &str| {
                    let name = format!("{window}_{end}");
                    let feature = zone.features.iter().find(|feature| feature.name == name)?;
                    month_day(feature.mean)
                };
                match (day("from"), day("to")) {
                    (Some(from), Some(to)) => line(format!("{window} = [\"{from}\", \"{to}\"]")),
                    // A book needs both; a person has to fill them in.
                    _ if window != "rest" => {
                        line(format!("# {window} = [\"MM-DD\", \"MM-DD\"]"));
                    }
                    _ => {}
                }
            }
        }
        text
    }
}

/// Names on one line: a line break in a block's name must not end the remark.
fn listed(names: &[String]) -> String {
    names.join(", ").replace(|character: char| character.is_control(), " ")
}

/// Day of a common year as MM-DD.
fn month_day(day: f64) -> Option<String> {
    let day = day.round().clamp(1.0, 365.0) as i64;
    let date = Date::new(2001, 1, 1).ok()?.checked_add((day - 1).days()).ok()?;
    Some(date.strftime("%m-%d").to_string())
}
