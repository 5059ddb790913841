//! Visits of a season whose other visits stand in other files, each of one season: a book that is kept
//! season by season, or month by month, shows a slip of the year by the file in which it stands.

use crate::frame::texts;
use crate::picks::{AROUND, season_of};
use crate::places::Places;
use crate::year_slip::YEAR;
use polars::prelude::PolarsResult;
use records::tree_season as ts;
use std::collections::{BTreeMap, BTreeSet};

/// Share of a file's visits of one season from which it is a file of that season with slips in it.
const OF_FILE: f64 = 2.0 / 3.0;
/// How many times as many visits of the odd season the files of that season hold, and at least as many in the
/// same blocks: those of a file per month hold each block's a few times.
const TIMES: usize = 3;
/// Days by which a visit may lie before or after the others of its file once its year is mended.
const BESIDE: i32 = 3;
/// As before, where the order of the file shows that it goes on: rounds follow within a month.
const NEXT: i32 = 31;
/// Share of the odd visits that must fit in: one of several may be a slip of another kind.
const FIT: f64 = 0.9;

/// A pick or a cut.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Visit {
    pub(crate) at: (u32, u32),
    pub(crate) tree: u32,
    pub(crate) region: u32,
    pub(crate) season: i32,
    pub(crate) day: i32,
}

/// By file, region, season of the file and season written: where the odd visits stand, in order.
pub(crate) type Foreign = BTreeMap<(u32, u32, i32, i32), Vec<(u32, u32)>>;

/// The visits of seasons that are at home in other files.
pub(crate) fn foreign(mut visits: Vec<Visit>, places: &Places) -> PolarsResult<Foreign> {
    let blocks = texts(&places.trees, ts::BLOCK)?;
    let file_of = |visit: &Visit| (visit.at.0, visit.region);
    visits.sort_unstable_by_key(|visit| (file_of(visit), visit.at.1));
    let files = || visits.chunk_by(|one, next| file_of(one) == file_of(next));
    // Visits at home: region, season and block; a book of a file per block has none.
    let mut at_home: BTreeMap<(u32, i32, Option<&str>), usize> = BTreeMap::new();
    for own in files() {
        let seasons: Vec<_> = own.iter().map(|visit| (visit.at, visit.season)).collect();
        let Some(home) = season_of(&seasons) else { continue };
        for visit in own.iter().filter(|visit| visit.season == home) {
            let block = blocks.get(visit.tree as usize);
            *at_home.entry((visit.region, home, block)).or_default() += 1;
        }
    }
    let mut found = Foreign::new();
    for own in files() {
        let Some(((file, region), (season, others))) =
            own.first().map(file_of).zip(minorities(own))
        else {
            continue;
        };
        let majority: Vec<Visit> =
            own.iter().filter(|visit| visit.season == season).copied().collect();
        for (other, odd) in others {
            let of_blocks: BTreeSet<Option<&str>> =
                odd.iter().map(|visit| blocks.get(visit.tree as usize)).collect();
            let home = |is_meant: &dyn Fn(Option<&str>) -> bool| {
                let own = at_home.range((region, other, None)..);
                let own = own.take_while(|((of, season, _), _)| (*of, *season) == (region, other));
                own.filter(|((.., block), _)| is_meant(*block))
                    .map(|(_, visits)| visits)
                    .sum::<usize>()
            };
            if home(&|_| true) >= TIMES * odd.len()
                && home(&|block| of_blocks.contains(&block)) >= odd.len()
                && fits(&odd, &majority, season - other)
            {
                let at = odd.iter().map(|visit| visit.at).collect();
                found.insert((file, region, season, other), at);
            }
        }
    }
    Ok(found)
}

/// The season of most visits of a file, where it has enough of one, and those of others.
fn minorities(file: &[Visit]) -> Option<(i32, BTreeMap<i32, Vec<Visit>>)> {
    let mut counts: BTreeMap<i32, usize> = BTreeMap::new();
    for visit in file {
        *counts.entry(visit.season).or_default() += 1;
    }
    let (season, most) = counts.into_iter().max_by_key(|(_, visits)| *visits)?;
    if most < AROUND || (most as f64) < OF_FILE * file.len() as f64 {
        return None;
    }
    let mut others: BTreeMap<i32, Vec<Visit>> = BTreeMap::new();
    for &visit in file.iter().filter(|visit| visit.season != season) {
        others.entry(visit.season).or_default().push(visit);
    }
    Some((season, others))
}

/// Whether visits moved by so many years lie among those of their file, or beside them where the file was
/// written day by day and goes against time at them. A file of a calendar year holds parts of two harvests
/// that cross New Year, in order.
fn fits(odd: &[Visit], file: &[Visit], years: i32) -> bool {
    let days = || file.iter().map(|visit| visit.day);
    let (Some(first), Some(last)) = (days().min(), days().max()) else { return false };
    let near = |reach: i32| {
        let is_near = |visit: &&Visit| {
            let meant = visit.day + years * YEAR;
            (first - reach..=last + reach).contains(&meant)
        };
        odd.iter().filter(is_near).count() as f64 >= FIT * odd.len() as f64
    };
    near(BESIDE) || (near(NEXT) && goes_against_time(odd, file))
}

fn goes_against_time(odd: &[Visit], file: &[Visit]) -> bool {
    let steps = file.iter().zip(file.iter().skip(1));
    let (forth, back) = steps.fold((0, 0), |(forth, back), (one, next)| {
        (forth + usize::from(one.day < next.day), back + usize::from(one.day > next.day))
    });
    let ends = |visits: &[Visit]| Some((visits.first()?.at, visits.last()?.at));
    let (Some((from, to)), Some((first, last))) = (ends(odd), ends(file)) else { return false };
    let days = |visits: &[Visit]| {
        let days = || visits.iter().map(|visit| visit.day);
        days().min().zip(days().max())
    };
    let Some(((least, most), (opens, closes))) = days(odd).zip(days(file)) else { return false };
    forth > back && ((from > last && most < opens) || (to < first && least > closes))
}
