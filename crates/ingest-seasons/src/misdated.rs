//! Prunings whose day looks like a slip of the year or of the month.

use crate::block_years;
use crate::frame::{DATE, REGION_NO, TREE_NO, floats, indices, ints, only, stands};
use crate::of_other_files::{self, foreign};
use crate::outcome::{Outcome, Rejected, StrayPruning};
use crate::picks::{Pick, odd_runs};
use crate::places::Places;
use crate::rows::written;
use crate::seasons::day;
use crate::year_slip::{is_one_slip, year_for};
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Calendar, Code, Table, counted};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Fewest trees, or tree-seasons, that a region usually has for what a handful of them do to be odd.
const USUAL_TREES: usize = 20;
/// Largest share of a region's pruned tree-seasons with a second visit for one visit to be its habit.
const SECOND_VISITS: f64 = 0.05;
/// Share of the trees with a second visit in a season that lack one in another, from which slips of the
/// year account for most of them.
const MOST: f64 = 0.5;
/// Largest chance that so many of them lack it, were they as often left out as the other trees.
const CHANCE: f64 = 0.01;
/// Days between two visits of one season from which they are no single round through the orchard.
const APART: i32 = 30;
/// Fewest trees of a block with two visits before one harvest that make a second pass through it.
const PASS: usize = 5;
/// Share of a region's picked trees from which a season counts as one in which its trees were pruned.
const PRUNED_SEASON: f64 = 0.5;

/// One pruning visit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Visit {
    pub(crate) tree: u32,
    pub(crate) region: u32,
    pub(crate) season: i32,
    pub(crate) day: i32,
    is_cut: bool,
    pub(crate) at: (u32, u32),
}

/// Trees by region and season.
pub(crate) type Trees = BTreeMap<(u32, i32), BTreeSet<u32>>;

/// The visits of a book beside its picks.
struct Seen {
    visits: Vec<Visit>,
    visited: Trees,
    picked: Trees,
    /// Trees that a region usually visits in a season with picks.
    usual: BTreeMap<u32, usize>,
    /// Last season with picks.
    last: BTreeMap<u32, i32>,
}

/// Rejects the visits of seasons that a slip of the year made, and tells those whose day is odd for
/// their region; `rows` are visits with their season, `yields` one row per tree-season with a pick.
pub(crate) fn without_strays(
    rows: &DataFrame,
    yields: &DataFrame,
    places: &Places,
    book: &Book,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let seen = Seen::of(rows, yields)?;
    let least = book.options.least_season_pct / 100.0;
    let mut keep = Vec::with_capacity(seen.visits.len());
    let mut kept = Vec::new();
    for &visit in &seen.visits {
        let stray = seen.is_stray(visit, least);
        keep.push(!stray);
        if stray {
            seen.reject(visit, least, places, outcome);
        } else if visit.is_cut {
            kept.push(visit);
        }
    }
    warn_of_harvest(&kept, places, outcome);
    let mut told = warn_of_others_between(&kept, places, outcome)?;
    told.extend(block_years::warn_of_rounds(&kept, &seen.picked, places, outcome)?);
    let untold: Vec<Visit> = kept.iter().filter(|cut| !told.contains(&cut.at)).copied().collect();
    block_years::warn(&untold, &kept, &seen.picked, places, outcome)?;
    seen.warn_of_second_visits(&kept, &told, places, outcome)?;
    only(rows, keep)
}

