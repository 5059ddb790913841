//! `calendar.ics`: one all-day event per block with work and dates.

use super::PlanOf;
use crate::error::ReportError;
use crate::names::{printable, unique_token};
use icalendar::{Calendar, Component, Event, Property};
use jiff::civil::Date;
use std::fmt::Write as _;

/// Text of `calendar.ics` (RFC 5545). Identifiers and stamps come from the plan itself, never from
/// the clock, so that a second import updates events rather than doubling them.
///
/// # Errors
/// When the calendar cannot be encoded.
pub(super) fn calendar_ics(of: &PlanOf<'_>) -> Result<String, ReportError> {
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    let product = format!("-//Anacurve//Work plan//{}", of.words.language.to_uppercase());
    calendar.append_property(Property::new("PRODID", product));
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    calendar.append_property(Property::new("X-ANACURVE-INPUTS", of.inputs));
    for block in of.plan.blocks.iter().filter(|block| block.sheet.trees_worked > 0) {
        if let Some(entry) = block.event(&of.words)
            && let Ok(after) = entry.end.tomorrow()
        {
            calendar.push(event(of, &entry, after));
        }
    }
    let mut out = String::new();
    write!(out, "{calendar}")?;
    Ok(out)
}

fn event(of: &PlanOf<'_>, entry: &workplan::calendar::Event, after: Date) -> Event {
    let season = of.season.to_string();
    let place = entry.id.iter().map(String::as_str);
    let id: Vec<String> = [of.book, &season].into_iter().chain(place).map(unique_token).collect();
    let id = id.join(".");
    let lines: Vec<String> = entry.description.lines().map(printable).collect();
    let mut event = Event::new();
    for (key, value) in [
        ("UID", format!("{id}@anacurve")),
        ("DTSTAMP", format!("{}T000000Z", compact(entry.start))),
        ("SUMMARY", printable(&entry.title)),
        ("DESCRIPTION", lines.join("\n")),
        ("TRANSP", "TRANSPARENT".to_owned()),
    ] {
        event.append_property(Property::new(key, value));
    }
    // The end of an all-day event is the day after its last day.
    for (key, day) in [("DTSTART", entry.start), ("DTEND", after)] {
        let mut property = Property::new(key, compact(day));
        property.add_parameter("VALUE", "DATE");
        event.append_property(property);
    }
    event
}

fn compact(day: Date) -> String {
    format!("{:04}{:02}{:02}", day.year(), day.month(), day.day())
}
