//! A region's year: harvest, rest and flush windows, which may cross New Year.

use jiff::civil::Date;
use jiff::{Span, ToSpan};
use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;
use thiserror::Error;

/// A day of every year, written `MM-DD`. 29 February falls on the 28th in common years.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct MonthDay {
    month: i8,
    day: i8,
}

/// What is wrong with a calendar.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CalendarError {
    /// Not a day of the year.
    #[error("'{0}' is not a day of the year; write month and day as MM-DD, for example 02-15")]
    NotADay(String),
    /// Two windows share days.
    #[error("the {first} window ({first_days}) and the {second} window ({second_days}) overlap")]
    Overlap {
        /// Name of one window.
        first: &'static str,
        /// Its days.
        first_days: String,
        /// Name of the other.
        second: &'static str,
        /// Its days.
        second_days: String,
    },
}

impl MonthDay {
    /// A day of the year.
    ///
    /// # Errors
    /// When the month has no such day in a leap year.
    pub fn new(month: i8, day: i8) -> Result<Self, CalendarError> {
        Date::new(2024, month, day)
            .map(|_| Self { month, day })
            .map_err(|_| CalendarError::NotADay(format!("{month:02}-{day:02}")))
    }

    /// That day in a year.
    #[must_use]
    pub fn in_year(self, year: i16) -> Date {
        // The only day that can fail is 29 February.
        Date::new(year, self.month, self.day)
            .or_else(|_| Date::new(year, self.month, 28))
            .unwrap_or(Date::MAX)
    }

    /// Position in a leap year, 1 to 366.
    fn ordinal(self) -> i16 {
        self.in_year(2024).day_of_year()
    }
}

impl fmt::Display for MonthDay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02}-{:02}", self.month, self.day)
    }
}

impl FromStr for MonthDay {
    type Err = CalendarError;

    fn from_str(text: &str) -> Result<Self, CalendarError> {
        let bad = || CalendarError::NotADay(text.to_owned());
        let (month, day) = text.trim().split_once('-').ok_or_else(bad)?;
        let month = month.parse().map_err(|_| bad())?;
        let day = day.parse().map_err(|_| bad())?;
        Self::new(month, day).map_err(|_| bad())
    }
}

impl Serialize for MonthDay {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl JsonSchema for MonthDay {
    fn schema_name() -> Cow<'static, str> {
        "MonthDay".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "type": "string",
            "pattern": "^(0?[1-9]|1[0-2])-(0?[1-9]|[12][0-9]|3[01])$",
            "description": "Day of every year as MM-DD."
        })
    }
}

impl<'de> Deserialize<'de> for MonthDay {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// A yearly span of days, both ends included; crosses New Year when the end precedes the start.
/// In `book.toml`: `["02-01", "05-31"]`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(from = "[MonthDay; 2]", into = "[MonthDay; 2]")]
pub struct Window {
    /// First day.
    pub start: MonthDay,
    /// Last day.
    pub end: MonthDay,
}

impl From<[MonthDay; 2]> for Window {
    fn from([start, end]: [MonthDay; 2]) -> Self {
        Self { start, end }
    }
}

impl From<Window> for [MonthDay; 2] {
    fn from(window: Window) -> Self {
        [window.start, window.end]
    }
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {}", self.start, self.end)
    }
}

impl Window {
    /// Whether the window crosses New Year.
    #[must_use]
    pub fn crosses_new_year(self) -> bool {
        self.end < self.start
    }

    /// Last day of the window that opens in a year.
    #[must_use]
    pub fn close_of(self, opening_year: i16) -> Date {
        self.end.in_year(opening_year + i16::from(self.crosses_new_year()))
    }

    /// The year in which the window holding a date opened, if the date is inside one;
    /// `grace_days` widens both ends.
    #[must_use]
    pub fn opening_year_of(self, date: Date, grace_days: i32) -> Option<i16> {
        let grace: Span = grace_days.max(0).days();
        [date.year() - 1, date.year(), date.year() + 1].into_iter().find(|&year| {
            let open = self.start.in_year(year).saturating_sub(grace);
            let close = self.close_of(year).saturating_add(grace);
            (open..=close).contains(&date)
        })
    }

    fn days(self) -> Vec<bool> {
        let (start, end) = (self.start.ordinal(), self.end.ordinal());
        (1..=366)
            .map(|day| {
                if start <= end { (start..=end).contains(&day) } else { day >= start || day <= end }
            })
            .collect()
    }