/// Tells cuts of another season between many of one, as files come that are written day by day, a few in a
/// file of one season, and those whose season is at home in other files: a tree that was cut in one season
/// alone shows a slip of the year nowhere else. Returns where those stand.
fn warn_of_others_between(
    cuts: &[Visit],
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<BTreeSet<(u32, u32)>> {
    let mut all = BTreeSet::new();
    let mut of_files: BTreeMap<(u32, u32), Vec<Pick>> = BTreeMap::new();
    let mut whole: BTreeMap<u32, Vec<Pick>> = BTreeMap::new();
    let block_of = crate::frame::texts(&places.trees, ts::BLOCK)?;
    let mut block_at: BTreeMap<(u32, u32), &str> = BTreeMap::new();
    for cut in cuts {
        block_at.extend(block_of.get(cut.tree as usize).map(|block| (cut.at, block)));
        of_files.entry((cut.at.0, cut.region)).or_default().push((cut.at, cut.season));
        whole.entry(cut.at.0).or_default().push((cut.at, cut.season));
    }
    whole.values().for_each(|visits| outcome.note_season_of_file(visits));
    let visits = cuts.iter().map(|&Visit { at, tree, region, season, day, .. }| {
        of_other_files::Visit { at, tree, region, season, day }
    });
    let elsewhere = foreign(visits.collect(), places)?;
    for ((file, region), mut rows) in of_files {
        rows.sort_unstable();
        // By season of the rows around and season written: the first row, and how many.
        let mut told: BTreeMap<(i32, i32), ((u32, u32), u64)> = BTreeMap::new();
        for (season, run) in odd_runs(&rows) {
            if ends_a_block(&rows, run, |at| block_at.get(at).copied()) {
                continue;
            }
            all.extend(run.iter().map(|(at, _)| *at));
            if let Some(&(at, other)) = run.first() {
                told.entry((season, other)).or_insert((at, 0)).1 += run.len() as u64;
            }
        }
        // Those that are at home in other files, wherever they stand in this one.
        let own = (file, region, i32::MIN, i32::MIN)..=(file, region, i32::MAX, i32::MAX);
        for (&(.., season, other), at) in elsewhere.range(own) {
            all.extend(at);
            told.extend(at.first().map(|&first| ((season, other), (first, at.len() as u64))));
        }
        for ((season, other), (at, number)) in told {
            outcome.warn(
                outcome.date_place(at),
                Code::SeasonStray,
                say!(
                    "{} before harvest {other} among those before harvest {season} of region '{}' in this file: a slip of the year?",
                    counted(number, text!("pruning"), text!("prunings")),
                    places.region_id(region)
                ),
                text!("kept; compare the date with the field book"),
            );
        }
    }
    Ok(all)
}

/// Whether a run of rows of another season is what a file holds that is written block by block: the later season
/// stands at the end of its block, the earlier one at its beginning.
fn ends_a_block<'a>(
    rows: &[Pick],
    run: &[Pick],
    block_at: impl Fn(&(u32, u32)) -> Option<&'a str>,
) -> bool {
    let (Some(first), Some(last)) = (run.first(), run.last()) else { return false };
    let Ok(start) = rows.binary_search(first) else { return false };
    let before = start.checked_sub(1).and_then(|at| rows.get(at));
    let after = rows.get(start + run.len());
    let is_of_own = |row: &Pick, other: &Pick| block_at(&row.0) == block_at(&other.0);
    let ends = after.is_some_and(|after| !is_of_own(last, after) && last.1 > after.1);
    let begins = before.is_some_and(|before| !is_of_own(first, before) && first.1 < before.1);
    ends || begins
}

fn trees_of(frame: &DataFrame) -> PolarsResult<Trees> {
    let mut trees = Trees::new();
    let seasons = indices(frame, REGION_NO)?.iter().zip(ints(frame, ts::SEASON)?.iter());
    for ((region, season), tree) in seasons.zip(indices(frame, TREE_NO)?.iter()) {
        if let (Some(region), Some(season), Some(tree)) = (region, season, tree) {
            trees.entry((region, season)).or_default().insert(tree);
        }
    }
    Ok(trees)
}

