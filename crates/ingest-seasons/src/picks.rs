//! Picks added up to the yield of a tree in a season, at reference moisture.

use crate::frame::{DATE, REGION_NO, ROUNDS, TREE_NO, floats, indices, ints, only, sorted, stands};
use crate::missed_rounds::{self, Missed};
use crate::nut_weight;
use crate::odd_weights;
use crate::of_other_files::{Visit, foreign};
use crate::outcome::{Outcome, Rejected};
use crate::places::Places;
use crate::rounds::{self, Slips};
use crate::rows::{at_their_trees, written};
use crate::seasons::{day, day_number, on_days};
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Calendar, Code, Table, at_reference_moisture, counted};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// The yields, and how picks without a moisture were taken.
#[derive(Debug)]
pub(crate) struct Yields {
    /// `tree_no`, `region_no`, `season`, `yield_kg`, `picks`, `rounds`, `nut_count`, one row per tree-season.
    pub(crate) frame: DataFrame,
    /// Picks without a moisture, taken at the book's default.
    pub(crate) at_default_moisture: u64,
    /// Picks without a moisture in a book without a default, taken as weighed.
    pub(crate) at_reference_moisture: u64,
    /// Picks whose weight was brought to the reference moisture.
    pub(crate) converted: Option<MoistureConversion>,
    /// Trees without a weight in a round that nearly all of their block have.
    pub(crate) missed: Vec<Missed>,
}

/// Picks weighed at another moisture than the book's reference, whose weights were brought to it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MoistureConversion {
    /// How many, those taken at the book's default moisture among them.
    pub picks: u64,
    /// Lowest and highest moisture at which they were weighed, %.
    pub from_pct: [f64; 2],
    /// The reference, %.
    pub to_pct: f64,
}

impl MoistureConversion {
    /// One pick more.
    fn with(before: Option<Self>, moisture: f64, to_pct: f64) -> Self {
        let [low, high] = before.map_or([moisture; 2], |before| before.from_pct);
        Self {
            picks: before.map_or(0, |before| before.picks) + 1,
            from_pct: [low.min(moisture), high.max(moisture)],
            to_pct,
        }
    }
}

const NUT_KG: &str = "nut_kg";
const MOISTURE: &str = "moisture_pct";
const UNCOUNTED: &str = "uncounted";

/// One row per tree and season with at least one pick; a pick of 0 kg is a crop of nothing.
pub(crate) fn yields(
    frame: &DataFrame,
    places: &Places,
    book: &Book,
    outcome: &mut Outcome,
) -> PolarsResult<Yields> {
    let grace = book.options.harvest_grace_days;
    let wanted = [NUT_KG, MOISTURE, ts::NUT_COUNT];
    let picks = at_their_trees(Table::Harvests, frame, &wanted, places, outcome)?;
    let season = |calendar: &Calendar, day| calendar.season_of_pick(day, grace).map(i32::from);
    let picks = on_days(picks, places, &[(ts::SEASON, &season)])?;
    let picks = in_season(&picks, places, grace, outcome)?;
    let least_pct = book.options.least_season_pct;
    let mut picks = without_stray_seasons(&picks, places, least_pct, outcome)?;
    tell_seasons_between(&picks, places, outcome)?;
    nut_weight::warn(&picks, NUT_KG, outcome)?;
    nut_weight::warn_of_less_than_a_nut(&picks, NUT_KG, outcome)?;
    odd_weights::warn(&picks, NUT_KG, outcome)?;
    let missed = missed_rounds::missed(&picks, NUT_KG, places)?;

    let reference = book.book.reference_moisture_pct;
    let (mut at_default, mut as_weighed) = (0, 0);
    let mut converted = None;
    let kg: Float64Chunked = floats(&picks, NUT_KG)?
        .iter()
        .zip(floats(&picks, MOISTURE)?.iter())
        .map(|(kg, moisture)| {
            let moisture = match (moisture, book.book.default_moisture_pct) {
                (Some(measured), _) => measured,
                (None, Some(default)) => {
                    at_default += 1;
                    default
                }
                (None, None) => {
                    as_weighed += 1;
                    reference
                }
            };
            if moisture != reference {
                converted = Some(MoistureConversion::with(converted, moisture, reference));
            }
            Some(at_reference_moisture(kg?, moisture, reference))
        })
        .collect();
    picks.with_column(kg.with_name(ts::YIELD_KG.into()).into_column())?;

    let without = at_default + as_weighed;
    let moistures = floats(&picks, MOISTURE)?;
    let first_without = stands(&picks)?
        .zip(moistures.iter())
        .filter(|(_, own)| own.is_none())
        .map(|(at, _)| at)
        .min();
    if without > 0 && without < picks.height() as u64 && as_weighed > 0 {
        outcome.warn(
            first_without.map_or_else(
                || outcome.place_of(Table::Harvests),
                |at| outcome.place(at),
            ),
            Code::MoistureMissing,
            say!(
                "{without} of {} carry no moisture, where the others do, here first, and are taken as weighed at {reference} %",
                counted(picks.height() as u64, text!("pick"), text!("picks"))
            ),
            text!("fill in moisture_pct, or set default_moisture_pct under [book]"),
        );
    }

    let frame = sorted(picks.lazy(), &[TREE_NO, ts::SEASON, DATE, ts::YIELD_KG])
        .group_by_stable([col(TREE_NO), col(REGION_NO), col(ts::SEASON)])
        .agg([
            col(ts::YIELD_KG).sum(),
            len().cast(DataType::Int32).alias(ts::PICKS),
            col(DATE).n_unique().cast(DataType::Int32).alias(ROUNDS),
            col(ts::NUT_COUNT).sum().cast(DataType::Float64),
            col(ts::NUT_COUNT).null_count().alias(UNCOUNTED),
        ])
        .with_column(
            when(col(UNCOUNTED).eq(lit(0)))
                .then(col(ts::NUT_COUNT))
                .otherwise(lit(NULL))
                .alias(ts::NUT_COUNT),
        )
        .select(
            [TREE_NO, REGION_NO, ts::SEASON, ts::YIELD_KG, ts::PICKS, ROUNDS, ts::NUT_COUNT]
                .map(col),
        )
        .collect()?;
    Ok(Yields {
        frame,
        at_default_moisture: at_default,
        at_reference_moisture: as_weighed,
        converted,
        missed,
    })
}

