//! Ids and names that the eye takes for one another, and texts with characters that nobody sees: reported, never merged.

use crate::FileReport;
use polars::prelude::{DataFrame, PolarsResult};
use records::{Code, Place, Problem, Severity, Table, common_form, is_invisible, spelled};
use std::collections::BTreeMap;
use words::{say, text};

/// Columns whose texts name things of one kind.
const KINDS: [(&str, &[(Table, &str)]); 6] = [
    ("block", &[(Table::Blocks, "block"), (Table::Trees, "block")]),
    ("site", &[(Table::Blocks, "site")]),
    ("region", &[(Table::Blocks, "region")]),
    ("variety", &[(Table::Blocks, "variety")]),
    ("tree", &[(Table::Trees, "tree")]),
    ("trial", &[(Table::Trials, "trial")]),
];

/// File index and line.
type Stands = (u32, u32);

/// Spellings with the place where each first stands.
type Seen<'a> = BTreeMap<&'a str, Stands>;

/// Adds the texts of a column with their first places.
fn look<'a>(frame: &'a DataFrame, column: &str, seen: &mut Seen<'a>) -> PolarsResult<()> {
    let texts = frame.column(column)?.str()?;
    let (files, lines) = (frame.column(".file")?.u32()?, frame.column(".line")?.u32()?);
    for (text, (file, line)) in texts.iter().zip(files.iter().zip(lines.iter())) {
        if let Some(text) = text {
            let place = (file.unwrap_or(0), line.unwrap_or(0));
            let first = seen.entry(text).or_insert(place);
            *first = place.min(*first);
        }
    }
    Ok(())
}

/// What is suspicious among the ids and names of a book.
pub(crate) fn alike(
    frames: &BTreeMap<Table, DataFrame>,
    files: &[FileReport],
    cell_of: impl Fn(u32, &str) -> Option<u32>,
) -> PolarsResult<Vec<Problem>> {
    let mut problems = Vec::new();
    let mut report = |kind: &str, column: &str, seen: &Seen<'_>| {
        problems.extend(suspicious(kind, seen, &|(file, line)| Place {
            file: files.get(file as usize).map_or_else(String::new, |report| report.file.clone()),
            line: Some(u64::from(line)),
            column: cell_of(file, column),
        }));
    };
    for (kind, columns) in KINDS {
        let mut seen = Seen::new();
        for (table, column) in columns {
            if let Some(frame) = frames.get(table) {
                look(frame, column, &mut seen)?;
            }
        }
        report(kind, kind, &seen);
    }
    // The further columns of the trial table: a level in two spellings would be two treatments.
    if let Some(frame) = frames.get(&Table::Trials) {
        let names = frame.columns().iter().map(|column| column.name().as_str());
        let known = Table::Trials.spec();
        for name in names.filter(|name| known.column(name).is_none() && !name.starts_with('.')) {
            let mut seen = Seen::new();
            look(frame, name, &mut seen)?;
            report(name, name, &seen);
        }
    }
    Ok(problems)
}

fn suspicious(kind: &str, seen: &Seen<'_>, place: &dyn Fn(Stands) -> Place) -> Vec<Problem> {
    let mut by_form: BTreeMap<String, Vec<(&str, Stands)>> = BTreeMap::new();
    let mut problems = Vec::new();
    for (&text, &at) in seen {
        by_form.entry(common_form(text)).or_default().push((text, at));
        if text.chars().any(is_invisible) {
            problems.push(Problem::new(
                place(at),
                Severity::Warning,
                Code::TextInvisible,
                say!("{kind} {} holds characters that are not seen", spelled(text, "")),
                text!("kept as it stands; type the text again where it is written"),
            ));
        }
    }
    for mut spellings in by_form.into_values().filter(|spellings| spellings.len() > 1) {
        spellings.sort_unstable_by_key(|&(_, at)| at);
        let Some(((first, first_at), others)) = spellings.split_first() else { continue };
        for (other, at) in others {
            problems.push(Problem::new(
                place(*at),
                Severity::Warning,
                Code::IdsAlike,
                say!(
                    "{kind} {} looks like {} of {} and is another",
                    spelled(other, first),
                    spelled(first, other),
                    place(*first_at)
                ),
                text!("kept apart; if both mean one thing, write it in one way everywhere"),
            ));
        }
    }
    problems
}
