//! Files that are read twice under two names.

use crate::FileReport;
use crate::QuarantinedRow;
use crate::parts::FILE;
use polars::prelude::{DataFrame, PolarsResult};
use records::{Code, Place, Problem, Severity, Table};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Files of one table that hold the same bytes under different names.
pub(crate) fn copies(files: &[FileReport]) -> Vec<Problem> {
    let path = |file: &FileReport| file.file.split('#').next().unwrap_or_default().to_owned();
    let mut first: BTreeMap<(Table, &str), String> = BTreeMap::new();
    let mut problems = Vec::new();
    for file in files.iter().filter(|file| file.rows_read > 0) {
        let own = path(file);
        let known = first.entry((file.table, &file.fingerprint)).or_insert_with(|| own.clone());
        if *known != own {
            problems.push(Problem::new(
                Place::file(&file.file),
                Severity::Warning,
                Code::FileTwice,
                say!("the file holds the same bytes as {known}, which is read too"),
                text!("put the right file in its place, or take one of the two out"),
            ));
        }
    }
    problems
}

/// Files of which most rows repeat rows of other files while a few differ: a copy that was corrected, whose
/// other rows count beside those that they replace.
pub(crate) fn nearly_copies(files: &[FileReport], quarantine: &[QuarantinedRow]) -> Vec<Problem> {
    let mut repeats: BTreeMap<(Table, &str), (u64, &QuarantinedRow)> = BTreeMap::new();
    for row in quarantine.iter().filter(|row| row.code == Code::RowDuplicate) {
        let entry = repeats.entry((row.table, &row.file)).or_insert((0, row));
        *entry = (entry.0 + 1, if row.line < entry.1.line { row } else { entry.1 });
    }
    let told = files.iter().filter_map(|file| {
        let (rows, first) = repeats.get(&(file.table, file.file.as_str()))?;
        let is_copy = *rows >= ROWS_OF_COPY && 2 * rows > file.rows_read && file.rows_kept > 0;
        is_copy.then(|| {
            Problem::new(
                Place::file(&file.file),
                Severity::Warning,
                Code::FileTwice,
                say!(
                    "{rows} of its {} rows repeat rows read before (line {}: {}), and {} do not: these count beside them",
                    file.rows_read,
                    first.line,
                    first.reason,
                    file.rows_kept
                ),
                text!("if it is a corrected copy, take the old file out"),
            )
        })
    });
    told.collect()
}

/// Fewest rows, and weights among them, for two files of the same picks to be no chance.
const ROWS_OF_COPY: u64 = 20;
const WEIGHTS_OF_COPY: usize = 5;

/// Files of picks of the same trees with the same weights: one round saved twice, be its title or its day
/// another.
pub(crate) fn same_picks(
    picks: Option<&DataFrame>,
    files: &[FileReport],
) -> PolarsResult<Vec<Problem>> {
    let Some(picks) = picks else { return Ok(Vec::new()) };
    // Only files of as many rows can be the same.
    let mut lengths: BTreeMap<u64, u64> = BTreeMap::new();
    for file in files.iter().filter(|file| file.table == Table::Harvests) {
        *lengths.entry(file.rows_kept).or_default() += 1;
    }
    let is_candidate = |file: u32| {
        let rows = files.get(file as usize).map_or(0, |file| file.rows_kept);
        rows >= ROWS_OF_COPY && lengths.get(&rows).is_some_and(|files| *files > 1)
    };
    let mut rows: BTreeMap<u32, Vec<(&str, u64)>> = BTreeMap::new();
    let of_file = picks.column(FILE)?.u32()?.iter();
    let trees = picks.column("tree")?.str()?.iter();
    for ((file, tree), kg) in of_file.zip(trees).zip(picks.column("nut_kg")?.f64()?.iter()) {
        if let (Some(file), Some(tree), Some(kg)) =
            (file.filter(|file| is_candidate(*file)), tree, kg)
        {
            rows.entry(file).or_default().push((tree, kg.to_bits()));
        }
    }
    let mut known: Vec<(u32, &Vec<(&str, u64)>)> = Vec::new();
    let mut problems = Vec::new();
    for own in rows.values_mut() {
        own.sort_unstable();
    }
    for (file, own) in &rows {
        let weights: BTreeSet<u64> = own.iter().map(|(_, kg)| *kg).collect();
        if weights.len() < WEIGHTS_OF_COPY {
            continue;
        }
        let Some((first, _)) = known.iter().find(|(_, earlier)| *earlier == own) else {
            known.push((*file, own));
            continue;
        };
        let name = |file: u32| files.get(file as usize).map(|of| (&of.file, &of.fingerprint));
        // Files of the same bytes are told by that.
        if let (Some((earlier, bytes)), Some((again, other))) = (name(*first), name(*file))
            && bytes != other
        {
            problems.push(Problem::new(
                Place::file(again),
                Severity::Warning,
                Code::FileTwice,
                say!("its picks are of the same trees and weights as those of {earlier}"),
                text!("put the right file in its place, or take one of the two out"),
            ));
        }
    }
    Ok(problems)
}