/// Rejects picks outside every harvest window.
fn in_season(
    picks: &DataFrame,
    places: &Places,
    grace: i32,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let mut keep = Vec::with_capacity(picks.height());
    let days = indices(picks, REGION_NO)?.iter().zip(ints(picks, DATE)?.iter());
    let trees = indices(picks, TREE_NO)?.iter();
    for (((season, (region, date)), tree), at) in
        ints(picks, ts::SEASON)?.iter().zip(days).zip(trees).zip(stands(picks)?)
    {
        keep.push(season.is_some());
        if season.is_some() {
            continue;
        }
        if let (Some(tree), Some(region), Some(date)) = (tree, region, date) {
            outcome.out_of_season.push((tree, region, date, outcome.date_place(at)));
        }
        let nearest = region.and_then(|region| places.calendar(region)).zip(date);
        let missed = nearest.and_then(|(calendar, date)| nearest_window(calendar, date));
        let region = places.region_id(region.unwrap_or(u32::MAX));
        outcome.reject(Rejected {
            table: Table::Harvests,
            stands: at,
            column: DATE.into(),
            code: Code::DateInNoSeason,
            reason: say!(
                "{} lies in no harvest window of region '{region}'{}",
                written(date),
                missed.unwrap_or_default()
            ),
            remedy: say!(
                "correct the date, widen harvest of [regions.{region}], or raise \
                 [options] harvest_grace_days (now {grace})"
            ),
        });
    }
    only(picks, keep)
}

/// Fewest trees that a region usually has in a season for one of a handful to be called stray.
const USUAL_TREES: usize = 20;
/// Years that a last season stands after every other from which it is held against more than a handful.
const APART: i32 = 3;
/// Share of the usual trees, or picks, below which such a season is no harvest of its own.
const THIN: f64 = 0.5;

/// Trees and picks of a season.
#[derive(Debug, Default)]
struct Picked {
    trees: BTreeSet<u32>,
    picks: usize,
}

/// What tells a season as stray: the usual number of trees, or what it has and what is usual where it
/// stands years after the others.
enum Stray {
    Handful { usual: usize },
    Apart { years: i32, usual: usize, usual_picks: usize },
}

/// The upper of two medians: of two seasons one alone may be stray.
fn upper_median(mut counts: Vec<usize>) -> Option<usize> {
    counts.sort_unstable();
    counts.get(counts.len() / 2).copied()
}

