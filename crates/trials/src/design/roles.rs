//! Columns of the observations by role, and groups of rows.

use super::refusal::{Evidence, Refusal};
use crate::observations::Observations;
use records::natural_order;
use std::collections::{BTreeMap, BTreeSet};
use words::say;

/// The rows with a value, and access to their columns.
pub(super) struct Rows<'a> {
    pub observations: &'a Observations,
    /// Rows with a value, in order.
    pub used: Vec<usize>,
}

impl Rows<'_> {
    /// Where a row was read.
    pub fn place(&self, row: usize) -> String {
        match self.observations.place.get(row) {
            Some(place) if !place.is_empty() => place.clone(),
            _ => say!("row {row}", row = row + 1),
        }
    }

    /// Evidence of rows; a line of the table that holds several seasons stands once.
    pub fn evidence(&self, rows: impl IntoIterator<Item = usize>) -> Evidence {
        let mut places: Vec<String> = Vec::new();
        let mut seen = BTreeSet::new();
        for place in rows.into_iter().map(|r| self.place(r)) {
            if seen.insert(place.clone()) {
                places.push(place);
            }
        }
        Evidence { places }
    }

    /// The trees and seasons of rows, with the lines they were read from.
    pub fn named(&self, rows: impl IntoIterator<Item = usize>) -> String {
        const SHOWN: usize = 6;
        let observed = self.observations;
        let mut trees: Vec<(&str, String, Vec<String>)> = Vec::new();
        let mut known: BTreeMap<(&str, String), usize> = BTreeMap::new();
        for row in rows {
            let (tree, place) = (observed.tree[row].as_str(), self.place(row));
            let at = *known.entry((tree, place.clone())).or_insert(trees.len());
            if at == trees.len() {
                trees.push((tree, place, Vec::new()));
            }
            let season = observed.season[row].map(|season| season.to_string());
            trees[at].2.extend(season);
        }
        let words = trees.iter().take(SHOWN).map(|(tree, place, seasons)| {
            if seasons.is_empty() {
                format!("{tree} ({place})")
            } else {
                say!("{tree} in {} ({place})", seasons.join(", "))
            }
        });
        let shown = words.collect::<Vec<_>>().join("; ");
        match trees.len() {
            n if n > SHOWN => say!("{shown} and {} more", n - SHOWN),
            _ => shown,
        }
    }

    /// Whether the column exists with at least one filled cell.
    pub fn has(&self, column: &str) -> bool {
        self.text(column).is_some_and(|c| self.used.iter().any(|r| filled(&c[*r]).is_some()))
    }

    fn text(&self, column: &str) -> Option<&Vec<Option<String>>> {
        self.observations.columns.get(column).filter(|c| c.len() == self.observations.len())
    }

    /// Texts of a column by used row; `None` where empty.
    pub fn cells(&self, column: &str, role: &str) -> Result<Vec<Option<String>>, Refusal> {
        let texts = self.text(column).ok_or_else(|| Refusal::NoColumn {
            column: column.to_owned(),
            role: role.to_owned(),
        })?;
        Ok(self.used.iter().map(|r| filled(&texts[*r])).collect())
    }

    /// Texts of a column that must be filled in every used row.
    pub fn full(&self, column: &str, role: &str) -> Result<Vec<String>, Refusal> {
        let cells = self.cells(column, role)?;
        let empty: Vec<usize> =
            self.used.iter().zip(&cells).filter(|(_, c)| c.is_none()).map(|(r, _)| *r).collect();
        if !empty.is_empty() {
            return Err(Refusal::EmptyCells {
                column: column.to_owned(),
                evidence: self.evidence(empty),
            });
        }
        Ok(cells.into_iter().flatten().collect())
    }

    /// Evidence of used rows, by position among them.
    pub fn evidence_at(&self, positions: impl IntoIterator<Item = usize>) -> Evidence {
        self.evidence(positions.into_iter().map(|p| self.used[p]))
    }
}

fn filled(cell: &Option<String>) -> Option<String> {
    cell.as_ref().map(|c| c.trim().to_owned()).filter(|c| !c.is_empty())
}

/// Codes of texts in the order of their sorted names (numbers by size), with the names.
pub(super) fn codes(texts: &[String]) -> (Vec<usize>, Vec<String>) {
    let mut names: Vec<String> = texts.to_vec();
    names.sort_by(|a, b| natural_order(a).cmp(&natural_order(b)).then_with(|| a.cmp(b)));
    names.dedup();
    let at: BTreeMap<&String, usize> = names.iter().enumerate().map(|(i, n)| (n, i)).collect();
    let found = texts.iter().map(|t| at.get(t).copied().unwrap_or(0)).collect();
    (found, names)
}

/// Positions by text, sorted by text.
pub(super) fn grouped(texts: &[String]) -> BTreeMap<&str, Vec<usize>> {
    let mut out: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (i, text) in texts.iter().enumerate() {
        out.entry(text).or_default().push(i);
    }
    out
}

/// Distinct texts at positions, in order of appearance.
pub(super) fn distinct(texts: &[String], positions: &[usize]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for p in positions {
        if !out.contains(&texts[*p]) {
            out.push(texts[*p].clone());
        }
    }
    out
}

/// Texts joined row by row, each after its column's name.
pub(super) fn joined(parts: &[(&str, &[String])], rows: usize) -> Vec<String> {
    (0..rows)
        .map(|r| {
            let words: Vec<String> = parts.iter().map(|(n, t)| format!("{n} {}", t[r])).collect();
            words.join(", ")
        })
        .collect()
}
