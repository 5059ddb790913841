//! Prunings combined per tree and season: intensity, mean day, basis and working time.

use crate::frame::{
    DATE, FILE, LINE, REGION_NO, TREE_NO, floats, indices, ints, sorted, stands, texts,
};
use crate::misdated::without_strays;
use crate::outcome::Outcome;
use crate::places::Places;
use crate::rows::at_their_trees;
use crate::seasons::on_days;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Calendar, Code, MeasuredAs, Table, combine_prunings, counted};
use std::collections::BTreeMap;
use words::{say, text};

/// Intensity-weighted mean day number of the prunings; null when nothing was cut.
pub(crate) const MEAN_DAY: &str = "mean_day";
/// Whether a cut was measured on another basis than the book asks for.
pub(crate) const OTHER_BASIS: &str = "other_basis";
/// Word for a tree-season in which nothing was cut.
pub(crate) const UNPRUNED: &str = "none";

const MEASURED_AS: &str = "measured_as";
const SEVERAL: &str = "several";
const LEAD: &str = "lead";

/// One row per tree and season with at least one pruning visit: `tree_no`, `region_no`, `season`,
/// `intensity`, `prunings`, `basis`, `mean_day`, `minutes`, `other_basis`, and `.file` and `.line`
/// of the first row. `yields` has one row per tree-season with a pick.
pub(crate) fn combined(
    frame: &DataFrame,
    yields: &DataFrame,
    places: &Places,
    book: &Book,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let wanted = [ts::INTENSITY, MEASURED_AS, ts::MINUTES];
    let rows = at_their_trees(Table::Prunings, frame, &wanted, places, outcome)?;
    let season = |calendar: &Calendar, day| Some(i32::from(calendar.season_of_pruning(day)));
    let lead =
        |calendar: &Calendar, day| Some(calendar.lead_days(day, calendar.season_of_pruning(day)));
    let rows = on_days(rows, places, &[(ts::SEASON, &season), (LEAD, &lead)])?;
    let rows = without_strays(&rows, yields, places, book, outcome)?;
    warn_after_flush(&rows, places, outcome)?;
    let keys = [TREE_NO, ts::SEASON, DATE, ts::INTENSITY, MEASURED_AS, ts::MINUTES];
    combine(&sorted(rows.lazy(), &keys).collect()?, book.options.only_measured_as)
}

/// One warning per region for cuts made after the flush began.
fn warn_after_flush(rows: &DataFrame, places: &Places, outcome: &mut Outcome) -> PolarsResult<()> {
    let mut late: BTreeMap<u32, (u64, (u32, u32))> = BTreeMap::new();
    let leads = ints(rows, LEAD)?.iter().zip(floats(rows, ts::INTENSITY)?.iter());
    for ((region, (lead, intensity)), at) in
        indices(rows, REGION_NO)?.iter().zip(leads).zip(stands(rows)?)
    {
        if let (Some(region), Some(..0)) = (region, lead)
            && intensity > Some(0.0)
        {
            let (count, first) = late.entry(region).or_insert((0, at));
            *count += 1;
            *first = at.min(*first);
        }
    }
    for (region, (count, first)) in late {
        let region = places.region_id(region);
        outcome.warn(
            outcome.date_place(first),
            Code::PrunedAfterFlush,
            say!(
                "{} in region '{region}' after its flush began, here first",
                counted(count, text!("pruning"), text!("prunings"))
            ),
            text!("they count with a negative lead; check the dates and flush of the region if unintended"),
        );
    }
    Ok(())
}

/// One visit, as far as combining needs it.
#[derive(Clone, Copy)]
struct Visit<'a> {
    key: (Option<u32>, Option<i32>),
    region: Option<u32>,
    day: f64,
    intensity: f64,
    basis: &'a str,
    minutes: Option<f64>,
    at: (u32, u32),
}

/// The columns of the combined frame while it grows.
#[derive(Default)]
struct Columns<'a> {
    tree_no: Vec<Option<u32>>,
    region_no: Vec<Option<u32>>,
    season: Vec<Option<i32>>,
    intensity: Vec<f64>,
    prunings: Vec<i32>,
    basis: Vec<&'a str>,
    mean_day: Vec<Option<f64>>,
    minutes: Vec<Option<f64>>,
    other_basis: Vec<bool>,
    file: Vec<u32>,
    line: Vec<u32>,
}

