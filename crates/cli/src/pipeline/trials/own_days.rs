//! The days on which a record of a trial's trees may count in the trial.

use jiff::Unit;
use jiff::civil::{Date, date};
use records::{Book, Calendar, Region, Table, TrialDeclaration};

/// A pick may be this many days before its harvest window and still be meant for it, as
/// [`Calendar::season_meant`] has it.
const NEAR_DAYS: i32 = 45;

/// Whether a stretch of days, first and last since 1970-01-01, may hold records of a declared season, or of the
/// season of the covariate; any may where no season is declared.
pub(super) fn may_hold(
    declaration: &TrialDeclaration,
    earlier: Option<i32>,
    book: &Book,
    table: Table,
    [first, last]: [i32; 2],
) -> bool {
    if declaration.seasons.is_empty() {
        return true;
    }
    let is_covariate = declaration.covariate.as_deref() == Some("earlier_crop");
    let earlier = earlier.filter(|_| is_covariate && table == Table::Harvests);
    let seasons = declaration.seasons.iter().copied();
    let mut seasons = seasons.chain(earlier.and_then(|season| i16::try_from(season).ok()));
    seasons.any(|season| {
        let mut calendars = book.regions.values().filter_map(Region::calendar);
        calendars.any(|calendar| {
            days_of(&calendar, season, table)
                .is_none_or(|[begins, ends]| begins <= last && first < ends)
        })
    })
}

/// The first day of a season's records and the day after the last.
fn days_of(calendar: &Calendar, season: i16, table: Table) -> Option<[i32; 2]> {
    let opens = |season: i16| number(calendar.harvest_opens(season));
    let (before, own, after) =
        (opens(season.checked_sub(1)?), opens(season)?, opens(season.checked_add(1)?));
    Some(match table {
        Table::Prunings => [before?, own],
        Table::Harvests => [own - NEAR_DAYS, after?],
        _ => [before?, after?],
    })
}

/// Days since 1970-01-01.
fn number(day: Date) -> Option<i32> {
    let since = date(1970, 1, 1).until((Unit::Day, day)).ok()?;
    Some(since.get_days())
}
