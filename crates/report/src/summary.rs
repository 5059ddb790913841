//! The regions and their sentences as plain text for a terminal.

use crate::content::Report;
use crate::names::printable;
use crate::number::{NO_BREAK, unbroken};
use crate::sentence::{chance_of_more, gain_of, other_seasons, remove, sentence};
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
    let heads = [
        text!("Region"),
        text!("Verdict"),
        text!("Remove"),
        text!("Gain (kg per tree)"),
        text!("Chance"),
    ];
    let mut rows = vec![heads.map(str::to_owned)];
    rows.extend(regions.iter().map(|r| {
        [
            cut(&printable(&r.name), NAME),
            text::verdict(r.verdict).to_owned(),
            remove(r.advised.as_ref(), r.interim.as_ref()),
            gain_of(r, &report.pictures),
            chance_of_more(r),
        ]
    }));
    let mut out = columns(&rows);
    if regions.iter().any(|r| r.gain_over_present_kg.is_some()) {
        out.push('\n');
        out.push_str(&wrap(text::SUMMARY_NOTE.get()));
    }
    let other_seasons = other_seasons(regions);
    if !other_seasons.is_empty() {
        out.push('\n');
        out.push_str(&wrap(&printable(&other_seasons)));
    }
    for r in regions {
        let reason = unbroken(&printable(&r.reason));
        let words = format!("{}: {} {reason}", printable(&r.name), sentence(r));
        out.push('\n');
        out.push_str(&wrap(&words));
    }
    out
}

/// Columns two letters apart, as wide as what stands in them in the language of the page: region and
/// verdict at the left, numbers at the right.
fn columns(rows: &[[String; 5]]) -> String {
    let width = |column: usize| {
        rows.iter().map(|row| row[column].chars().count()).max().unwrap_or_default()
    };
    let widths: [usize; 5] = std::array::from_fn(width);
    let mut out = String::new();
    for row in rows {
        let cells = row.iter().zip(widths).enumerate().map(|(column, (cell, width))| {
            if column < 2 { format!("{cell:<width$}") } else { format!("{cell:>width$}") }
        });
        let cells: Vec<String> = cells.collect();
        out.push_str(cells.join("  ").trim_end());
        out.push('\n');
    }
    out
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

#[cfg(test)]
mod tests {
    use super::columns;

    /// Words of the page's language, longer than the English ones the table was drawn for.
    #[test]
    fn headings_never_run_together() {
        let rows = [
            ["Região", "Veredito", "Retirar", "Ganho (kg por árvore)", "Chance"],
            ["Costa", "Mudar", "35 %", "+1,21 (0,90 a 1,74)", "mais de 99 %"],
        ];
        let text = columns(&rows.map(|row| row.map(str::to_owned)));
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[0], "Região  Veredito  Retirar  Ganho (kg por árvore)        Chance");
        assert_eq!(lines[1], "Costa   Mudar        35 %    +1,21 (0,90 a 1,74)  mais de 99 %");
    }
}