/// Combines rows sorted by tree and season.
fn combine(rows: &DataFrame, only_measured_as: Option<MeasuredAs>) -> PolarsResult<DataFrame> {
    let keys = indices(rows, TREE_NO)?.iter().zip(ints(rows, ts::SEASON)?.iter());
    let measured = floats(rows, ts::INTENSITY)?.iter().zip(texts(rows, MEASURED_AS)?.iter());
    let visits: Vec<Visit<'_>> = keys
        .zip(indices(rows, REGION_NO)?.iter())
        .zip(ints(rows, DATE)?.iter())
        .zip(measured)
        .zip(floats(rows, ts::MINUTES)?.iter())
        .zip(stands(rows)?)
        .map(|(((((key, region), day), (intensity, basis)), minutes), at)| Visit {
            key,
            region,
            day: f64::from(day.unwrap_or(0)),
            intensity: intensity.unwrap_or(0.0),
            basis: basis.unwrap_or(""),
            minutes,
            at,
        })
        .collect();
    let mut columns = Columns::default();
    let mut cuts: Vec<Visit<'_>> = Vec::new();
    for same in visits.chunk_by(|one, other| one.key == other.key) {
        // Nothing cut is nothing cut on every basis, so only real cuts decide basis and day.
        cuts.clear();
        cuts.extend(same.iter().filter(|visit| visit.intensity > 0.0).copied());
        if let Some(first) = same.first() {
            columns.push(first, same, &cuts, only_measured_as);
        }
    }
    columns.into_frame()
}

impl<'a> Columns<'a> {
    fn push(
        &mut self,
        first: &Visit<'a>,
        same: &[Visit<'a>],
        cuts: &[Visit<'a>],
        only_measured_as: Option<MeasuredAs>,
    ) {
        let basis = match cuts {
            [] => UNPRUNED,
            [one, more @ ..] if more.iter().all(|cut| cut.basis == one.basis) => one.basis,
            _ => SEVERAL,
        };
        let (intensity, day) = match cuts {
            // As recorded, without the rounding of 1 - (1 - x), so that trial levels stay levels.
            [one] => (one.intensity, Some(one.day)),
            _ => {
                let parts: Vec<_> = cuts.iter().map(|cut| (cut.intensity, cut.day)).collect();
                combine_prunings(&parts).map_or((0.0, None), |(x, day)| (x, Some(day)))
            }
        };
        let other =
            only_measured_as.is_some_and(|wanted| !cuts.is_empty() && basis != wanted.as_str());
        let at = same.iter().map(|visit| visit.at).min().unwrap_or(first.at);
        self.tree_no.push(first.key.0);
        self.region_no.push(first.region);
        self.season.push(first.key.1);
        self.intensity.push(intensity);
        self.prunings.push(i32::try_from(same.len()).unwrap_or(i32::MAX));
        self.basis.push(basis);
        self.mean_day.push(day);
        self.minutes.push(same.iter().map(|visit| visit.minutes).sum());
        self.other_basis.push(other);
        self.file.push(at.0);
        self.line.push(at.1);
    }

    fn into_frame(self) -> PolarsResult<DataFrame> {
        DataFrame::new(
            self.tree_no.len(),
            vec![
                Column::new(TREE_NO.into(), self.tree_no),
                Column::new(REGION_NO.into(), self.region_no),
                Column::new(ts::SEASON.into(), self.season),
                Column::new(ts::INTENSITY.into(), self.intensity),
                Column::new(ts::PRUNINGS.into(), self.prunings),
                Column::new(ts::BASIS.into(), self.basis),
                Column::new(MEAN_DAY.into(), self.mean_day),
                Column::new(ts::MINUTES.into(), self.minutes),
                Column::new(OTHER_BASIS.into(), self.other_basis),
                Column::new(FILE.into(), self.file),
                Column::new(LINE.into(), self.line),
            ],
        )
    }
}
