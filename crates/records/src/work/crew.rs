//! A crew: people, working days and rest days.

use super::error::{SettingError, positive};
use crate::MonthDay;
use jiff::civil::{Date, Weekday};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use words::text;

/// A day of the week.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum WorkDay {
    /// Monday.
    Monday,
    /// Tuesday.
    Tuesday,
    /// Wednesday.
    Wednesday,
    /// Thursday.
    Thursday,
    /// Friday.
    Friday,
    /// Saturday.
    Saturday,
    /// Sunday.
    Sunday,
}

impl From<Weekday> for WorkDay {
    fn from(day: Weekday) -> Self {
        match day {
            Weekday::Monday => Self::Monday,
            Weekday::Tuesday => Self::Tuesday,
            Weekday::Wednesday => Self::Wednesday,
            Weekday::Thursday => Self::Thursday,
            Weekday::Friday => Self::Friday,
            Weekday::Saturday => Self::Saturday,
            Weekday::Sunday => Self::Sunday,
        }
    }
}

/// A day without work: one date, or a day of every year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum RestDate {
    /// For example `2026-08-17`.
    Once(#[schemars(with = "String", regex(pattern = r"^\d{4}-\d{2}-\d{2}$"))] Date),
    /// For example `12-25`.
    Yearly(MonthDay),
}

/// `[work]`: one crew, or one site's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Crew {
    /// People who prune on a working day.
    pub crew_size: f64,
    /// Days of the week on which they work; Monday to Saturday when not stated.
    #[serde(default = "Crew::usual_days")]
    pub working_days: Vec<WorkDay>,
    /// Holidays and other days without work.
    #[serde(default)]
    pub rest_dates: Vec<RestDate>,
}

impl Crew {
    /// Monday to Saturday.
    #[must_use]
    pub fn usual_days() -> Vec<WorkDay> {
        use WorkDay::{Friday, Monday, Saturday, Thursday, Tuesday, Wednesday};
        vec![Monday, Tuesday, Wednesday, Thursday, Friday, Saturday]
    }

    /// Checks the settings.
    ///
    /// # Errors
    /// When nobody or no day works.
    pub fn check(&self) -> Result<(), SettingError> {
        positive(
            "[work] crew_size",
            self.crew_size,
            text!("give the people who prune on a working day"),
        )?;
        if self.working_days.is_empty() {
            return Err(SettingError::new(
                "[work] working_days",
                text!("no day of the week is a working day"),
                text!("list the days, for example [\"monday\", \"tuesday\"], or leave the key out"),
            ));
        }
        Ok(())
    }

    /// Whether the crew works on a date.
    #[must_use]
    pub fn works_on(&self, date: Date) -> bool {
        let rests = |rest: &RestDate| match rest {
            RestDate::Once(day) => *day == date,
            RestDate::Yearly(day) => day.in_year(date.year()) == date,
        };
        self.working_days.contains(&date.weekday().into()) && !self.rest_dates.iter().any(rests)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn settings_are_read_and_days_of_rest_kept() {
        let text = "crew_size = 4\nrest_dates = [\"2026-08-17\", \"12-25\"]";
        let crew: Crew = toml::from_str(text).unwrap();
        crew.check().unwrap();
        // 17 August 2026 is a Monday, 23 August a Sunday (ISO calendar).
        assert!(!crew.works_on(date(2026, 8, 17)) && crew.works_on(date(2026, 8, 18)));
        assert!(crew.works_on(date(2027, 8, 17)) && !crew.works_on(date(2026, 8, 23)));
        assert!(!crew.works_on(date(2026, 12, 25)) && !crew.works_on(date(2028, 12, 25)));
        let nobody = Crew { crew_size: 0.0, ..crew };
        assert!(nobody.check().unwrap_err().to_string().starts_with("[work] crew_size: 0 is not"));
    }
}