    fn overlaps(self, other: Self) -> bool {
        self.days().iter().zip(other.days()).any(|(&a, b)| a && b)
    }
}

/// A region's calendar. A season is labelled by the year in which its harvest window opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Calendar {
    /// Days in which nuts are picked.
    pub harvest: Window,
    /// Days in which the trees rest, when pruning is usual.
    pub rest: Option<Window>,
    /// Days in which the flowering shoots grow out.
    pub flush: Window,
}

impl Calendar {
    /// Checks that the windows do not share days.
    ///
    /// # Errors
    /// [`CalendarError::Overlap`] with both windows.
    pub fn check(&self) -> Result<(), CalendarError> {
        let overlap = |first: (&'static str, Window), second: (&'static str, Window)| {
            if first.1.overlaps(second.1) {
                Err(CalendarError::Overlap {
                    first: first.0,
                    first_days: first.1.to_string(),
                    second: second.0,
                    second_days: second.1.to_string(),
                })
            } else {
                Ok(())
            }
        };
        overlap(("harvest", self.harvest), ("flush", self.flush))?;
        if let Some(rest) = self.rest {
            overlap(("harvest", self.harvest), ("rest", rest))?;
            overlap(("rest", rest), ("flush", self.flush))?;
        }
        Ok(())
    }

    /// The season a pick belongs to, `None` outside every harvest window (widened by `grace_days`).
    #[must_use]
    pub fn season_of_pick(&self, date: Date, grace_days: i32) -> Option<i16> {
        self.harvest.opening_year_of(date, grace_days)
    }

    /// The season that a pick outside every harvest window most likely is of: that of a window missed by
    /// 45 days at most, else that of its year, which a slip of the day or the month leaves as it is.
    /// `None` where the window crosses New Year, so that a year holds parts of two seasons.
    #[must_use]
    pub fn season_meant(&self, date: Date) -> Option<i16> {
        const NEAR_DAYS: i32 = 45;
        let missed = |season: i16| {
            let (opens, closes) = (self.harvest_opens(season), self.harvest.close_of(season));
            days_between(date, opens).max(days_between(closes, date))
        };
        let year = date.year();
        let near = (year - 1..=year + 1).map(|season| (missed(season), season)).min()?;
        let crosses = self.harvest.close_of(year).year() > year;
        if near.0 <= NEAR_DAYS { Some(near.1) } else { (!crosses).then_some(year) }
    }

    /// The seasons that a pick outside every harvest window may be of: the one of
    /// [`Calendar::season_meant`], else the two that its year holds parts of.
    #[must_use]
    pub fn seasons_meant(&self, date: Date) -> Vec<i16> {
        let year = date.year();
        self.season_meant(date).map_or_else(|| vec![year - 1, year], |season| vec![season])
    }

    /// The season a pruning belongs to: the first harvest window that opens after it.
    #[must_use]
    pub fn season_of_pruning(&self, date: Date) -> i16 {
        if self.harvest.start.in_year(date.year()) > date { date.year() } else { date.year() + 1 }
    }

    /// First day of the harvest of a season.
    #[must_use]
    pub fn harvest_opens(&self, season: i16) -> Date {
        self.harvest.start.in_year(season)
    }

    /// Expected start of the flush that bears a season's crop: the last flush start before its harvest opens.
    #[must_use]
    pub fn flush_start(&self, season: i16) -> Date {
        let same_year = self.flush.start.in_year(season);
        if same_year < self.harvest_opens(season) {
            same_year
        } else {
            self.flush.start.in_year(season - 1)
        }
    }

    /// Days from a pruning to the flush start of its season; negative when pruned after it began.
    #[must_use]
    pub fn lead_days(&self, date: Date, season: i16) -> i32 {
        days_between(date, self.flush_start(season))
    }

    /// Days since the harvest before a season closed; negative when pruned while picking went on.
    #[must_use]
    pub fn rest_day(&self, date: Date, season: i16) -> i32 {
        days_between(self.harvest.close_of(season - 1), date)
    }

