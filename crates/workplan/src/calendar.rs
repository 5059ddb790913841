//! One calendar entry per block, ready to be written as iCalendar.

use crate::crew_sheet::{SheetInput, Work};
use crate::text::{Catalogue, Key};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// An all-day entry.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Event {
    /// Region, site and block, and where a block has several lines, whose: what makes the entry the same
    /// one at the next import.
    pub id: Vec<String>,
    /// First day.
    pub start: Date,
    /// Last day, included.
    pub end: Date,
    /// Title.
    pub title: String,
    /// Instruction, numbers and cautions.
    pub description: String,
}

/// Which line of its block an entry is, beside that of grown trees.
fn line_of(input: &SheetInput) -> Option<&'static str> {
    match input.work {
        Work::Train { .. } => Some("training"),
        _ => input.youngest_recorded.map(|_| "untried"),
    }
}

/// Share of a block's work that does not fit, from which none of it has a day (rounding aside).
const NOTHING_FITS: f64 = 0.995;

/// The entry of a block: its scheduled days, else its window; `None` without either, and for trees of trials alone.
#[must_use]
pub fn event(input: &SheetInput, words: &Catalogue) -> Option<Event> {
    // Trees of trials are cut by the sheets of their trials.
    if input.work == Work::OfTrials {
        return None;
    }
    let [start, end] = input.scheduled.or(input.window)?;
    let sheet = input.sheet(words);
    let trees = input.trees_said(words);
    let mut lines = sheet.how_much;
    lines.extend(sheet.warnings);
    lines.extend(input.instruction().is_none().then_some(sheet.steps).into_iter().flatten());
    // The days end with the window, whatever is left to do then.
    lines.extend(
        input
            .left_undone_said(words)
            .map(|share| format!("{}: {share}.", words.text(Key::LeftUndone))),
    );
    lines.push(words.say(Key::EventTrees, &[("trees", &trees)]));
    lines.extend(
        input
            .person_days
            .map(|days| words.say(Key::EventPersonDays, &[("days", &words.number(days, 1))])),
    );
    for recipe in &sheet.recipes {
        lines.push(format!("{}.", recipe.title));
        lines.extend(recipe.lines.iter().cloned());
    }
    lines.extend(sheet.cautions);
    // Of a block without a day the entry stands on its window: it must not pass for one.
    let lead = if input.left_undone >= NOTHING_FITS {
        format!("{} · ", words.text(Key::LeftUndone))
    } else {
        String::new()
    };
    let places = [("work", sheet.work.as_str()), ("block", &input.block), ("site", &input.site)];
    Some(Event {
        id: [&input.region, &input.site, &input.block]
            .map(String::clone)
            .into_iter()
            .chain(line_of(input).map(str::to_owned))
            .collect(),
        start,
        end,
        title: lead + &words.say(Key::EventTitle, &places),
        description: lines.join("\n"),
    })
}
