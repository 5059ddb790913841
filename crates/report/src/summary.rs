//! The regions and their sentences as plain text for a terminal.

use crate::content::Report;
use crate::names::printable;
use crate::number::{DASH, NO_BREAK, chance, unbroken};
use crate::sentence::{gain, remove, sentence};
use crate::text;
use words::text;

/// Widest line, characters.
const WIDTH: usize = 100;
const NAME: usize = 24;

/// A table of the regions followed by each region's sentence; lines of at most 100 characters.
#[must_use]
pub fn summary_text(report: &Report) -> String {
    let regions = &report.advice.regions;
    if regions.is_empty() {
        return format!("{}\n", text::NO_REGIONS.get());
    }
    let mut out = line(
        [
            text!("Region"),
            text!("Verdict"),
            text!("Remove"),
            text!("Gain (kg per tree)"),
            text!("Chance"),
        ]
        .map(str::to_owned),
    );
    for r in regions {
        out.push_str(&line([
            printable(&r.name),
            text::verdict(r.verdict).to_owned(),
            remove(r.advised.as_ref(), r.interim.as_ref()),
            gain(r.gain_over_present_kg.as_ref()),
            r.p_gain.map_or_else(|| DASH.to_owned(), chance),
        ]));
    }
    if regions.iter().any(|r| r.gain_over_present_kg.is_some()) {
        out.push('\n');
        out.push_str(&wrap(text::SUMMARY_NOTE.get()));
    }
    for r in regions {
        let reason = unbroken(&printable(&r.reason));
        let words = format!("{}: {} {reason}", printable(&r.name), sentence(r));
        out.push('\n');
        out.push_str(&wrap(&words));
    }
    out
}

fn line([name, verdict, remove, gain, chance]: [String; 5]) -> String {
    let name = cut(&name, NAME);
    format!("{name:<NAME$}  {verdict:<8}{remove:>7}  {gain:>30}  {chance:>9}\n")
}

fn cut(text: &str, letters: usize) -> String {
    if text.chars().count() <= letters {
        text.to_owned()
    } else {
        text.chars().take(letters - 1).chain(['…']).collect()
    }
}

/// Breaks at spaces, continuation lines indented; a longer word is cut.
fn wrap(words: &str) -> String {
    let (mut out, mut used) = (String::new(), 0);
    let gap = |c: char| c.is_whitespace() && c != NO_BREAK;
    for word in words.split(gap).filter(|word| !word.is_empty()) {
        let word = cut(word, WIDTH - 2);
        let letters = word.chars().count();
        if used > 0 && used + 1 + letters > WIDTH {
            out.push_str("\n  ");
            used = 2;
        } else if used > 0 {
            out.push(' ');
            used += 1;
        }
        out.push_str(&word);
        used += letters;
    }
    out.push('\n');
    out
}
