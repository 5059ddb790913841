//! The days of the year on which leads before the flush fall.

use super::request::LayoutFactor;
use super::result::Layout;
use records::Calendar;
use serde::{Deserialize, Serialize};
use words::{day_of_month, month, say, text, with_mark};

/// A season whose year, and the two before it, have no 29 February.
const COMMON: i16 = 2027;
/// Days below which the start of a flush is not foreseen, so that leads all shorter look like weeks or months. Ours: a
/// convention.
const SHORTEST: f64 = 5.0;

/// The day on which a level of a lead factor falls in a region, the same in every season; from a
/// lead across the end of February a leap year takes a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeadDay {
    /// Factor.
    pub factor: String,
    /// Level of the factor, days from pruning to the expected start of the flush.
    pub level: String,
    /// Region, by its name.
    pub region: String,
    /// Month, 1 to 12.
    pub month: i8,
    /// Day of the month.
    pub day: i8,
}

/// The days in which the trees rest and are pruned, of each region whose calendar is known.
fn rests(regions: &[(String, Calendar)]) -> String {
    let spans = regions.iter().filter_map(|(region, calendar)| {
        let [first, last] = calendar.rest_before(COMMON)?;
        let (first, last) =
            (day_and_month(first.month(), first.day()), day_and_month(last.month(), last.day()));
        Some(say!("{first} to {last} in {region}"))
    });
    let spans: Vec<String> = spans.collect();
    if spans.is_empty() {
        return String::new();
    }
    say!(
        "Prune while the trees rest ({}), all plots of a replicate within a few days.",
        spans.join(", ")
    )
}

impl LayoutFactor {
    /// Whether the levels are leads: days from pruning to the expected start of the flush.
    #[must_use]
    pub fn is_lead(&self) -> bool {
        self.unit.as_deref() == Some("days") && self.name.to_lowercase().contains("lead")
    }
}

impl Layout {
    /// Gives every lead its day in each region that the trial stands in, named with its calendar,
    /// and says what a lead is.
    pub fn date_leads(&mut self, regions: &[(String, Calendar)]) {
        let mut leads = Vec::new();
        for factor in self.factors.iter().filter(|factor| factor.is_lead()) {
            for level in &factor.levels {
                // A lead of more than a year is no lead before the flush of the crop.
                let lead = level.parse::<f64>().ok().map(f64::round);
                let Some(lead) = lead.filter(|lead| lead.abs() <= 365.0) else { continue };
                leads.extend(regions.iter().map(|(region, calendar)| {
                    let day = calendar.date_of_lead(lead as i32, COMMON);
                    LeadDay {
                        factor: factor.name.clone(),
                        level: level.clone(),
                        region: region.clone(),
                        month: day.month(),
                        day: day.day(),
                    }
                }));
            }
        }
        self.leads = leads;
        self.lead_words = self.said_of_leads(regions);
    }

    /// What a lead is, and when the flush starts; where no factor is a lead, when the trees rest, if that
    /// is known.
    fn said_of_leads(&self, regions: &[(String, Calendar)]) -> String {
        if !self.factors.iter().any(LayoutFactor::is_lead) {
            return rests(regions);
        }
        if regions.is_empty() {
            let undated = say!(
                "Lead: days from pruning to the expected start of the flush. Dates need the calendar of the region in book.toml."
            );
            return [vec![undated], self.odd_leads()].concat().join(" ");
        }
        let starts = regions.iter().map(|(region, calendar)| {
            let day = calendar.flush_start(COMMON);
            say!("{day} in {region}", day = day_and_month(day.month(), day.day()))
        });
        let said = say!(
            "Lead: days from pruning to the expected start of the flush ({}).",
            starts.collect::<Vec<_>>().join(", ")
        );
        let mut said = vec![said];
        said.extend(self.odd_leads());
        let early = self.before_the_rest(regions);
        if !early.is_empty() {
            said.push(say!(
                "Within the harvest, with nuts still to pick: a lead of {}.",
                early.join(text!(" and of "))
            ));
        }
        said.join(" ")
    }

    /// Leads that are after the start of the flush, and leads so short that they look like weeks or months.
    fn odd_leads(&self) -> Vec<String> {
        let mut said = Vec::new();
        for factor in self.factors.iter().filter(|factor| factor.is_lead()) {
            let days: Vec<f64> =
                factor.levels.iter().filter_map(|level| level.parse().ok()).collect();
            let late: Vec<String> = days
                .iter()
                .filter(|days| **days < 0.0)
                .map(|days| with_mark(&days.to_string()))
                .collect();
            if !late.is_empty() {
                said.push(say!(
                    "After the start of the flush, when shoots that have begun are cut off: a lead of {} days. Write the days without the sign if they are meant before it.",
                    late.join(text!(" and of "))
                ));
            }
            let longest = days.iter().fold(0.0_f64, |most, days| most.max(days.abs()));
            if days.len() > 1 && longest > 0.0 && longest < SHORTEST {
                said.push(say!(
                    "Every lead is within {longest} days of the start of the flush, which nobody foresees so closely: write days, if weeks or months were meant.",
                    longest = with_mark(&longest.to_string())
                ));
            }
        }
        said
    }

