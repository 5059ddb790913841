//! Calendar days as seasons, evaluated once per region and distinct day.

use crate::frame::{DATE, REGION_NO, indices, ints, left_join};
use crate::places::Places;
use jiff::Span;
use jiff::civil::{Date, date};
use polars::prelude::*;
use records::Calendar;

const EPOCH: Date = date(1970, 1, 1);

/// Days from 1970 within which years, with a season before and after, surely fit a calendar:
/// some 6800 years either way.
const REACH: i32 = 2_500_000;

/// Whether a calendar can tell the season of a day number.
pub(crate) fn in_reach(number: i32) -> bool {
    (-REACH..=REACH).contains(&number)
}

/// The day of a number of days since 1970-01-01, if a calendar can tell its season.
pub(crate) fn day(number: i32) -> Option<Date> {
    let days = Span::new().try_days(number).ok()?;
    EPOCH.checked_add(days).ok().filter(|_| in_reach(number))
}

/// Days since 1970-01-01.
pub(crate) fn day_number(day: Date) -> i32 {
    EPOCH.until(day).map_or(0, |span| span.get_days())
}

/// What a calendar says of a day.
pub(crate) type OfDay<'a> = &'a dyn Fn(&Calendar, Date) -> Option<i32>;

/// Adds one whole-number column per rule, computed from `region_no` and `date`; null where the
/// calendar has no answer.
pub(crate) fn on_days(
    rows: DataFrame,
    places: &Places,
    rules: &[(&str, OfDay<'_>)],
) -> PolarsResult<DataFrame> {
    let mut days = rows
        .clone()
        .lazy()
        .select([col(REGION_NO), col(DATE)])
        .unique(None, UniqueKeepStrategy::Any)
        .collect()?;
    let of_days: Vec<Option<(&Calendar, Date)>> = indices(&days, REGION_NO)?
        .iter()
        .zip(ints(&days, DATE)?.iter())
        .map(|(region, number)| Some((places.calendar(region?)?, day(number?)?)))
        .collect();
    for (name, rule) in rules {
        let values: Vec<Option<i32>> =
            of_days.iter().map(|of| of.and_then(|(calendar, day)| rule(calendar, day))).collect();
        days.with_column(Column::new((*name).into(), values))?;
    }
    left_join(rows.lazy(), days.lazy(), &[REGION_NO, DATE]).collect()
}

/// A fixed day of a season.
type DayOfSeason = fn(&Calendar, i16) -> Date;

/// First day of the harvest of a season, as a day number.
pub(crate) const OPENS: &str = "opens";
/// Its last day.
pub(crate) const CLOSES: &str = "closes";
/// Start of the flush that bears its crop.
pub(crate) const FLUSH_START: &str = "flush_start";
/// Last day of the harvest before.
pub(crate) const PREVIOUS_CLOSE: &str = "previous_close";

/// The fixed days of every season that occurs: one row per `region_no` and `season`.
pub(crate) fn season_days(yields: &DataFrame, places: &Places) -> PolarsResult<DataFrame> {
    const SEASON: &str = records::tree_season::SEASON;
    let mut seasons = yields
        .clone()
        .lazy()
        .select([col(REGION_NO), col(SEASON)])
        .unique(None, UniqueKeepStrategy::Any)
        .collect()?;
    let of_seasons: Vec<Option<(&Calendar, i16)>> = indices(&seasons, REGION_NO)?
        .iter()
        .zip(ints(&seasons, SEASON)?.iter())
        .map(|(region, season)| Some((places.calendar(region?)?, i16::try_from(season?).ok()?)))
        .collect();
    let rules: [(&str, DayOfSeason); 4] = [
        (OPENS, |calendar, season| calendar.harvest_opens(season)),
        (CLOSES, |calendar, season| calendar.harvest.close_of(season)),
        (FLUSH_START, |calendar, season| calendar.flush_start(season)),
        (PREVIOUS_CLOSE, |calendar, season| calendar.harvest.close_of(season - 1)),
    ];
    for (name, rule) in rules {
        let values: Vec<Option<i32>> = of_seasons
            .iter()
            .map(|of| of.map(|(calendar, season)| day_number(rule(calendar, season))))
            .collect();
        seasons.with_column(Column::new(name.into(), values))?;
    }
    Ok(seasons)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn day_numbers_count_from_1970() {
        // Unix time: 2000-01-01 is 10957 days after 1970-01-01 (946684800 s / 86400 s).
        assert_eq!(day_number(date(2000, 1, 1)), 10_957);
        assert_eq!(day(10_957), Some(date(2000, 1, 1)));
        assert_eq!(day(i32::MAX), None);
    }
}