impl Seen {
    fn of(rows: &DataFrame, yields: &DataFrame) -> PolarsResult<Self> {
        let of_tree = indices(rows, TREE_NO)?.iter().zip(indices(rows, REGION_NO)?.iter());
        let of_day = ints(rows, ts::SEASON)?.iter().zip(ints(rows, DATE)?.iter());
        let cuts = floats(rows, ts::INTENSITY)?.iter();
        let visits = of_tree.zip(of_day).zip(cuts).zip(stands(rows)?);
        let visits = visits
            .map(|((((tree, region), (season, day)), cut), at)| Visit {
                tree: tree.unwrap_or(u32::MAX),
                region: region.unwrap_or(u32::MAX),
                season: season.unwrap_or(i32::MIN),
                day: day.unwrap_or(0),
                is_cut: cut > Some(0.0),
                at,
            })
            .collect();
        let (visited, picked) = (trees_of(rows)?, trees_of(yields)?);
        let mut counts: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        for (place, trees) in visited.iter().filter(|(place, _)| picked.contains_key(place)) {
            counts.entry(place.0).or_default().push(trees.len());
        }
        let usual = counts
            .into_iter()
            .filter_map(|(region, mut counts)| {
                counts.sort_unstable();
                // The upper of two medians, as for seasons of picks.
                Some((region, *counts.get(counts.len() / 2)?))
            })
            .collect();
        // In the order of keys, so that the last season of a region is met last.
        let last = picked.keys().copied().collect();
        Ok(Self { visits, visited, picked, usual, last })
    }

    fn trees_visited(&self, region: u32, season: i32) -> usize {
        self.visited.get(&(region, season)).map_or(0, BTreeSet::len)
    }

    fn is_handful(&self, region: u32, season: i32, least: f64) -> bool {
        self.usual.get(&region).is_some_and(|&usual| {
            let few = self.trees_visited(region, season) as f64;
            usual >= USUAL_TREES && few < least * usual as f64
        })
    }

    /// A handful of visits before a harvest that nobody recorded and that is not the coming one.
    fn is_stray(&self, Visit { region, season, .. }: Visit, least: f64) -> bool {
        let is_coming = self.last.get(&region).is_none_or(|&last| season == last + 1);
        !is_coming
            && !self.picked.contains_key(&(region, season))
            && self.is_handful(region, season, least)
    }

    fn reject(&self, visit: Visit, least: f64, places: &Places, outcome: &mut Outcome) {
        let Visit { tree, region, season, at, .. } = visit;
        let open = self.open_seasons(visit, least);
        let meant = places.calendar(region).and_then(|calendar| meant(calendar, visit, &open));
        // Before the coming harvest nothing is counted without it yet.
        if !open.is_empty() && (meant.is_none() || meant != self.coming(region)) {
            let place = outcome.date_place(at);
            outcome.stray.push(StrayPruning { tree, season: meant, place });
        }
        let few = self.trees_visited(region, season) as u64;
        let usual = self.usual.get(&region).copied().unwrap_or_default();
        outcome.reject(Rejected {
            table: Table::Prunings,
            stands: at,
            column: DATE.into(),
            code: Code::SeasonStray,
            reason: say!(
                "{} is before harvest {season}, of which region '{}' has no pick and prunings of {} alone, where {usual} is usual: a slip of the year?",
                written(Some(visit.day)),
                places.region_id(region),
                counted(few, text!("tree"), text!("trees"))
            ),
            remedy: text!(
                "correct the date; if the season is real, add its picks or set least_season_pct = 0 under [options]"
            )
            .to_owned(),
        });
    }

    fn coming(&self, region: u32) -> Option<i32> {
        self.last.get(&region).map(|last| last + 1)
    }

    /// The seasons in which a tree was picked, or will be, and has no visit, though its region pruned.
    fn open_seasons(&self, Visit { tree, region, .. }: Visit, least: f64) -> Vec<i32> {
        let coming = self.coming(region);
        let is_open = |&season: &i32| {
            let place = (region, season);
            let is_picked = self.picked.get(&place).is_some_and(|trees| trees.contains(&tree));
            let is_visited = self.visited.get(&place).is_some_and(|trees| trees.contains(&tree));
            (is_picked || Some(season) == coming)
                && !is_visited
                && !self.is_handful(region, season, least)
        };
        let seasons = self.visited.range((region, i32::MIN)..=(region, i32::MAX));
        seasons.map(|(&(_, season), _)| season).filter(is_open).collect()
    }

