//! Rows that stay in their table but are in no tree-season: how many, and why.

use crate::assemble::{DAYS_PER_YEAR, INCOMPLETE, Parts};
use crate::frame::{
    FILE, LINE, PLANTED, REGION_NO, TREE_NO, flags, indices, ints, left_join, stands, texts,
};
use crate::holdings::is_gone;
use crate::laterals::FRAMES;
use crate::outcome::{Outcome, Reason, Rejected};
use crate::places::Places;
use crate::seasons::day_number;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Code, Place, Table, counted, natural_order, noun};
use std::collections::{BTreeMap, HashSet};
use words::{say, text};

const TREE_SEASON: [&str; 2] = [TREE_NO, ts::SEASON];
const LINKED: &str = "linked";
/// Years after the training age in which a block without a pick has not begun to bear, most likely.
const FIRST_SEASONS: f64 = 2.0;

/// Most trees that are named.
const NAMED: usize = 5;

/// Counts every kept row that is in no tree-season, with its reason.
pub(crate) fn pass_over(
    parts: &Parts<'_>,
    linked: &DataFrame,
    (trees, places): (&DataFrame, &Places),
    book: &Book,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let fates = Fates::of(parts, linked)?;
    fates.of_picks(parts, outcome)?;
    let gone = gone(trees, places)?;
    fates.of_prunings(parts, (&gone, places), outcome)?;
    if let Some(laterals) = parts.laterals {
        fates.of_laterals(laterals, outcome)?;
    }
    let idle = fates.of_trees(parts, linked, places, outcome)?;
    fates.warn_of_idle(&idle, &gone, (trees, places), book, outcome)
}

/// The trees, by `tree_no`, that are no longer there by their status.
fn gone(trees: &DataFrame, places: &Places) -> PolarsResult<HashSet<u32>> {
    let ids = texts(trees, ts::TREE)?.iter();
    let gone: HashSet<&str> = ids
        .zip(texts(trees, "status")?.iter())
        .filter_map(|(id, status)| id.filter(|_| status.is_some_and(is_gone)))
        .collect();
    let known = (0_u32..).zip(texts(&places.trees, ts::TREE)?.iter());
    Ok(known.filter(|(_, id)| id.is_some_and(|id| gone.contains(id))).map(|(no, _)| no).collect())
}

/// Rows left out: why, region, season and how many.
type Left = (Reason, u32, i32, u64);

/// What is known of every tree-season that has a pick.
struct Fates {
    /// `tree_no`, `season`, `linked`, `incomplete`: one row per tree-season with a pick.
    picked: DataFrame,
    /// Last season with a pick by `region_no`.
    last: BTreeMap<u32, i32>,
}

impl Fates {
    fn of(parts: &Parts<'_>, linked: &DataFrame) -> PolarsResult<Self> {
        let kept = linked.clone().lazy().select(TREE_SEASON.map(col));
        let kept = kept.with_column(lit(true).alias(LINKED));
        let picked = parts.yields.clone().lazy().select(TREE_SEASON.map(col));
        let incomplete = parts.incomplete.clone().lazy();
        let incomplete = incomplete.with_column(lit(true).alias(INCOMPLETE));
        let picked = left_join(left_join(picked, kept, &TREE_SEASON), incomplete, &TREE_SEASON)
            .with_columns([LINKED, INCOMPLETE].map(|mark| col(mark).fill_null(lit(false))))
            .collect()?;
        let mut last = BTreeMap::new();
        let regions = indices(parts.yields, REGION_NO)?.iter();
        for (region, season) in regions.zip(ints(parts.yields, ts::SEASON)?.iter()) {
            if let (Some(region), Some(season)) = (region, season) {
                let known = last.entry(region).or_insert(season);
                *known = season.max(*known);
            }
        }
        Ok(Self { picked, last })
    }

    /// Per row of a frame with one row per tree-season: region, season, rows behind it, and the
    /// reason when they are in no tree-season of the table.
    fn reasons(&self, frame: &DataFrame, rows: &str) -> PolarsResult<Vec<Option<Left>>> {
        let joined =
            left_join(frame.clone().lazy(), self.picked.clone().lazy(), &TREE_SEASON).collect()?;
        let places = indices(&joined, REGION_NO)?.iter().zip(ints(&joined, ts::SEASON)?.iter());
        Ok(places
            .zip(ints(&joined, rows)?.iter())
            .zip(flags(&joined, LINKED)?.iter().zip(flags(&joined, INCOMPLETE)?.iter()))
            .map(|(((region, season), rows), (linked, incomplete))| {
                let (region, season) = (region?, season?);
                let reason = match linked {
                    Some(true) => return None,
                    Some(false) if incomplete == Some(true) => Reason::Incomplete,
                    Some(false) => Reason::OtherBasis,
                    None if self.last.get(&region).is_some_and(|&last| season > last) => {
                        Reason::ComingSeason
                    }
                    None => Reason::NoHarvestInSeason,
                };
                Some((reason, region, season, u64::try_from(rows?).ok()?))
            })
            .collect())
    }

