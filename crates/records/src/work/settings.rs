//! `[work]` of the book.

use super::crew::{Crew, RestDate, WorkDay};
use super::error::{SettingError, positive};
use super::tools::{Tool, check_tools};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use words::text;

/// `[work]`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct WorkSettings {
    /// People who prune on a working day, all sites that name no crew of their own.
    pub crew_size: Option<f64>,
    /// Days of the week on which they work; Monday to Saturday when left out.
    pub working_days: Option<Vec<WorkDay>>,
    /// Holidays and other days without work, at every site.
    pub rest_dates: Vec<RestDate>,
    /// Tools by cut diameter, `[[work.tools]]`; common practice when empty.
    pub tools: Vec<Tool>,
    /// Minutes a young tree's training takes; its person-days are unknown when left out.
    pub minutes_per_young_tree: Option<f64>,
    /// Topping height of modified leaders, m, instead of the one by spacing.
    pub topping_height_m: Option<f64>,
    /// Crews of sites, `[work.sites.SITE]`.
    pub sites: BTreeMap<String, SiteCrew>,
}

/// `[work.sites.SITE]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SiteCrew {
    /// People who prune there on a working day.
    pub crew_size: f64,
    /// Working days there, instead of the book's.
    pub working_days: Option<Vec<WorkDay>>,
    /// Days without work there, beside the book's.
    #[serde(default)]
    pub rest_dates: Vec<RestDate>,
}

impl WorkSettings {
    /// The crew that works at a site, and its site when it is that site's own; `None` without one.
    #[must_use]
    pub fn crew(&self, site: &str) -> Option<(Option<String>, Crew)> {
        if let Some(own) = self.sites.get(site) {
            let crew = Crew {
                rest_dates: self.rest_dates.iter().chain(&own.rest_dates).copied().collect(),
                ..self.crew_of(own.crew_size, own.working_days.clone())
            };
            return Some((Some(site.to_owned()), crew));
        }
        self.crew_size.map(|size| (None, self.crew_of(size, None)))
    }

    fn crew_of(&self, crew_size: f64, days: Option<Vec<WorkDay>>) -> Crew {
        Crew {
            crew_size,
            working_days: days
                .or_else(|| self.working_days.clone())
                .unwrap_or_else(Crew::usual_days),
            rest_dates: self.rest_dates.clone(),
        }
    }

    /// Checks the settings.
    ///
    /// # Errors
    /// Every one that cannot be right.
    pub fn check(&self) -> Result<(), Vec<SettingError>> {
        let mut errors = Vec::new();
        if !self.tools.is_empty() {
            errors.extend(check_tools(&self.tools).err());
        }
        let named = [
            (
                "minutes_per_young_tree",
                self.minutes_per_young_tree,
                text!("give minutes or leave it out"),
            ),
            ("topping_height_m", self.topping_height_m, text!("give metres or leave it out")),
        ];
        for (name, value, remedy) in named {
            let checked = value.map(|v| positive(format!("[work] {name}"), v, remedy));
            errors.extend(checked.and_then(Result::err));
        }
        errors.extend(self.crew_size.and_then(|size| self.crew_of(size, None).check().err()));
        for site in self.sites.keys() {
            let checked = self.crew(site).map(|(_, crew)| crew.check());
            errors.extend(checked.and_then(Result::err).map(|error| SettingError {
                key: error.key.replace("[work]", &format!("[work.sites.{site}]")),
                ..error
            }));
        }
        if errors.is_empty() { Ok(()) } else { Err(errors) }
    }
}
