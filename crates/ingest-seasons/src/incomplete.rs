//! Tree-seasons of which a pick or a pruning visit was set aside: what is left of them is not the whole.

use crate::frame::{REGION_NO, TREE_NO, indices, texts};
use crate::outcome::{Outcome, StrayPruning};
use crate::places::Places;
use crate::seasons::day;
use ingest_tables::{BookTables, MissingVisit, QuarantinedRow};
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Code, Place, Table, counted};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use words::{say, text};

/// A visit whose row was set aside while the files were read, or because its tree is unknown.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct LostVisit {
    pub(crate) table: Table,
    pub(crate) place: Place,
    pub(crate) visit: MissingVisit,
}

/// Where the rows of blocks and trees stand that were set aside while reading, by id.
pub(crate) fn places(tables: &BookTables) -> BTreeMap<(Table, String), Place> {
    let lost = tables.quarantine.iter().filter_map(|row| {
        let place = Place { file: row.file.clone(), line: Some(row.line), column: row.column };
        Some(((row.table, row.of_place.clone()?), place))
    });
    // Of several rows of one id the first is told.
    lost.rev().collect()
}

/// Rows of trees set aside while reading whose id is not known, and the first of them: any unknown tree
/// may be one of these.
pub(crate) fn trees_unread(tables: &BookTables) -> Option<(u64, Place)> {
    let is_unknown = |row: &&QuarantinedRow| row.table == Table::Trees && row.of_place.is_none();
    let mut rows = tables.quarantine.iter().filter(is_unknown);
    let first = rows.next()?;
    let place = Place { file: first.file.clone(), line: Some(first.line), column: first.column };
    Some((1 + rows.count() as u64, place))
}

/// Rows of prunings set aside while reading.
pub(crate) fn prunings_unread(tables: &BookTables) -> u64 {
    let files = tables.files.iter().filter(|file| file.table == Table::Prunings);
    files.map(|file| file.rows_quarantined).sum()
}

/// The visits lost while reading that belong to a tree's season; a frame that is not counted takes nothing along.
pub(crate) fn visits(tables: &BookTables) -> Vec<LostVisit> {
    let of_season = tables.quarantine.iter().filter(|row| row.table != Table::Laterals);
    let lost = of_season.filter_map(|row| {
        let place = Place { file: row.file.clone(), line: Some(row.line), column: row.column };
        Some(LostVisit { table: row.table, place, visit: row.visit.clone()? })
    });
    lost.collect()
}

/// What is told of each table: how many, and the first place.
#[derive(Default)]
struct Told(BTreeMap<Table, (u64, Place)>);

impl Told {
    fn add(&mut self, table: Table, place: Place) {
        let (count, first) = self.0.entry(table).or_insert_with(|| (0, place.clone()));
        *count += 1;
        if place < *first {
            *first = place;
        }
    }
}

