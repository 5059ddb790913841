//! Trees that stand in several trials: a trial that follows another on the same trees.

use crate::frame::{TREE_NO, indices, stands};
use crate::outcome::Outcome;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Code, counted, noun};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// First season of a tree that counts as one of the trial.
pub(crate) const FROM: &str = "trial_from";
/// First season of a tree that does so no more.
pub(crate) const UNTIL: &str = "trial_until";

/// Trees that two trials share, and the row of the first of them.
type Shared<'a> = BTreeMap<(&'a str, &'a str), (u64, (u32, u32))>;

/// Per row of a tree and a trial, the seasons whose records count as this trial's: from the first
/// of its declared seasons (all of them where none is declared) until another trial of the tree
/// begins. Of trials that begin together the records count as those of the first by id, whatever
/// the order of the rows; trials that share trees and seasons are told.
pub(super) fn spans(
    kept: &DataFrame,
    book: &Book,
    outcome: &mut Outcome,
) -> PolarsResult<[Column; 2]> {
    let begins = |id: &str| {
        let first = book.trials.get(id).and_then(|trial| trial.seasons.iter().min());
        first.map_or(i32::MIN, |&season| i32::from(season))
    };
    let mut of_tree: BTreeMap<u32, Vec<(i32, &str, usize)>> = BTreeMap::new();
    let ids: Vec<&str> = kept.column(ts::TRIAL)?.str()?.iter().map(|id| id.unwrap_or("")).collect();
    for (row, (tree, &id)) in indices(kept, TREE_NO)?.iter().zip(&ids).enumerate() {
        of_tree.entry(tree.unwrap_or(u32::MAX)).or_default().push((begins(id), id, row));
    }
    let places: Vec<(u32, u32)> = stands(kept)?.collect();
    let mut spans = vec![(i32::MIN, i32::MAX); ids.len()];
    let mut shared: Shared<'_> = BTreeMap::new();
    for trials in of_tree.values_mut() {
        trials.sort_unstable();
        for (position, &(begin, id, row)) in trials.iter().enumerate() {
            let begun_before =
                position > 0 && trials.get(position - 1).is_some_and(|t| t.0 == begin);
            let next = trials.iter().map(|&(other, ..)| other).find(|&other| other > begin);
            // The season that a span ends with is no longer in it, so this one holds none.
            let until = if begun_before { begin } else { next.unwrap_or(i32::MAX) };
            if let Some(span) = spans.get_mut(row) {
                *span = (begin, until);
            }
            for &(_, other, row_of_other) in trials.iter().skip(position + 1) {
                let at = places.get(row).max(places.get(row_of_other)).copied().unwrap_or_default();
                let found = shared.entry((id.min(other), id.max(other))).or_insert((0, at));
                found.0 += 1;
                found.1 = found.1.min(at);
            }
        }
    }
    tell(&shared, book, outcome);
    Ok([
        Column::new(FROM.into(), spans.iter().map(|span| span.0).collect::<Vec<i32>>()),
        Column::new(UNTIL.into(), spans.iter().map(|span| span.1).collect::<Vec<i32>>()),
    ])
}

/// Tells trials that share trees and do not share the seasons out between them.
fn tell(shared: &Shared<'_>, book: &Book, outcome: &mut Outcome) {
    let seasons = |id: &str| -> BTreeSet<i16> {
        book.trials.get(id).into_iter().flat_map(|trial| trial.seasons.iter().copied()).collect()
    };
    for (&(first, second), &(trees, at)) in shared {
        let (of_first, of_second) = (seasons(first), seasons(second));
        let unstated: Vec<&str> = [(first, &of_first), (second, &of_second)]
            .into_iter()
            .filter(|(_, seasons)| seasons.is_empty())
            .map(|(id, _)| id)
            .collect();
        let both: Vec<String> =
            of_first.intersection(&of_second).map(ToString::to_string).collect();
        let why = match unstated.as_slice() {
            [] if both.is_empty() => continue,
            [] => say!("{} is a season of both", both.join(", ")),
            _ => say!("book.toml states no seasons of {}", unstated.join(text!(" and "))),
        };
        outcome.warn(
            outcome.place(at),
            Code::TrialsOverlap,
            say!(
                "{} {} in the trials {first} and {second}, here first, and {why}",
                counted(trees, text!("tree"), text!("trees")),
                noun(trees, text!("stands"), text!("stand"))
            ),
            say!(
                "write seasons = [YEAR, ..] under [trials.{first}] and under [trials.{second}] of book.toml, each season under one of the two; a treatment of the other disturbs the comparison"
            ),
        );
    }
}