/// Whether a season of a region is stray, and why. One mistyped year makes a last season of its own, of a
/// handful of trees, or of a whole round where the date is written once for many rows.
fn stray(
    seasons: &BTreeMap<(u32, i32), Picked>,
    (region, season): (u32, i32),
    least_pct: f64,
) -> Option<Stray> {
    let own = seasons.get(&(region, season))?;
    let of_region = || seasons.range((region, i32::MIN)..=(region, i32::MAX));
    let usual = upper_median(of_region().map(|(_, of)| of.trees.len()).collect())?;
    let trees = own.trees.len() as f64;
    if usual < USUAL_TREES || least_pct <= 0.0 {
        return None;
    }
    if trees < least_pct / 100.0 * usual as f64 {
        return Some(Stray::Handful { usual });
    }
    let usual_picks = upper_median(of_region().map(|(_, of)| of.picks).collect())?;
    let before =
        of_region().map(|(&(_, other), _)| other).filter(|other| *other != season).max()?;
    let is_thin = trees < THIN * usual as f64 || (own.picks as f64) < THIN * usual_picks as f64;
    let years = season - before;
    (years >= APART && is_thin).then_some(Stray::Apart { years, usual, usual_picks })
}

/// Rejects the picks of stray seasons.
fn without_stray_seasons(
    picks: &DataFrame,
    places: &Places,
    least_pct: f64,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let mut seasons: BTreeMap<(u32, i32), Picked> = BTreeMap::new();
    let regions = indices(picks, REGION_NO)?.iter();
    let of_rows: Vec<Option<(u32, i32)>> = regions
        .zip(ints(picks, ts::SEASON)?.iter())
        .map(|(region, season)| region.zip(season))
        .collect();
    for (season, tree) in of_rows.iter().zip(indices(picks, TREE_NO)?.iter()) {
        if let (Some(season), Some(tree)) = (season, tree) {
            let own = seasons.entry(*season).or_default();
            own.trees.insert(tree);
            own.picks += 1;
        }
    }
    let strays: BTreeMap<(u32, i32), Stray> = seasons
        .keys()
        .filter_map(|&season| Some((season, stray(&seasons, season, least_pct)?)))
        .collect();
    let mut keep = Vec::with_capacity(picks.height());
    let numbers = indices(picks, TREE_NO)?.iter();
    for ((season, at), tree) in of_rows.iter().zip(stands(picks)?).zip(numbers) {
        let found = season.as_ref().and_then(|season| strays.get_key_value(season));
        keep.push(found.is_none());
        let Some((&(region, year), stray)) = found else { continue };
        outcome.stray_picks.extend(tree.map(|tree| (tree, at)));
        let own = seasons.get(&(region, year));
        let few = own.map_or(0, |own| own.trees.len()) as u64;
        let few = counted(few, text!("tree"), text!("trees"));
        let region = places.region_id(region);
        let reason = match *stray {
            Stray::Handful { usual } => say!(
                "season {year} of region '{region}' has picks of {few} alone, where {usual} is usual: a slip of the year?"
            ),
            Stray::Apart { years, usual, usual_picks } => say!(
                "season {year} of region '{region}' comes {years} years after every other and has {} of {few}, where {usual_picks} of {usual} are usual: a slip of the year?",
                counted(own.map_or(0, |own| own.picks) as u64, text!("pick"), text!("picks"))
            ),
        };
        outcome.reject(Rejected {
            table: Table::Harvests,
            stands: at,
            column: DATE.into(),
            code: Code::SeasonStray,
            reason,
            remedy: text!(
                "correct the date; if the season is real, add its other picks or set least_season_pct = 0 under [options]"
            )
            .to_owned(),
        });
    }
    only(picks, keep)
}

/// Rows of another season that are few, be the rows around them not many times as many.
const FEW: usize = 3;
/// Fewest rows of one season on either side of rows of another for these to be a slip.
pub(crate) const AROUND: usize = 10;
/// How many times the rows of another season those around it are, at least, where they are not few.
const TIMES: usize = 4;
/// How many times the rows of all other seasons a file holds of one, where it is a file of that season.
const OF_ONE: usize = 10;

/// A pick: the file and line, and the season.
pub(crate) type Pick = ((u32, u32), i32);