    fn of_picks(&self, parts: &Parts<'_>, outcome: &mut Outcome) -> PolarsResult<()> {
        for (reason, _, _, rows) in self.reasons(parts.yields, ts::PICKS)?.into_iter().flatten() {
            outcome.pass_over(Table::Harvests, reason, rows);
        }
        Ok(())
    }

    fn of_laterals(&self, laterals: &DataFrame, outcome: &mut Outcome) -> PolarsResult<()> {
        for (reason, _, _, rows) in self.reasons(laterals, FRAMES)?.into_iter().flatten() {
            outcome.pass_over(Table::Laterals, reason, rows);
        }
        Ok(())
    }

    fn of_prunings(
        &self,
        parts: &Parts<'_>,
        (gone, places): (&HashSet<u32>, &Places),
        outcome: &mut Outcome,
    ) -> PolarsResult<()> {
        // Sorted by file and line, so that the first row met is the first of the files.
        let by = [col(FILE), col(LINE)];
        let prunings = parts.prunings.clone().lazy();
        let prunings = prunings.sort_by_exprs(by, SortMultipleOptions::default()).collect()?;
        let first = crate::frame::stands(&prunings)?;
        let trees = indices(&prunings, TREE_NO)?.iter();
        let mut stray = BTreeMap::new();
        // Apart where a row was set aside that may be the tree's own: its picks may exist, and a zero would be wrong.
        let mut missing: BTreeMap<_, (u64, (u32, u32))> = BTreeMap::new();
        let lost = indices(parts.incomplete, TREE_NO)?.iter();
        let lost: HashSet<_> = lost.zip(ints(parts.incomplete, ts::SEASON)?.iter()).collect();
        // An id that looks like that of a tree with picks of its own may as well be another's, mistyped.
        let is_unknown =
            |row: &Rejected| row.table == Table::Harvests && row.code == Code::TreeUnknown;
        let any_unknown = outcome.rejected.iter().any(is_unknown);
        let yields = indices(parts.yields, TREE_NO)?.iter();
        let yields = yields.zip(ints(parts.yields, ts::SEASON)?.iter());
        let doubtful: HashSet<_> = yields
            .zip(indices(parts.yields, REGION_NO)?.iter())
            .filter(|(own, _)| any_unknown && lost.contains(own))
            .map(|((_, season), region)| (region, season))
            .collect();
        let fates = self.reasons(&prunings, ts::PRUNINGS)?.into_iter().zip(first).zip(trees);
        for ((fate, at), tree) in fates {
            let Some((reason, region, season, rows)) = fate else { continue };
            outcome.pass_over(Table::Prunings, reason, rows);
            if reason == Reason::ComingSeason
                && self.last.get(&region).is_some_and(|&last| season > last + 1)
            {
                stray.entry((region, season)).or_insert((0_u64, at)).0 += rows;
            }
            // Of a tree that is gone there is nothing to pick.
            let is_gone = tree.is_some_and(|tree| gone.contains(&tree));
            if reason == Reason::NoHarvestInSeason && !is_gone {
                let is_lost = lost.contains(&(tree, Some(season)))
                    || doubtful.contains(&(Some(region), Some(season)));
                missing.entry((region, season, is_lost)).or_insert((0, at)).0 += rows;
            }
        }
        for ((region, season), (rows, at)) in stray {
            let region = places.region_id(region);
            outcome.warn(
                outcome.date_place(at),
                Code::SeasonStray,
                say!(
                    "{} in region '{region}' before harvest {season}, which is after the coming one, here first",
                    counted(rows, text!("pruning"), text!("prunings"))
                ),
                text!("correct the year, or add the harvests of the seasons between; until then the season that is meant counts without them"),
            );
        }
        for ((region, season, is_lost), (rows, at)) in missing {
            let region = places.region_id(region);
            let remedy = if is_lost {
                text!(
                    "rows set aside may be the picks of these trees: mend those first; trees that lack picks even then are told again"
                )
            } else {
                text!(
                    "add the picks of these trees, with 0 kg where a tree was picked and bore nothing; nothing to do where trees were lost before their harvest"
                )
            };
            outcome.warn(
                outcome.date_place(at),
                Code::PruningWithoutHarvest,
                say!(
                    "{} in region '{region}' before harvest {season} of trees without a pick in \
                     it, here first",
                    counted(rows, text!("pruning"), text!("prunings"))
                ),
                remedy,
            );
        }
        Ok(())
    }

