//! `calendar.ics`: one all-day event per block to prune.

use crate::content::Report;
use crate::error::ReportError;
use crate::names::{printable, unique_token};
use crate::number::{counted, fixed, percent};
use crate::text;
use advise::{WorkAction, WorkLine};
use icalendar::{Calendar, Component, Event, Property};
use jiff::civil::Date;
use std::fmt::Write as _;

/// Text of `calendar.ics` (RFC 5545). Identifiers and stamps come from the plan itself, never from
/// the clock, so that a second import updates events rather than doubling them.
///
/// # Errors
/// When the calendar cannot be encoded.
pub fn calendar_ics(report: &Report) -> Result<String, ReportError> {
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    calendar.append_property(Property::new("PRODID", "-//Anacurve//Pruning windows//EN"));
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    for line in report.work.iter().filter(|l| l.action == WorkAction::Prune) {
        if let (Some(from), Some(to)) = (line.from, line.to)
            && let Ok(after) = to.tomorrow()
        {
            calendar.push(event(report, line, from, after));
        }
    }
    let mut out = String::new();
    write!(out, "{calendar}")?;
    Ok(out)
}

fn event(report: &Report, line: &WorkLine, from: Date, after: Date) -> Event {
    let advice = &report.advice;
    let id = [&advice.book, &advice.season.to_string(), &line.region, &line.site, &line.block]
        .map(|part| unique_token(part))
        .join(".");
    let mut summary = format!("Prune {} ({})", printable(&line.block), printable(&line.site));
    if let Some(intensity) = line.intensity {
        summary.push_str(&format!(": remove {} of the canopy", percent(intensity)));
    }
    let mut description = format!("{}.", counted(line.trees, "tree", "trees"));
    if let Some(days) = line.person_days {
        description.push_str(&format!(" {} person-days.", fixed(days, 1)));
    }
    description.push_str(&format!(" {}", text::CAUTION_SHORT));
    let mut event = Event::new();
    for (key, value) in [
        ("UID", format!("{id}@anacurve")),
        ("DTSTAMP", format!("{}T000000Z", compact(from))),
        ("SUMMARY", summary),
        ("DESCRIPTION", description),
        ("TRANSP", "TRANSPARENT".to_owned()),
    ] {
        event.append_property(Property::new(key, value));
    }
    // The end of an all-day event is the day after its last day.
    for (key, day) in [("DTSTART", from), ("DTEND", after)] {
        let mut property = Property::new(key, compact(day));
        property.add_parameter("VALUE", "DATE");
        event.append_property(property);
    }
    event
}

fn compact(day: Date) -> String {
    format!("{:04}{:02}{:02}", day.year(), day.month(), day.day())
}