/// Tells picks of another season between many of one, as files come that are written day by day, whole
/// rounds that fit in with the year moved, a few in a file of one season, and those whose season is at home
/// in other files: of two seasons that a region has in full, nothing else shows a slip of the year.
/// Notes where each season of a region begins.
fn tell_seasons_between(
    picks: &DataFrame,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    // By file and region: regions are picked at their own times of the year.
    let mut rows: Vec<(u32, Pick)> = Vec::with_capacity(picks.height());
    let mut whole: BTreeMap<u32, Vec<Pick>> = BTreeMap::new();
    let mut visits = Vec::with_capacity(picks.height());
    let of_tree = indices(picks, TREE_NO)?.iter().zip(indices(picks, REGION_NO)?.iter());
    let of_day = ints(picks, ts::SEASON)?.iter().zip(ints(picks, DATE)?.iter());
    for ((at, (tree, region)), (season, day)) in stands(picks)?.zip(of_tree).zip(of_day) {
        let (Some(tree), Some(region)) = (tree, region) else { continue };
        let (Some(season), Some(day)) = (season, day) else { continue };
        rows.push((region, (at, season)));
        whole.entry(at.0).or_default().push((at, season));
        visits.push(Visit { at, tree, region, season, day });
        let first = outcome.first_picks.entry((places.region_id(region).to_owned(), season));
        let first = first.or_insert(at);
        *first = at.min(*first);
    }
    whole.values().for_each(|file| outcome.note_season_of_file(file));
    rows.sort_unstable_by_key(|&(region, (at, season))| (at.0, region, at.1, season));
    // By file, season and season among it: how many, and where the first stands.
    let mut slips = rounds::slips(picks)?;
    let whole_rounds: BTreeSet<(u32, i32, i32)> = slips.keys().copied().collect();
    let of_region = |(region, ((file, _), _)): &(u32, Pick)| (*file, *region);
    for file in rows.chunk_by(|one, next| of_region(one) == of_region(next)) {
        let file: Vec<Pick> = file.iter().map(|(_, pick)| *pick).collect();
        let Some(&((number, _), _)) = file.first() else { continue };
        for (season, run) in odd_runs(&file) {
            if let Some(&((_, line), other)) = run.first()
                && !whole_rounds.contains(&(number, season, other))
            {
                slips.entry((number, season, other)).or_insert((0, line)).0 += run.len() as u64;
            }
        }
    }
    // Those that are at home in other files, wherever they stand in this one.
    let mut elsewhere: Slips = BTreeMap::new();
    for ((file, _, season, other), at) in foreign(visits, places)? {
        let Some(&(_, line)) = at.first() else { continue };
        let entry = elsewhere.entry((file, season, other)).or_insert((0, line));
        *entry = (entry.0 + at.len() as u64, entry.1.min(line));
    }
    elsewhere.retain(|slip, _| !whole_rounds.contains(slip));
    slips.extend(elsewhere);
    for ((file, season, other), (rows, line)) in slips {
        outcome.warn(
            outcome.date_place((file, line)),
            Code::SeasonStray,
            say!(
                "{} of season {other} among picks of season {season} in this file: a slip of the year?",
                counted(rows, text!("pick"), text!("picks"))
            ),
            text!("kept; compare the date with the field book"),
        );
    }
    Ok(())
}

/// The season of a file, where nearly all its rows are of one.
pub(crate) fn season_of(file: &[Pick]) -> Option<i32> {
    let mut counts: BTreeMap<i32, usize> = BTreeMap::new();
    for (_, season) in file {
        *counts.entry(*season).or_default() += 1;
    }
    let (season, rows) = counts.into_iter().max_by_key(|(_, rows)| *rows)?;
    (rows >= AROUND.max(OF_ONE * (file.len() - rows))).then_some(season)
}

/// Runs of rows of one file whose season is odd there, with the season that its place suggests.
pub(crate) fn odd_runs(file: &[Pick]) -> Vec<(i32, &[Pick])> {
    let runs: Vec<&[Pick]> = file.chunk_by(|(_, one), (_, other)| one == other).collect();
    let of = |run: &[Pick]| run.first().map(|&(_, season)| season);
    if let Some(season) = season_of(file)
        && file.iter().filter(|(_, own)| *own != season).count() <= FEW
    {
        return runs
            .into_iter()
            .filter(|run| of(run) != Some(season))
            .map(|run| (season, run))
            .collect();
    }
    let between = runs.windows(3).filter_map(|around| {
        let &[before, run, after] = around else { return None };
        let season = of(before).filter(|season| of(after) == Some(*season))?;
        let least = before.len().min(after.len());
        let is_odd = least >= AROUND && (run.len() <= FEW || least >= TIMES * run.len());
        is_odd.then_some((season, run))
    });
    between.collect()
}

/// The harvest window nearest to a day, in words, with the days by which it is missed.
fn nearest_window(calendar: &Calendar, date: i32) -> Option<String> {
    let year = day(date)?.year();
    let (missed, opens, closes) = (year - 1..=year + 1)
        .map(|year| (calendar.harvest_opens(year), calendar.harvest.close_of(year)))
        .map(|(opens, closes)| {
            let missed = (day_number(opens) - date).max(date - day_number(closes));
            (missed, opens, closes)
        })
        .min()?;
    Some(say!(
        "; the nearest, {opens} to {closes}, is missed by {}",
        counted(u64::from(missed.unsigned_abs()), text!("day"), text!("days"))
    ))
}