    /// Leads whose day comes before the harvest is over, with the day.
    fn before_the_rest(&self, regions: &[(String, Calendar)]) -> Vec<String> {
        let is_early = |lead: &&LeadDay| {
            let calendar = regions.iter().find(|(region, _)| *region == lead.region);
            let days = lead.level.parse::<f64>().ok().map(f64::round);
            calendar.zip(days).is_some_and(|((_, calendar), days)| {
                let day = calendar.date_of_lead(days as i32, COMMON);
                calendar.rest_day(day, COMMON) <= 0
            })
        };
        let early = self.leads.iter().filter(is_early);
        let said = early.map(|lead| {
            let (days, day) = (&lead.level, day_and_month(lead.month, lead.day));
            say!("{days} days ({day} in {region})", region = lead.region)
        });
        said.collect()
    }

    /// The day of a level in words, with the regions where they differ; empty where it is not known.
    #[must_use]
    pub fn day_of_lead(&self, factor: &str, level: &str) -> String {
        let days: Vec<&LeadDay> =
            self.leads.iter().filter(|lead| lead.factor == factor && lead.level == level).collect();
        let Some(first) = days.first() else { return String::new() };
        let said = |lead: &LeadDay| day_and_month(lead.month, lead.day);
        if days.iter().all(|lead| (lead.month, lead.day) == (first.month, first.day)) {
            return said(first);
        }
        let each = days
            .iter()
            .map(|lead| say!("{day} in {region}", day = said(lead), region = lead.region));
        each.collect::<Vec<_>>().join(", ")
    }
}

fn day_and_month(number: i8, day: i8) -> String {
    say!("{day} {month}", day = day_of_month(day), month = month(number))
}

#[cfg(test)]
mod tests {
    use crate::layout::{LayoutRequest, lay_out};
    use records::{Calendar, Window};

    fn request(factor: &str) -> LayoutRequest {
        serde_json::from_value(serde_json::json!({
            "trial": "when",
            "design": "randomised_blocks",
            "replicates": 2,
            "factors": [{ "name": factor, "levels": ["-10", "0", "45"], "unit": "days" }],
            "field": { "rows": 2, "columns": 3 },
        }))
        .unwrap()
    }

    fn calendar(harvest: [&str; 2], flush: [&str; 2]) -> Calendar {
        let window = |[start, end]: [&str; 2]| Window {
            start: start.parse().unwrap(),
            end: end.parse().unwrap(),
        };
        Calendar { harvest: window(harvest), rest: None, flush: window(flush) }
    }

    /// Witness: days counted by hand. 45 days before 1 September are 31 of August and 14 of July, so
    /// 18 July; 45 before 1 May are 30 of April and 15 of March, so 17 March.
    #[test]
    fn leads_have_the_days_that_a_wall_calendar_gives() {
        let mut layout = lay_out(&request("lead_days"), 1).unwrap();
        assert_eq!(layout.day_of_lead("lead_days", "45"), "");
        let north = ("North".to_owned(), calendar(["02-01", "05-31"], ["09-01", "11-30"]));
        let south = ("South".to_owned(), calendar(["11-01", "02-15"], ["05-01", "07-31"]));
        layout.date_leads(std::slice::from_ref(&north));
        let day = |level: &str| layout.day_of_lead("lead_days", level);
        assert_eq!([day("-10"), day("0"), day("45")], ["11 September", "1 September", "18 July"]);
        assert!(layout.lead_words.contains("(1 September in North)"), "{}", layout.lead_words);
        let late = "After the start of the flush, when shoots that have begun are cut off: a lead of -10 days.";
        assert!(layout.lead_words.contains(late), "{}", layout.lead_words);
        assert!(!layout.lead_words.contains("weeks or months"), "{}", layout.lead_words);
        let mut months = lay_out(&request("lead_days"), 1).unwrap();
        months.factors[0].levels = ["0", "1.5", "3"].map(str::to_owned).to_vec();
        months.date_leads(std::slice::from_ref(&north));
        let short = "Every lead is within 3 days of the start of the flush";
        assert!(months.lead_words.contains(short), "{}", months.lead_words);
        assert!(!months.lead_words.contains("After the start"), "{}", months.lead_words);
        layout.date_leads(&[north, south]);
        let day = layout.day_of_lead("lead_days", "45");
        assert_eq!(day, "18 July in North, 17 March in South");
        // 92 days from 1 June to 31 August: 93 is the last day of the harvest.
        assert!(!layout.lead_words.contains("Within the harvest"), "{}", layout.lead_words);
        let mut early = lay_out(&request("lead_days"), 1).unwrap();
        for (last, told) in [("92", false), ("93", true)] {
            last.clone_into(&mut early.factors[0].levels[2]);
            let north = ("North".to_owned(), calendar(["02-01", "05-31"], ["09-01", "11-30"]));
            early.date_leads(&[north]);
            let said =
                "Within the harvest, with nuts still to pick: a lead of 93 days (31 May in North).";
            assert_eq!(early.lead_words.ends_with(said), told, "{}", early.lead_words);
        }
        layout.date_leads(&[]);
        assert!(layout.leads.is_empty());
        assert!(layout.lead_words.contains("need the calendar"), "{}", layout.lead_words);
    }

    #[test]
    fn days_that_are_no_leads_get_no_dates() {
        let mut layout = lay_out(&request("watering_interval"), 1).unwrap();
        let region = ("North".to_owned(), calendar(["02-01", "05-31"], ["09-01", "11-30"]));
        layout.date_leads(&[region]);
        assert!(layout.leads.is_empty());
        // Whatever is tried, the trees are pruned between the harvest and the flush.
        assert_eq!(
            layout.lead_words,
            "Prune while the trees rest (1 June to 31 August in North), all plots of a replicate \
             within a few days."
        );
        layout.date_leads(&[]);
        assert!(layout.lead_words.is_empty());
    }
}
