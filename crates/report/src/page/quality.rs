//! Data quality: what was read, kept, repaired, set aside and linked, and what needs a look.

use super::table::{Head, Table};
use crate::content::{FileLine, LinkLine, Quality};
use crate::how::page as how;
use crate::number::count;
use crate::text;
use records::{Code, Problem, Severity};
use std::collections::BTreeMap;
use words::text;

/// Places shown of each kind of finding, beside the first.
const PLACES: usize = 3;

fn balance(adds_up: bool) -> String {
    if adds_up { text::BALANCED.get() } else { text::UNBALANCED.get() }.to_owned()
}

/// Conservation of rows, file by file.
pub fn files(files: &[FileLine]) -> Table {
    let mut table = Table::new(
        text!("Rows read, kept and set aside"),
        [
            Head::from(text!("File")),
            Head::from(text!("Table")),
            Head::from(text!("#Rows read")).how(how("files.read")),
            Head::from(text!("#Kept")).how(how("files.kept")),
            Head::from(text!("#Set aside")).how(how("files.set-aside")),
            Head::from(text!("Read = kept + set aside")),
            Head::from(text!("Cells repaired")).how(how("files.repairs")),
            Head::from(text!("Fingerprint")),
        ],
    );
    for f in files {
        let repairs: Vec<String> = f
            .repairs
            .iter()
            .map(|(code, column, cells)| {
                let place = if column.is_empty() { String::new() } else { format!(" in {column}") };
                format!("{code}{place}: {}", count(*cells))
            })
            .collect();
        table.row([
            f.file.clone(),
            f.table.clone(),
            count(f.rows_read),
            count(f.rows_kept),
            count(f.rows_quarantined),
            balance(f.rows_kept.checked_add(f.rows_quarantined) == Some(f.rows_read)),
            if repairs.is_empty() { text::UNPRUNED.get().to_owned() } else { repairs.join("; ") },
            f.fingerprint.chars().take(16).collect(),
        ]);
    }
    table
}

/// Conservation of readable rows through linking.
pub fn linked(lines: &[LinkLine]) -> Table {
    let mut table = Table::new(
        text!("Rows linked into tree-seasons"),
        [
            Head::from(text!("Table")),
            Head::from(text!("#Rows readable")).how(how("linked.readable")),
            Head::from(text!("#Linked")).how(how("linked.linked")),
            Head::from(text!("#Not linked")).how(how("linked.not-linked")),
            Head::from(text!("Readable = linked + not linked")),
            Head::from(text!("Why not")),
        ],
    );
    for l in lines {
        let left: u64 = l.not_linked.iter().map(|(_, n)| *n).fold(0, u64::saturating_add);
        let why: Vec<String> =
            l.not_linked.iter().map(|(reason, n)| format!("{reason}: {}", count(*n))).collect();
        table.row([
            l.table.clone(),
            count(l.kept),
            count(l.linked),
            count(left),
            balance(l.linked.checked_add(left) == Some(l.kept)),
            why.join("; "),
        ]);
    }
    table
}

/// Findings by severity and code, the most serious first: one row each, to be sorted and filtered.
pub fn findings(quality: &Quality) -> Table {
    let mut groups: BTreeMap<(std::cmp::Reverse<Severity>, Code), Vec<&Problem>> = BTreeMap::new();
    for problem in &quality.findings {
        groups
            .entry((std::cmp::Reverse(problem.severity), problem.code))
            .or_default()
            .push(problem);
    }
    let mut table = Table::new(
        text!("Findings by code; `anacurve explain CODE` says more"),
        [
            Head::from(text!("Code")),
            Head::from(text!("Severity")),
            Head::from(text!("#Cases")).how(how("findings")),
            Head::from(text!("First case")),
            Head::from(text!("Further cases")),
            Head::from(text!("What to do")),
        ],
    );
    for ((severity, code), problems) in groups {
        let Some((first, rest)) = problems.split_first() else { continue };
        let places: Vec<String> =
            rest.iter().take(PLACES).map(|problem| problem.place.to_string()).collect();
        let more = match rest.len().saturating_sub(PLACES) {
            0 => String::new(),
            more => text::more_places(more),
        };
        table.row([
            code.as_str().to_owned(),
            text::severity(severity.0).to_owned(),
            count(problems.len() as u64),
            format!("{}: {}", first.place, first.what),
            places
                .into_iter()
                .chain((!more.is_empty()).then_some(more))
                .collect::<Vec<_>>()
                .join(", "),
            first.remedy.clone(),
        ]);
    }
    table
}