    fn of_trees(
        &self,
        parts: &Parts<'_>,
        linked: &DataFrame,
        places: &Places,
        outcome: &mut Outcome,
    ) -> PolarsResult<Vec<u32>> {
        // tree_no counts the trees from 0, so it indexes what became of them.
        let mut fate = vec![Some(Reason::NoHarvest); places.trees.height()];
        for (frame, reason) in [
            (parts.yields, Some(Reason::OtherBasis)),
            (parts.incomplete, Some(Reason::Incomplete)),
            (linked, None),
        ] {
            for tree in indices(frame, TREE_NO)?.iter().flatten() {
                if let Some(of_tree) = fate.get_mut(tree as usize) {
                    *of_tree = reason;
                }
            }
        }
        let mut idle = Vec::new();
        for (tree_no, of_tree) in (0_u32..).zip(&fate) {
            let Some(reason) = *of_tree else { continue };
            outcome.pass_over(Table::Trees, reason, 1);
            if reason == Reason::NoHarvest {
                idle.push(tree_no);
            }
        }
        if let Some(plots) = parts.plots {
            for tree in indices(plots, TREE_NO)?.iter().flatten() {
                if let Some(Some(reason)) = fate.get(tree as usize) {
                    outcome.pass_over(Table::Trials, *reason, 1);
                }
            }
        }
        Ok(idle)
    }

    /// Tells trees without a pick of which one could be expected: those that stand and were past the
    /// training age when the last recorded harvest of their region opened.
    fn warn_of_idle(
        &self,
        idle: &[u32],
        gone: &HashSet<u32>,
        (trees, places): (&DataFrame, &Places),
        book: &Book,
        outcome: &mut Outcome,
    ) -> PolarsResult<()> {
        let regions = indices(&places.trees, REGION_NO)?;
        let names = texts(&places.trees, ts::TREE)?;
        let planted = ints(&places.trees, PLANTED)?;
        let blocks = texts(&places.trees, ts::BLOCK)?;
        let idle_trees: HashSet<u32> = idle.iter().copied().collect();
        let picked_blocks: HashSet<&str> = (0_u32..)
            .zip(blocks.iter())
            .filter(|(tree_no, _)| !idle_trees.contains(tree_no))
            .filter_map(|(_, block)| block)
            .collect();
        let training = book.options.training_age_years;
        // By region, and whether they only begin to bear.
        let mut found: BTreeMap<(u32, bool), Vec<&str>> = BTreeMap::new();
        for &tree_no in idle {
            let at = tree_no as usize;
            let Some(region) = regions.get(at) else { continue };
            let opens = self.last.get(&region).and_then(|&last| {
                Some(day_number(places.calendar(region)?.harvest_opens(i16::try_from(last).ok()?)))
            });
            let years = planted
                .get(at)
                .zip(opens)
                .map(|(planted, opens)| f64::from(opens - planted) / DAYS_PER_YEAR);
            let is_young = years.is_some_and(|years| years < training);
            if !is_young && !gone.contains(&tree_no) {
                // Records of a whole block of that age are seldom lost: it has not borne yet.
                let begins = years.is_some_and(|years| years < training + FIRST_SEASONS)
                    && blocks.get(at).is_some_and(|block| !picked_blocks.contains(block));
                found.entry((region, begins)).or_default().extend(names.get(at));
            }
        }
        for ((region, begins), mut own) in found {
            own.sort_by_cached_key(|tree| (natural_order(tree), *tree));
            let region = places.region_id(region);
            let number = own.len() as u64;
            let trees_of = counted(number, text!("tree"), text!("trees"));
            let (what, remedy) = if begins {
                (
                    say!(
                        "{trees_of} of region '{region}' {} in the first bearing seasons after the training age, in blocks without a pick yet",
                        noun(number, text!("is"), text!("are"))
                    ),
                    text!(
                        "nothing to do until they bear; then record their picks, or add those of harvests that were made"
                    ),
                )
            } else {
                (
                    say!(
                        "{trees_of} of region '{region}' {} no pick in any season",
                        noun(number, text!("has"), text!("have"))
                    ),
                    text!(
                        "nothing to do for trees that are not recorded; else check their ids in harvests"
                    ),
                )
            };
            let more = if own.len() > NAMED { ", .." } else { "" };
            let named = own.iter().take(NAMED).map(|tree| format!("'{tree}'"));
            let named = named.collect::<Vec<_>>().join(", ") + more;
            // The file of the first that is named, whatever the order of the rows.
            let mut rows = texts(trees, ts::TREE)?.iter().zip(stands(trees)?);
            let of_first = rows.find(|(tree, _)| tree.is_some() && *tree == own.first().copied());
            let place = match of_first {
                Some((_, at)) => Place::file(outcome.place(at).file),
                None => outcome.place_of(Table::Trees),
            };
            outcome.warn(place, Code::TreeWithoutHarvest, format!("{what}: {named}"), remedy);
        }
        Ok(())
    }
}
