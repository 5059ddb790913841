//! Present practice of every region, stated or read off its latest routine season.

use crate::frame::{REGION_NO, flags, floats, indices, ints, texts};
use crate::outcome::Outcome;
use crate::places::Places;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Code, Place, Practice, PracticePoint};
use std::collections::BTreeMap;
use words::say;

/// Intensity and lead of one routine tree-season not young.
type Treated = (f64, Option<f64>);

/// One practice per region of the linked table where it is stated or can be seen, by region id.
pub(crate) fn of_regions(
    linked: &DataFrame,
    places: &Places,
    book: &Book,
    outcome: &mut Outcome,
) -> PolarsResult<Vec<Practice>> {
    // Per region the latest season with routine records and what was done in it.
    let mut latest: BTreeMap<u32, Option<(i32, Vec<Treated>)>> = BTreeMap::new();
    let kinds = texts(linked, ts::TRIAL)?.iter().zip(flags(linked, ts::YOUNG)?.iter());
    let treated = floats(linked, ts::INTENSITY)?.iter().zip(floats(linked, ts::LEAD_DAYS)?.iter());
    let seasons = indices(linked, REGION_NO)?.iter().zip(ints(linked, ts::SEASON)?.iter());
    for (((region, season), (trial, young)), (intensity, lead)) in seasons.zip(kinds).zip(treated) {
        let (Some(region), Some(season), Some(intensity)) = (region, season, intensity) else {
            continue;
        };
        let known = latest.entry(region).or_default();
        if trial.is_some() || young == Some(true) {
            continue;
        }
        match known {
            Some((last, _)) if *last > season => {}
            Some((last, all)) if *last == season => all.push((intensity, lead)),
            _ => *known = Some((season, vec![(intensity, lead)])),
        }
    }
    let mut practices = Vec::with_capacity(latest.len());
    for (region, seen) in latest {
        let id = places.region_id(region);
        let stated = book.regions.get(id).and_then(|region| region.present);
        match (stated, seen) {
            (Some(stated), _) => {
                practices.push(Practice::stated(id, stated.intensity, Some(stated.lead_days)));
            }
            (None, Some((season, all))) => practices.push(seen_practice(id, season, &all)),
            (None, None) => outcome.warn(
                Place::file("book.toml"),
                Code::SettingMissing,
                say!("region '{id}' has no routine records to show its present practice"),
                say!("add present = {{ intensity = 0.2, lead_days = 40 }} to [regions.{id}]"),
            ),
        }
    }
    Ok(practices)
}

fn seen_practice(region: &str, season: i32, all: &[Treated]) -> Practice {
    // Whole per cent and days, so that trees treated alike but for rounding share a point.
    let mut points: BTreeMap<(i32, Option<i32>), u64> = BTreeMap::new();
    for &(intensity, lead) in all {
        let per_cent = (intensity * 100.0).round() as i32;
        let lead = lead.map(|lead| lead.round() as i32);
        *points.entry((per_cent, lead)).or_default() += 1;
    }
    let number = all.len() as f64;
    let total: f64 = all.iter().map(|(intensity, _)| intensity).sum();
    let weighted: f64 = all.iter().filter_map(|&(intensity, lead)| Some(intensity * lead?)).sum();
    Practice {
        region: region.to_owned(),
        season: Some(season),
        tree_seasons: all.len() as u64,
        share_pruned: all.iter().filter(|(intensity, _)| *intensity > 0.0).count() as f64 / number,
        intensity: total / number,
        lead_days: (total > 0.0).then(|| weighted / total),
        points: points
            .into_iter()
            .map(|((per_cent, lead), n)| PracticePoint {
                intensity: f64::from(per_cent) / 100.0,
                lead_days: lead.map(f64::from),
                weight: n as f64 / number,
            })
            .collect(),
    }
}
