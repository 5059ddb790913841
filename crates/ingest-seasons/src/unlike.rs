//! Sites of a region that bear unlike each other, all along or in one season alone, as happens where a file is in
//! another unit; and blocks of a site that do so in one season alone.

use crate::frame::{floats, ints, texts};
use crate::outcome::Outcome;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use records::{Code, Place, Table};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// How many times as much trees of one site bear as those of another of its region that a unit may be missing, and
/// fewest rows of a site that tell (these and those below ours: conventions, of no published source).
const UNLIKE: f64 = 5.0;
const ROWS_OF_SITE: usize = 20;
/// How many times as much or as little a site bears in one season as its other seasons and the other sites tell: below
/// the 2.2 of pounds, and seldom reached by weather that sites of one region share.
const ODD_SEASON: f64 = 1.9;
/// Largest share of that, as a logarithm, by which the site's other seasons may stray.
const STEADY: f64 = 0.5;
/// Fewest other seasons of a site, and fewest trees of one, that tell what is usual.
const OTHER_SEASONS: usize = 3;
const TREES: usize = 10;

/// Logarithm of the yield in the middle by season.
type Seasons = BTreeMap<i32, f64>;

/// Tells all three.
pub(crate) fn warn(linked: &DataFrame, outcome: &mut Outcome) -> PolarsResult<()> {
    let places = texts(linked, ts::REGION)?.iter().zip(texts(linked, ts::SITE)?.iter());
    let blocks = texts(linked, ts::BLOCK)?.iter();
    let yields = ints(linked, ts::SEASON)?.iter().zip(floats(linked, ts::YIELD_KG)?.iter());
    let mut regions: BTreeMap<&str, Sites<'_>> = BTreeMap::new();
    let mut blocks_of: BTreeMap<(&str, &str), Sites<'_>> = BTreeMap::new();
    for row in places.zip(blocks).zip(yields) {
        let (((Some(region), Some(site)), block), (Some(season), Some(kg))) = row else { continue };
        let own = regions.entry(region).or_default().entry(site).or_default();
        own.entry(season).or_default().push(kg);
        if let Some(block) = block {
            let own = blocks_of.entry((region, site)).or_default().entry(block).or_default();
            own.entry(season).or_default().push(kg);
        }
    }
    let mut told = BTreeSet::new();
    for (region, sites) in regions {
        tell_all_along(region, &sites, outcome);
        for odd in odd_seasons(sites) {
            told.insert((region, odd.season));
            tell_site(region, &odd, outcome);
        }
    }
    for ((region, site), blocks) in blocks_of {
        // Less is what a block bears after a hard cut.
        let is_told = |odd: &&Odd<'_>| odd.times > 1.0 && !told.contains(&(region, odd.season));
        for odd in odd_seasons(blocks).iter().filter(is_told) {
            tell_block(site, odd, outcome);
        }
    }
    Ok(())
}

/// Median.
fn middle(mut of: Vec<f64>) -> Option<f64> {
    of.sort_by(f64::total_cmp);
    let upper = *of.get(of.len() / 2)?;
    let lower = *of.get((of.len() - 1) / 2)?;
    Some(0.5 * (lower + upper))
}

fn tell_all_along(region: &str, sites: &Sites<'_>, outcome: &mut Outcome) {
    let mut middles: Vec<(f64, &str)> = sites
        .iter()
        .map(|(site, seasons)| (*site, seasons.values().flatten().copied().collect::<Vec<f64>>()))
        .filter(|(_, own)| own.len() >= ROWS_OF_SITE)
        .filter_map(|(site, own)| Some((middle(own)?, site)))
        .collect();
    middles.sort_by(|a, b| a.0.total_cmp(&b.0));
    if let (Some((low, poor)), Some((high, rich))) = (middles.first(), middles.last())
        && *high >= UNLIKE * low
    {
        outcome.warn(
            // Which file is at fault the sites do not tell.
            Place::file(Table::Harvests.as_str()),
            Code::SitesUnlike,
            say!("region '{region}': a tree at '{rich}' bears {high:.1} kg (median), one at '{poor}' {low:.1} kg"),
            text!("look for tins, bags or another unit that was not declared: units = { nut_kg = \"20 kg\" } under [[files.harvests]]"),
        );
    }
}

