//! Warnings when there is too little in a book or a region to learn from.

use crate::frame::{ROUNDS, ints, texts};
use crate::near::NearMisses;
use crate::outcome::Outcome;
use crate::places::Places;
use crate::summary::{LinkSummary, RegionSummary};
use polars::prelude::{DataFrame, PolarsResult};
use records::work::SettingError;
use records::{Book, Code, Place, Table, counted, tree_season};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Fewest seasons from which a season effect can be told from a pruning effect.
const SEASONS: usize = 2;
/// Fewest trees in a book from which a tree effect can be told from noise.
const TREES_OF_BOOK: u64 = 2;
/// Fewest trees of a region for which advice of its own is worth reading.
const TREES_OF_REGION: u64 = 10;

/// Warns of the book when the whole of it has too little, else of each region that has.
pub(crate) fn warn(summary: &LinkSummary, outcome: &mut Outcome) {
    let regions = &summary.regions;
    let seasons: BTreeSet<i32> =
        regions.iter().flat_map(|region| region.seasons.iter().copied()).collect();
    let few = seasons.len() < SEASONS;
    each(
        regions,
        few,
        |region| region.seasons.len() < SEASONS,
        |whose, place| {
            outcome.warn(
            place.unwrap_or_else(|| outcome.place_of(Table::Harvests)),
            Code::SeasonsTooFew,
            say!("{whose} has fewer than {SEASONS} harvest seasons"),
            text!("add the records of earlier seasons: weather and pruning cannot be told apart in one"),
        );
        },
    );
    let few = regions.iter().map(|region| region.mature_trees).sum::<u64>() < TREES_OF_BOOK;
    each(
        regions,
        few,
        |region| region.mature_trees < TREES_OF_REGION,
        |whose, place| {
            let least = if few { TREES_OF_BOOK } else { TREES_OF_REGION };
            outcome.warn(
                place.unwrap_or_else(|| outcome.place_of(Table::Trees)),
                Code::TreesTooFew,
                say!("{whose} has fewer than {least} trees past the training age with harvests"),
                text!("record more trees one by one"),
            );
        },
    );
    let constant = |region: &RegionSummary| !region.intensity.is_some_and(|[low, high]| high > low);
    let lows = regions.iter().filter_map(|region| region.intensity).map(|[low, _]| low);
    let highs = regions.iter().filter_map(|region| region.intensity).map(|[_, high]| high);
    let few = lows.reduce(f64::min) >= highs.reduce(f64::max);
    let rejected = outcome.rejected.iter().filter(|row| row.table == Table::Prunings).count();
    let set_aside = outcome.prunings_unread + rejected as u64;
    each(regions, few, constant, |whose, place| {
        let mut remedy = if set_aside == 0 {
            String::new()
        } else {
            let rows = counted(set_aside, text!("pruning row"), text!("pruning rows"));
            say!("mend the {rows} set aside, whose intensities are not counted here; ")
        };
        remedy.push_str(text!(
            "leave some trees unpruned or prune some differently, best as a randomised trial"
        ));
        outcome.warn(
            place.unwrap_or_else(|| outcome.place_of(Table::Prunings)),
            Code::PruningConstant,
            say!("{whose} has the same intensity on every tree past the training age"),
            remedy,
        );
    });
}

/// Warns of a book in which neither the prunings nor the settings tell how long pruning takes: a
/// run refuses it, since no practice can be costed.
pub(crate) fn warn_of_unknown_time(
    book: &Book,
    linked: &DataFrame,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let timed = linked.column(tree_season::MINUTES)?.null_count() < linked.height();
    if book.economics.pruning_time.is_none() && !timed {
        outcome.warn(
            Place::file("book.toml"),
            Code::SettingMissing,
            say!("nothing tells how long pruning takes, and a run needs its cost"),
            text!("add [economics.pruning_time] with minutes_per_tree and minutes_full_canopy, or record minutes with the prunings"),
        );
    }
    Ok(())
}

/// Warns of sprays whose concentration is far from the label's usual one: the plan tells it beside the materials
/// alone, where nobody looks before the season.
pub(crate) fn warn_of_doses(book: &Book, outcome: &mut Outcome) {
    for (name, product) in &book.products {
        let Some([target, usual]) = product.unlikely_target() else { continue };
        outcome.warn(
            Place::file("book.toml"),
            Code::DoseUnlikely,
            say!(
                "[products.{name}] target_pct = {target} beside usual_pct = {usual}: ten times apart or more"
            ),
            text!("check both against the label: per cent of what, and where the decimal point is"),
        );
    }
}

/// Years between two recorded seasons from which they are told.
const APART: i32 = 3;

/// Warns of seasons that a slip of the year may have made, and of advice asked for one that is over or far
/// ahead.
pub(crate) fn warn_of_seasons(summary: &LinkSummary, book: &Book, outcome: &mut Outcome) {
    let set = || Place::file("book.toml");
    let last = summary.regions.iter().filter_map(|region| region.seasons.last()).max();
    if let (Some(asked), Some(&last)) = (book.options.season.map(i32::from), last) {
        let told = if asked <= last {
            Some((
                Code::SeasonOver,
                say!(
                    "season = {asked} under [options], and harvests of {last} are recorded: advice is for a season that is over"
                ),
            ))
        } else if asked > last + 1 {
            Some((
                Code::SeasonAhead,
                say!(
                    "season = {asked} under [options], and the last harvests recorded are of {last}: advice is for a season that is not the coming one"
                ),
            ))
        } else {
            None
        };
        if let Some((code, what)) = told {
            let remedy = say!("set season = {}, or take the line out", last + 1);
            outcome.warn(set(), code, what, remedy);
        }
    }
    for region in &summary.regions {
        let pairs = region.seasons.iter().zip(region.seasons.iter().skip(1));
        for (&before, &after) in pairs.filter(|(before, after)| **after - **before >= APART) {
            // The season at the end is the odd one.
            let odd = if Some(&after) == region.seasons.last() { after } else { before };
            outcome.warn(
                outcome.place_of_season(&region.region, odd),
                Code::SeasonsApart,
                say!(
                    "region '{}': seasons {before} and {after} follow each other, {} years apart",
                    region.region,
                    after - before
                ),
                text!("correct the year if it is a slip, in the rows, in every_row or in the file's dates; else nothing is to be done"),
            );
        }
    }
}