    /// Tells second visits of a tree in one season where one is the habit, if they lie far apart or if
    /// another season lacks a visit to that tree; of those `told` already, nothing more.
    fn warn_of_second_visits(
        &self,
        cuts: &[Visit],
        told: &BTreeSet<(u32, u32)>,
        places: &Places,
        outcome: &mut Outcome,
    ) -> PolarsResult<()> {
        let mut by_region: BTreeMap<u32, BTreeMap<(u32, i32), Vec<Visit>>> = BTreeMap::new();
        for &cut in cuts {
            let of_region = by_region.entry(cut.region).or_default();
            of_region.entry((cut.tree, cut.season)).or_default().push(cut);
        }
        let names = crate::frame::texts(&places.trees, ts::TREE)?;
        let blocks = crate::frame::texts(&places.trees, ts::BLOCK)?;
        for (region, seasons) in by_region {
            let Some(calendar) = places.calendar(region) else { continue };
            let mut leads: Vec<i32> =
                seasons.values().flatten().filter_map(|cut| lead(calendar, *cut)).collect();
            if seasons.len() < USUAL_TREES {
                continue;
            }
            let is_twice = |cuts: &&Vec<Visit>| {
                spread(cuts) > 0 && !cuts.iter().any(|cut| told.contains(&cut.at))
            };
            let twice: Vec<&Vec<Visit>> = seasons.values().filter(is_twice).collect();
            let Some(busy) = busy(&seasons, &twice) else { continue };
            let slips = self.slips_of_busy_seasons(region, &busy, &twice, calendar);
            leads.sort_unstable();
            let usual = leads.get(leads.len() / 2).copied().unwrap_or_default();
            // A second pass through most of a block is work, and no slip of many pens.
            let mut passes: BTreeMap<(Option<&str>, i32), [usize; 2]> = BTreeMap::new();
            for ((tree, season), cuts) in &seasons {
                let own = passes.entry((blocks.get(*tree as usize), *season)).or_default();
                own[0] += 1;
                own[1] += usize::from(spread(cuts) > 0);
            }
            let is_pass = |cut: &Visit| {
                let own = passes.get(&(blocks.get(cut.tree as usize), cut.season));
                own.is_some_and(|[all, twice]| *twice >= PASS && 2 * twice >= *all)
            };
            let odd = |cuts: &&Vec<Visit>| {
                let of = cuts.first().map(|cut| (cut.tree, cut.season));
                if let Some((tree, season)) = of.filter(|(_, season)| busy.contains(season)) {
                    return slips.contains(&(tree, season));
                }
                cuts.first().is_some_and(|cut| {
                    (spread(cuts) >= APART && !is_pass(cut)) || self.lacks_a_visit(*cut)
                })
            };
            let mut told: Vec<(&Visit, &Vec<Visit>)> = twice
                .into_iter()
                .filter(odd)
                .filter_map(|cuts| {
                    // The one that lies farther from the usual day is the slip, most likely.
                    let far = |cut: &Visit| lead(calendar, *cut).map(|lead| (lead - usual).abs());
                    let odd =
                        cuts.iter().max_by_key(|cut| (far(cut), std::cmp::Reverse(cut.at)))?;
                    Some((odd, cuts))
                })
                .collect();
            told.sort_by_key(|(odd, _)| odd.at);
            let Some((first, cuts)) = told.first() else { continue };
            let (from, to) = ends(cuts);
            let tree = names.get(first.tree as usize).unwrap_or_default();
            outcome.warn(
                outcome.date_place(first.at),
                Code::PruningTwice,
                say!(
                    "{} of region '{}' with two prunings before one harvest, where one is usual; here first, tree '{tree}' on {} and {}: a slip of the month or the year?",
                    counted(told.len() as u64, text!("tree-season"), text!("tree-seasons")),
                    places.region_id(region),
                    written(Some(from)),
                    written(Some(to))
                ),
                say!(
                    "kept; compare the dates with the field book: if one is wrong, this season counts more pruning than there was and another season less{}",
                    others(told.iter().skip(1).map(|(odd, _)| &odd.at), outcome)
                ),
            );
        }
        Ok(())
    }