/// `tree_no` and `season` of every tree-season with a lost visit, each once; warns of them, and of
/// visits whose season is unknown because their day could not be read.
pub(crate) fn tree_seasons(
    places: &Places,
    book: &Book,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let mut lost = std::mem::take(&mut outcome.lost);
    lost.sort();
    let grace = book.options.harvest_grace_days;
    let mut found: BTreeSet<(u32, i32)> = BTreeSet::new();
    let (mut whole, mut undated) = (Told::default(), Told::default());
    let of_file = std::mem::take(&mut outcome.seasons_of_files);
    let mut stray_picks: Vec<(u32, Place)> = std::mem::take(&mut outcome.stray_picks)
        .into_iter()
        .map(|(tree, at)| (tree, outcome.date_place(at)))
        .collect();
    stray_picks.sort_by(|a, b| a.1.cmp(&b.1));
    for (tree, place) in stray_picks {
        match of_file.get(&place.file) {
            Some(&season) if found.insert((tree, season)) => whole.add(Table::Harvests, place),
            Some(_) => {}
            None => undated.add(Table::Harvests, place),
        }
    }
    let misdated = outcome.rejected.iter().filter(|row| row.code == Code::BeforePlanting);
    for row in misdated.filter(|row| matches!(row.table, Table::Harvests | Table::Prunings)) {
        undated.add(row.table, outcome.date_place(row.stands));
    }
    let mut stray = std::mem::take(&mut outcome.stray);
    stray.sort();
    for StrayPruning { place, tree, season } in stray {
        match season {
            Some(season) if found.insert((tree, season)) => whole.add(Table::Prunings, place),
            Some(_) => {}
            None => undated.add(Table::Prunings, place),
        }
    }
    // Of several picks of one tree-season the first by place is told, whatever the order of the rows.
    let mut out_of_season = std::mem::take(&mut outcome.out_of_season);
    out_of_season.sort_by(|a, b| a.3.cmp(&b.3));
    for (tree, region, number, place) in out_of_season {
        let calendar = places.calendar(region).zip(day(number));
        let Some((calendar, day)) = calendar else {
            undated.add(Table::Harvests, place);
            continue;
        };
        // Of two that it may be of neither is known to be whole.
        let before = found.len();
        let is_picked = |season: i32| {
            outcome.first_picks.contains_key(&(places.region_id(region).to_owned(), season))
        };
        // A window missed by little, of a season that nothing else is of, tells less than the year as it is written.
        let meant = calendar.seasons_meant(day).into_iter().map(i32::from).map(|season| {
            let year = i32::from(day.year());
            if !is_picked(season) && is_picked(year) { year } else { season }
        });
        found.extend(meant.map(|season| (tree, season)));
        if found.len() > before {
            whole.add(Table::Harvests, place);
        }
    }
    if !lost.is_empty() {
        let names = texts(&places.trees, ts::TREE)?.iter();
        let numbers = indices(&places.trees, TREE_NO)?.iter();
        let known: HashMap<&str, (u32, u32)> = names
            .zip(numbers.zip(indices(&places.trees, REGION_NO)?.iter()))
            .filter_map(|(name, (tree, region))| Some((name?, (tree?, region?))))
            .collect();
        for LostVisit { table, place, visit } in &lost {
            let trees = match known.get(visit.tree.as_str()) {
                Some(known) => vec![known],
                // Of two that it may be of neither is known to be whole.
                None => places.meant(&visit.tree)?.iter().filter_map(|id| known.get(id)).collect(),
            };
            for (tree, region) in trees {
                let Some(calendar) = places.calendar(*region) else { continue };
                let mut seasons = possible_seasons(visit, |day| match table {
                    Table::Prunings => Some(calendar.season_of_pruning(day)),
                    _ => calendar.season_of_pick(day, grace),
                });
                if seasons.is_empty() {
                    seasons = possible_seasons(visit, |day| calendar.season_meant(day));
                }
                match seasons.as_slice() {
                    [season] => {
                        if found.insert((*tree, i32::from(*season))) {
                            whole.add(*table, place.clone());
                        }
                    }
                    _ => match of_file.get(&place.file) {
                        Some(season) if found.insert((*tree, *season)) => {
                            whole.add(*table, place.clone());
                        }
                        Some(_) => {}
                        None => undated.add(*table, place.clone()),
                    },
                }
            }
        }
    }
    for (table, (count, place)) in whole.0 {
        let what = say!(
            "{} with a row set aside {} not whole and left out, here first",
            counted(count, text!("tree-season"), text!("tree-seasons")),
            records::noun(count, text!("is"), text!("are"))
        );
        outcome.warn(place, Code::TreeSeasonIncomplete, what, remedy(table));
    }
    for (table, (count, place)) in undated.0 {
        let what = say!(
            "{} of known trees {} set aside with a day that cannot be right or read: the seasons that they were of are counted without them, here first",
            counted(count, text!("row"), text!("rows")),
            records::noun(count, text!("was"), text!("were"))
        );
        outcome.warn(place, Code::TreeSeasonIncomplete, what, remedy(table));
    }
    let (trees, seasons): (Vec<u32>, Vec<i32>) = found.into_iter().unzip();
    DataFrame::new(
        trees.len(),
        vec![Column::new(TREE_NO.into(), trees), Column::new(ts::SEASON.into(), seasons)],
    )
}

/// The seasons, each once, of the days that a visit may have been on.
fn possible_seasons(
    visit: &MissingVisit,
    season_of: impl Fn(jiff::civil::Date) -> Option<i16>,
) -> Vec<i16> {
    let days = visit.days.iter().flat_map(|(first, last)| *first..=*last);
    let seasons: BTreeSet<i16> =
        days.filter_map(|number| day(number).and_then(&season_of)).collect();
    seasons.into_iter().collect()
}

fn remedy(table: Table) -> &'static str {
    match table {
        Table::Prunings => text!(
            "mend the prunings set aside: without them a tree would count as pruned less than it was"
        ),
        _ => text!(
            "mend the picks set aside: without them a tree would count as bearing less than it did"
        ),
    }
}
