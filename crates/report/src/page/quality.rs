//! Data quality: what was read, kept, repaired, set aside and linked, and what needs a look.

use super::table::{Head, Table};
use crate::content::{FileLine, LinkLine, Quality};
use crate::how::page as how;
use crate::number::count;
use crate::text;
use records::{Code, Problem, Severity};
use std::collections::{BTreeMap, BTreeSet};
use words::{counted, say, text};

/// Places shown of each kind of finding, beside the first.
const PLACES: usize = 3;

fn balance(adds_up: bool) -> String {
    if adds_up { text::BALANCED.get() } else { text::UNBALANCED.get() }.to_owned()
}

/// The lines of each file together, in the order in which files come first: one that feeds several tables has a
/// line for each.
fn by_file(files: &[FileLine]) -> Vec<Vec<&FileLine>> {
    let mut found: Vec<Vec<&FileLine>> = Vec::new();
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    for line in files {
        let place = *places.entry(&line.file).or_insert(found.len());
        match found.get_mut(place) {
            Some(lines) => lines.push(line),
            None => found.push(vec![line]),
        }
    }
    found
}

/// Conservation of rows, file by file, a number for each table that a file feeds.
pub fn files(files: &[FileLine]) -> Table {
    let mut heads = vec![
        Head::from(text!("File")),
        Head::from(text!("Table")),
        Head::from(text!("#Rows read")).how(how("files.read")),
        Head::from(text!("#Kept")).how(how("files.kept")),
        Head::from(text!("#Set aside")).how(how("files.set-aside")),
    ];
    // Most reports use all trees.
    let drawn = files.iter().any(|f| f.rows_not_drawn > 0);
    if drawn {
        heads.push(Head::from(text!("#Trees not drawn")).how(how("files.not-drawn")));
        heads.push(Head::from(text!("Read = kept + set aside + not drawn")));
    } else {
        heads.push(Head::from(text!("Read = kept + set aside")));
    }
    heads.push(Head::from(text!("Cells repaired")).how(how("files.repairs")));
    let is_stated = |code: &str| Code::from_text(code).is_some_and(Code::is_stated);
    // What the author of the book stated is no repair.
    let any_stated = files.iter().flat_map(|f| &f.repairs).any(|(code, ..)| is_stated(code));
    if any_stated {
        heads.push(Head::from(text!("Cells read as book.toml states")).how(how("files.repairs")));
    }
    heads.push(Head::from(text!("Fingerprint")));
    let mut table = Table::new(text!("Rows read, kept and set aside"), heads);
    for lines in by_file(files) {
        // Rounds of one table in one file are added up, tables told apart.
        let mut tables: Vec<(&str, u64)> = Vec::new();
        for line in &lines {
            match tables.iter_mut().find(|(table, _)| *table == line.table) {
                Some((_, readings)) => *readings += 1,
                None => tables.push((&line.table, 1)),
            }
        }
        let each = |own: &dyn Fn(&FileLine) -> u64| {
            let sums = tables.iter().map(|(table, _)| {
                let own = lines.iter().filter(|line| line.table == *table).map(|line| own(line));
                count(own.fold(0, u64::saturating_add))
            });
            sums.collect::<Vec<_>>().join("; ")
        };
        let named: Vec<String> = tables
            .iter()
            .map(|(table, readings)| match readings {
                1 => (*table).to_owned(),
                _ => say!("{table}, {readings} readings together"),
            })
            .collect();
        let cells_of = |stated: bool| {
            let mut sums: Vec<(&str, &str, u64)> = Vec::new();
            let all = lines.iter().flat_map(|line| &line.repairs);
            for (code, column, cells) in all.filter(|(code, ..)| is_stated(code) == stated) {
                match sums.iter_mut().find(|sum| (sum.0, sum.1) == (code, column)) {
                    Some(sum) => sum.2 = sum.2.saturating_add(*cells),
                    None => sums.push((code, column, *cells)),
                }
            }
            let told = sums.into_iter().map(|(code, column, cells)| {
                let place = if column.is_empty() { String::new() } else { format!(" in {column}") };
                format!("{code}{place}: {}", count(cells))
            });
            let told: Vec<String> = told.collect();
            if told.is_empty() { text::UNPRUNED.get().to_owned() } else { told.join("; ") }
        };
        let mut row = vec![
            lines.first().map_or_else(String::new, |line| line.file.clone()),
            named.join("; "),
            each(&|f| f.rows_read),
            each(&|f| f.rows_kept),
            each(&|f| f.rows_quarantined),
        ];
        if drawn {
            row.push(each(&|f| f.rows_not_drawn));
        }
        row.push(balance(lines.iter().all(|f| {
            let fates = [f.rows_quarantined, f.rows_not_drawn];
            let sum = fates.into_iter().try_fold(f.rows_kept, u64::checked_add);
            sum == Some(f.rows_read)
        })));
        row.push(cells_of(false));
        if any_stated {
            row.push(cells_of(true));
        }
        let fingerprint = lines.first().map_or("", |line| line.fingerprint.as_str());
        row.push(fingerprint.chars().take(16).collect());
        table.row(row);
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

/// That findings wait to be looked at, by their kinds; empty without any.
pub fn to_look_at(quality: &Quality) -> String {
    let waits = quality.findings.iter().filter(|own| own.severity == Severity::Warning);
    let kinds: BTreeSet<Code> = waits.map(|own| own.code).collect();
    if kinds.is_empty() {
        return String::new();
    }
    let named: Vec<&str> = kinds.iter().map(|code| code.as_str()).collect();
    say!(
        "To look at before the advice is used, {} of findings: {}.",
        counted(kinds.len() as u64, text!("kind"), text!("kinds")),
        named.join(", ")
    )
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