/// Kilograms of the trees by season and site.
type Sites<'a> = BTreeMap<&'a str, BTreeMap<i32, Vec<f64>>>;

/// By how much each season of a site strays from what the season does to the others and the site bears in its other
/// seasons; nothing of too few.
fn strays(site: &str, own: &Seasons, all: &BTreeMap<&str, Seasons>) -> Vec<(i32, f64)> {
    let beside = |season: i32| -> Option<f64> {
        let others = all.iter().filter(|(other, _)| **other != site);
        let others = others.filter_map(|(_, seasons)| {
            let level = middle(seasons.values().copied().collect())?;
            Some(seasons.get(&season)? - level)
        });
        Some(own.get(&season)? - middle(others.collect())?)
    };
    let beside: Vec<(i32, f64)> =
        own.keys().filter_map(|season| Some((*season, beside(*season)?))).collect();
    if beside.len() <= OTHER_SEASONS {
        return Vec::new();
    }
    let stray = |&(season, value): &(i32, f64)| {
        let others = beside.iter().filter(|(other, _)| *other != season);
        Some((season, value - middle(others.map(|(_, value)| *value).collect())?))
    };
    beside.iter().filter_map(stray).collect()
}

/// A site or block that bears more or less in one season alone.
struct Odd<'a> {
    name: &'a str,
    season: i32,
    times: f64,
    /// The only other, where there is one.
    beside: Option<&'a str>,
}

fn odd_seasons(places: Sites<'_>) -> Vec<Odd<'_>> {
    let logs: BTreeMap<&str, Seasons> = places
        .into_iter()
        .map(|(name, seasons)| {
            let known = seasons.into_iter().filter(|(_, own)| own.len() >= TREES);
            let logs = known.filter_map(|(season, own)| {
                Some((season, middle(own).filter(|kg| *kg > 0.0)?.ln()))
            });
            (name, logs.collect())
        })
        .collect();
    let odd = logs.iter().filter_map(|(&name, seasons)| {
        let all = strays(name, seasons, &logs);
        let &(season, odd) = all.iter().max_by(|(_, a), (_, b)| a.abs().total_cmp(&b.abs()))?;
        let is_steady =
            all.iter().all(|(own, by)| *own == season || by.abs() <= STEADY * odd.abs());
        let mut others =
            logs.iter().filter(|(other, own)| **other != name && own.contains_key(&season));
        let beside = match (others.next(), others.next()) {
            (Some((&other, _)), None) => Some(other),
            _ => None,
        };
        // Two stray from each other alike: they are told once, the one that bears more first.
        let is_told = odd > 0.0 || beside.is_none();
        (odd.abs() >= ODD_SEASON.ln() && is_steady && is_told).then_some(Odd {
            name,
            season,
            times: odd.exp(),
            beside,
        })
    });
    odd.collect()
}

fn tell_site(region: &str, &Odd { name, season, times, beside }: &Odd<'_>, outcome: &mut Outcome) {
    let what = match beside {
        Some(other) => say!(
            "region '{region}': in season {season} a tree at '{name}' bears {times:.1} times as much beside one at '{other}' as in the other seasons, in which the two go together"
        ),
        None => say!(
            "region '{region}': in season {season} a tree at '{name}' bears {times:.1} times what the site's other seasons and the region's other sites lead to expect, and near to it in every other season"
        ),
    };
    outcome.warn(Place::file(Table::Harvests.as_str()), Code::SitesUnlike, what, remedy());
}

fn tell_block(site: &str, &Odd { name, season, times, beside }: &Odd<'_>, outcome: &mut Outcome) {
    let what = match beside {
        Some(other) => say!(
            "site '{site}': in season {season} a tree of block '{name}' bears {times:.1} times as much beside one of block '{other}' as in the other seasons, in which the two go together"
        ),
        None => say!(
            "site '{site}': in season {season} a tree of block '{name}' bears {times:.1} times what the block's other seasons and the site's other blocks lead to expect, and near to it in every other season"
        ),
    };
    outcome.warn(Place::file(Table::Harvests.as_str()), Code::SitesUnlike, what, remedy());
}

fn remedy() -> &'static str {
    text!(
        "nothing to do where the season was so; else look for a file in another unit, as units = { nut_kg = \"lb\" } under [[files.harvests]] declares, or for rounds that are missing or of another season"
    )
}