    /// Tree-seasons with second visits, of seasons in which they are many, whose trees lack a visit before
    /// one other harvest far more often than trees with one visit do.
    fn slips_of_busy_seasons(
        &self,
        region: u32,
        busy: &BTreeSet<i32>,
        twice: &[&Vec<Visit>],
        calendar: &Calendar,
    ) -> BTreeSet<(u32, i32)> {
        let mut slips = BTreeSet::new();
        for &season in busy {
            let Some(visited) = self.visited.get(&(region, season)) else { continue };
            let of_season = || {
                let of = |cuts: &&Vec<Visit>| cuts.first().copied();
                twice.iter().filter_map(of).filter(|cut| cut.season == season)
            };
            let second: BTreeSet<u32> = of_season().map(|cut| cut.tree).collect();
            let others = self.visited.range((region, i32::MIN)..=(region, i32::MAX));
            let lacking = others.filter_map(|(&(_, other), pruned)| {
                let is_slip = other != season
                    && of_season()
                        .next()
                        .is_some_and(|cut| meant(calendar, cut, &[other]).is_some());
                let expected = block_years::expected(&self.picked, region, other);
                let lacks = |tree: &&u32| expected.contains(tree) && !pruned.contains(tree);
                let lacking: Vec<u32> = second.iter().filter(lacks).copied().collect();
                let once = || visited.difference(&second).filter(|tree| expected.contains(tree));
                let left_out = once().filter(lacks).count();
                // Laplace's rule of succession, as for blocks.
                let usual = (left_out + 1) as f64 / (once().count() + 2) as f64;
                let share = lacking.len() as f64 / second.len() as f64;
                let chance = chance_of_as_many(second.len(), share, usual);
                (is_slip && share >= MOST && chance <= CHANCE).then_some((chance, lacking))
            });
            if let Some((_, trees)) = lacking.min_by(|one, other| one.0.total_cmp(&other.0)) {
                slips.extend(trees.into_iter().map(|tree| (tree, season)));
            }
        }
        slips
    }

    /// Whether a tree was picked in another season and has no visit before it, though its region pruned.
    fn lacks_a_visit(&self, Visit { tree, region, season, .. }: Visit) -> bool {
        self.picked.range((region, i32::MIN)..=(region, i32::MAX)).any(|(place, picked)| {
            let Some(visited) = self.visited.get(place) else { return false };
            place.1 != season
                && picked.contains(&tree)
                && !visited.contains(&tree)
                && visited.len() as f64 >= PRUNED_SEASON * picked.len() as f64
        })
    }
}

/// The seasons of a region in which second visits are more than a few; `None` where they are its habit,
/// which shows in most seasons.
fn busy(
    tree_seasons: &BTreeMap<(u32, i32), Vec<Visit>>,
    twice: &[&Vec<Visit>],
) -> Option<BTreeSet<i32>> {
    let mut seasons: BTreeMap<i32, (usize, usize)> = BTreeMap::new();
    for (_, season) in tree_seasons.keys() {
        seasons.entry(*season).or_default().0 += 1;
    }
    for cut in twice.iter().filter_map(|cuts| cuts.first()) {
        seasons.entry(cut.season).or_default().1 += 1;
    }
    if twice.len() as f64 <= SECOND_VISITS * tree_seasons.len() as f64 {
        return Some(BTreeSet::new());
    }
    let is_busy = |&(all, twice): &(usize, usize)| twice as f64 > SECOND_VISITS * all as f64;
    let busy: BTreeSet<i32> =
        seasons.iter().filter(|(_, counts)| is_busy(counts)).map(|(season, _)| *season).collect();
    (2 * busy.len() < seasons.len()).then_some(busy)
}

