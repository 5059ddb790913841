//! Seasons of a trial whose picks stand under another year as a whole.

use super::doubts::Doubt;
use super::seasons::Seasons;
use ::words::{say, text};
use ingest_seasons::TrialTree;
use records::{TrialDeclaration, counted};
use std::collections::BTreeSet;

/// How many times the usual picks of a tree a season has that holds those of two, at least. Ours: a convention.
const DOUBLED: f64 = 1.8;

/// Seasons in which no tree of the trial has a harvest although they are over, by later harvests of the book, or
/// although the season before has the picks of two: a declared one, one between others, or the next one. `picks`
/// are by row of the linked table.
pub(super) fn under_another_year(
    declaration: &TrialDeclaration,
    trees: &[&TrialTree],
    all: &Seasons<'_>,
    picks: &[i32],
) -> Vec<(i32, Doubt)> {
    let harvested = all.harvested(trees);
    let (Some(first), Some(last), Some(book_last)) =
        (harvested.first().copied(), harvested.last().copied(), all.last())
    else {
        return Vec::new();
    };
    let declared: BTreeSet<i32> = declaration.seasons.iter().map(|&s| i32::from(s)).collect();
    let candidates: BTreeSet<i32> = declared.iter().copied().chain(first..=last + 1).collect();
    let lacking = candidates.into_iter().filter(|season| !harvested.contains(season));
    // Middle of the picks of the trial's trees in a season.
    let of_season = |season: i32| -> Option<f64> {
        let rows = trees.iter().filter_map(|tree| all.row(&tree.tree, season));
        let mut own: Vec<i32> = rows.filter_map(|row| picks.get(row).copied()).collect();
        own.sort_unstable();
        own.get(own.len() / 2).map(|&picks| f64::from(picks))
    };
    let told = lacking.filter_map(|season| {
        let tree = trees.first()?;
        let earlier = season - 1;
        let mut others: Vec<f64> =
            harvested.iter().filter(|own| **own != earlier).filter_map(|&own| of_season(own)).collect();
        others.sort_by(f64::total_cmp);
        let usual = others.get(others.len() / 2).copied();
        let doubled = of_season(earlier)
            .zip(usual)
            .filter(|(own, usual)| *own >= DOUBLED * usual && *usual >= 1.0);
        let what = match doubled {
            // The season after the last may be still to come.
            Some((own, usual)) if season <= book_last || declared.contains(&season) => say!(
                "No tree of it has a harvest of {season}, and a tree has {} in {earlier}, where {usual} are usual: picks of {season} may stand under the year before.",
                counted(own as u64, text!("pick"), text!("picks"))
            ),
            // A season that goes on has harvests elsewhere first.
            _ if declared.contains(&season) && season < book_last => say!(
                "No tree of it has a harvest of {season}, which book.toml declares and which is over by other harvests: its picks may stand under another year."
            ),
            _ => return None,
        };
        let remedy = text!(
            "look for picks of that season under another year, correct their dates, or add them; if there was no harvest, take the season out of the trial's seasons"
        );
        Some((season, Doubt { place: tree.place.clone(), what, remedy: remedy.to_owned() }))
    });
    told.collect()
}