/// Share of the usual picks of a tree up to which a season is told as thin.
const THIN: f64 = 0.5;
/// Fewest seasons of a region for what is usual to be known.
const SEASONS_KNOWN: usize = 3;

/// Warns of seasons in which trees were picked far less often than usual: a round whose year is a slip,
/// files that are missing, or a harvest that is not over. Advice takes each as a whole harvest.
/// These seasons, with their regions.
pub(crate) fn warn_of_thin_seasons(
    linked: &DataFrame,
    outcome: &mut Outcome,
) -> PolarsResult<BTreeSet<(String, i32)>> {
    let mut thin = BTreeSet::new();
    let regions = texts(linked, tree_season::REGION)?.iter();
    let sites = texts(linked, tree_season::SITE)?.iter();
    let seasons = ints(linked, tree_season::SEASON)?.iter();
    let mut picks: BTreeMap<(&str, i32), Vec<i32>> = BTreeMap::new();
    let mut seen: BTreeMap<(&str, i32), BTreeSet<&str>> = BTreeMap::new();
    for (((region, site), season), own) in
        regions.zip(sites).zip(seasons).zip(ints(linked, ROUNDS)?.iter())
    {
        if let (Some(region), Some(site), Some(season), Some(own)) = (region, site, season, own) {
            picks.entry((region, season)).or_default().push(own);
            seen.entry((region, season)).or_default().insert(site);
        }
    }
    let mut middles: BTreeMap<&str, Vec<(i32, i32)>> = BTreeMap::new();
    for ((region, season), mut own) in picks {
        own.sort_unstable();
        if let Some(&middle) = own.get(own.len() / 2) {
            middles.entry(region).or_default().push((season, middle));
        }
    }
    for (region, seasons) in middles.into_iter().filter(|(_, own)| own.len() >= SEASONS_KNOWN) {
        let mut usual: Vec<i32> = seasons.iter().map(|(_, middle)| *middle).collect();
        usual.sort_unstable();
        let Some(&usual) = usual.get(usual.len() / 2) else { continue };
        let all: BTreeSet<&str> = seasons
            .iter()
            .filter_map(|(season, _)| seen.get(&(region, *season)))
            .flatten()
            .copied()
            .collect();
        for (season, own) in seasons {
            if f64::from(own) > THIN * f64::from(usual) {
                continue;
            }
            let here = seen.get(&(region, season)).map_or(0, BTreeSet::len);
            let of_sites = if here < all.len() {
                say!(", and picks come from {here} of {} sites", all.len())
            } else {
                String::new()
            };
            thin.insert((region.to_owned(), season));
            outcome.warn(
                outcome.place_of_season(region, season),
                Code::SeasonThin,
                say!(
                    "region '{region}': a tree of season {season} has {} (median), where {usual} are usual{of_sites}; it counts as a whole harvest all the same",
                    counted(u64::from(own.unsigned_abs()), text!("pick"), text!("picks"))
                ),
                text!("correct the year if it is a slip, or add the other picks; a harvest that is not over is best left out of the book until it is"),
            );
        }
    }
    Ok(thin)
}

/// Warns of crews declared for sites that no tree stands at.
pub(crate) fn warn_of_unknown_sites(
    book: &Book,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let known = texts(&places.trees, tree_season::SITE)?.iter().flatten().collect();
    for SettingError { what, remedy, .. } in unknown_sites(book, &known) {
        outcome.warn(Place::file("book.toml"), Code::SettingImpossible, what, remedy);
    }
    Ok(())
}

/// Crews declared under `[work.sites]` for sites that are not among those with trees.
#[must_use]
pub fn unknown_sites(book: &Book, known: &BTreeSet<&str>) -> Vec<SettingError> {
    let near = NearMisses::of(known.iter().copied());
    let unknown = book.work.sites.keys().filter(|site| !known.contains(site.as_str()));
    let told = unknown.map(|site| {
        let remedy = near
            .remedy(site, text!("write the site as the block table does, or remove the section"));
        let what = say!(
            "[work.sites] names '{site}', and no tree stands at a site of that name: its crew has no work"
        );
        SettingError::new(format!("[work.sites.{site}]"), what, remedy)
    });
    told.collect()
}

fn each(
    regions: &[RegionSummary],
    whole_book: bool,
    lacks: impl Fn(&RegionSummary) -> bool,
    mut report: impl FnMut(&str, Option<Place>),
) {
    if whole_book {
        report(text!("the book"), None);
        return;
    }
    for region in regions.iter().filter(|region| lacks(region)) {
        // The first file of a table may be of another region; the settings declare them all.
        report(&say!("region '{}'", region.region), Some(Place::file("book.toml")));
    }
}