/// At most the chance that a share as great of so many trees is left out, where `usual` is (Chernoff 1952,
/// Ann. Math. Stat. 23:493-507).
fn chance_of_as_many(trees: usize, share: f64, usual: f64) -> f64 {
    if share <= usual {
        return 1.0;
    }
    let part =
        |share: f64, usual: f64| if share > 0.0 { share * (share / usual).ln() } else { 0.0 };
    (-(trees as f64) * (part(share, usual) + part(1.0 - share, 1.0 - usual))).exp()
}

/// Most further places that a finding names.
const NAMED: usize = 20;

/// Where the others of a finding stand, to be added to its remedy.
pub(crate) fn others<'a>(rows: impl Iterator<Item = &'a (u32, u32)>, outcome: &Outcome) -> String {
    let places: Vec<String> = rows.map(|&at| outcome.place(at).to_string()).collect();
    let Some(named) = places.get(..places.len().min(NAMED)).filter(|named| !named.is_empty())
    else {
        return String::new();
    };
    let named = named.join(", ");
    match places.len().saturating_sub(NAMED) {
        0 => say!("; the others: {named}"),
        more => say!("; the others: {named} and {more} more"),
    }
}

/// First and last day of some visits.
fn ends(visits: &[Visit]) -> (i32, i32) {
    let days = || visits.iter().map(|visit| visit.day);
    (days().min().unwrap_or_default(), days().max().unwrap_or_default())
}

fn spread(visits: &[Visit]) -> i32 {
    let (first, last) = ends(visits);
    last - first
}

fn lead(calendar: &Calendar, visit: Visit) -> Option<i32> {
    Some(calendar.lead_days(day(visit.day)?, i16::try_from(visit.season).ok()?))
}

/// The one of some seasons whose year differs from that of a visit in one digit or in two neighbours that
/// changed places; `None` where none does, or several do.
fn meant(calendar: &Calendar, visit: Visit, seasons: &[i32]) -> Option<i32> {
    let day = day(visit.day)?;
    let is_slip = |&&season: &&i32| {
        year_for(calendar, day, season).is_some_and(|year| is_one_slip(day.year(), year))
    };
    match seasons.iter().filter(is_slip).collect::<Vec<_>>().as_slice() {
        [season] => Some(**season),
        _ => None,
    }
}

/// One warning per region for cuts made while its nuts were picked.
fn warn_of_harvest(cuts: &[Visit], places: &Places, outcome: &mut Outcome) {
    let mut told: BTreeMap<u32, BTreeSet<(u32, u32)>> = BTreeMap::new();
    for cut in cuts {
        let found = places.calendar(cut.region).zip(day(cut.day));
        if found.is_some_and(|(calendar, day)| calendar.season_of_pick(day, 0).is_some()) {
            told.entry(cut.region).or_default().insert(cut.at);
        }
    }
    for (region, stand) in told {
        let Some(&first) = stand.first() else { continue };
        let harvest = places.calendar(region).map(|calendar| calendar.harvest);
        outcome.warn(
            outcome.date_place(first),
            Code::PrunedInHarvest,
            say!(
                "{} in region '{}' within its harvest ({}), here first",
                counted(stand.len() as u64, text!("pruning"), text!("prunings")),
                places.region_id(region),
                harvest.map_or_else(String::new, |window| window.to_string())
            ),
            say!(
                "kept, and counted for the harvest after; check the dates, or the harvest window of the region, if trees are not pruned while nuts are picked{}",
                others(stand.iter().skip(1), outcome)
            ),
        );
    }
}