    /// First and last day of the rest before the flush of a season: the stated one, else the days
    /// between the harvest before it and the flush. `None` where those touch.
    #[must_use]
    pub fn rest_before(&self, season: i16) -> Option<[Date; 2]> {
        let flush = self.flush_start(season);
        let [start, end] = match self.rest {
            Some(rest) => {
                let this_year = rest.start.in_year(flush.year()) <= flush;
                let opens = if this_year { flush.year() } else { flush.year() - 1 };
                [rest.start.in_year(opens), rest.close_of(opens)]
            }
            None => [
                self.harvest.close_of(season - 1).saturating_add(1.days()),
                flush.saturating_sub(1.days()),
            ],
        };
        (start <= end).then_some([start, end])
    }

    /// The date that lies `lead_days` before the flush start of a season.
    #[must_use]
    pub fn date_of_lead(&self, lead_days: i32, season: i16) -> Date {
        self.flush_start(season).saturating_sub(lead_days.days())
    }
}

fn days_between(from: Date, to: Date) -> i32 {
    // Both dates lie within jiff's range of years, so the difference fits.
    from.until(to).map(|span| span.get_days()).unwrap_or(i32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn window(start: &str, end: &str) -> Window {
        Window { start: start.parse().unwrap(), end: end.parse().unwrap() }
    }

    /// trade.md section 4, northern pattern A.
    fn northern() -> Calendar {
        Calendar {
            harvest: window("02-01", "05-31"),
            rest: Some(window("06-01", "08-31")),
            flush: window("09-01", "11-30"),
        }
    }

    /// trade.md section 4, southern pattern: harvest crosses New Year.
    fn southern() -> Calendar {
        Calendar {
            harvest: window("10-01", "01-31"),
            rest: Some(window("02-01", "04-30")),
            flush: window("05-01", "07-31"),
        }
    }

    #[test]
    fn a_pick_in_january_belongs_to_the_season_that_opened_in_october() {
        let calendar = southern();
        assert_eq!(calendar.season_of_pick(date(2024, 1, 20), 0), Some(2023));
        assert_eq!(calendar.season_of_pick(date(2024, 10, 1), 0), Some(2024));
        assert_eq!(calendar.season_of_pick(date(2024, 6, 1), 0), None);
        assert_eq!(calendar.season_of_pick(date(2024, 2, 3), 5), Some(2023));
    }

    #[test]
    fn the_rest_lies_between_a_harvest_and_the_flush() {
        let stated = northern();
        assert_eq!(stated.rest_before(2024), Some([date(2023, 6, 1), date(2023, 8, 31)]));
        assert_eq!(southern().rest_before(2024), Some([date(2024, 2, 1), date(2024, 4, 30)]));
        let unstated = Calendar { rest: None, ..stated };
        assert_eq!(unstated.rest_before(2024), Some([date(2023, 6, 1), date(2023, 8, 31)]));
        let touching = Calendar { flush: window("06-01", "08-31"), rest: None, ..stated };
        assert_eq!(touching.rest_before(2024), None);
    }

    #[test]
    fn a_pruning_belongs_to_the_next_harvest() {
        assert_eq!(northern().season_of_pruning(date(2023, 7, 15)), 2024);
        assert_eq!(northern().lead_days(date(2023, 7, 15), 2024), 48);
        assert_eq!(northern().rest_day(date(2023, 7, 15), 2024), 45);
        assert_eq!(southern().season_of_pruning(date(2024, 3, 1)), 2024);
        assert_eq!(southern().lead_days(date(2024, 3, 1), 2024), 61);
        assert_eq!(southern().rest_day(date(2024, 3, 1), 2024), 30);
        assert_eq!(northern().date_of_lead(48, 2024), date(2023, 7, 15));
        // Late pruning: after the flush began the lead is negative.
        assert_eq!(northern().lead_days(date(2023, 9, 11), 2024), -10);
    }

    #[test]
    fn leap_days_and_bad_days() {
        let leap: MonthDay = "02-29".parse().unwrap();
        assert_eq!(leap.in_year(2023), date(2023, 2, 28));
        assert_eq!(leap.in_year(2024), date(2024, 2, 29));
        assert!("13-01".parse::<MonthDay>().is_err());
        assert!("04-31".parse::<MonthDay>().is_err());
        assert!("soon".parse::<MonthDay>().is_err());
    }

    #[test]
    fn overlapping_windows_are_refused() {
        let mut calendar = southern();
        calendar.flush = window("01-15", "03-01");
        assert!(matches!(calendar.check(), Err(CalendarError::Overlap { .. })));
        assert_eq!(southern().check(), Ok(()));
        assert_eq!(northern().check(), Ok(()));
    }
}
