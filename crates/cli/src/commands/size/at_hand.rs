//! What a book's own trees can find.

use super::{per_plot_said, percent, replicates_said, seasons_said, typed};
use crate::args::SizeArgs;
use crate::console::Failure;
use crate::pipeline::trials::field::{Over, coming_season};
use crate::pipeline::work::is_young;
use crate::pipeline::{Checked, from_ingest};
use ingest_seasons::held_blocks;
use model::TreeSeasons;
use records::counted;
use report::{TrialCell, TrialSection, TrialTable};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use trials::size::{TradeOff, TradeOffCell};
use words::{say, text};

/// Trees of a region that a new trial of intensities can take.
pub struct AtHand {
    region: String,
    trees: usize,
    /// Trees besides that stand in a trial which may go on.
    in_trials: usize,
}

/// Trees that stand, past the training age at the coming harvest and in no trial that may go on, by region.
///
/// # Errors
/// When the tables break their own promise.
pub fn of_book(checked: &Checked, table: &TreeSeasons) -> Result<Vec<AtHand>, Failure> {
    let book = &checked.tables.book;
    let held = held_blocks(&checked.tables).map_err(from_ingest)?;
    let over = Over::of(book, Some(table), &held);
    let in_trials = checked.linked.trial_trees.iter().filter(|tree| !over.frees(tree));
    let taken: BTreeSet<&str> = in_trials.map(|tree| tree.tree.as_str()).collect();
    let mut found: BTreeMap<&str, [usize; 2]> =
        book.regions.keys().map(|region| (region.as_str(), [0; 2])).collect();
    for block in &held {
        let Some([free, others]) = found.get_mut(block.region.as_str()) else { continue };
        let season = coming_season(book, Some(table), &block.region);
        for tree in &block.trees {
            let young = season.is_some_and(|at| is_young(book, block, tree, i32::from(at)));
            let is_taken = taken.contains(tree.tree.as_str());
            *free += usize::from(!young && !is_taken);
            *others += usize::from(!young && is_taken);
        }
    }
    let named = |(id, [trees, in_trials]): (&str, [usize; 2])| AtHand {
        region: book.region_name(id).to_owned(),
        trees,
        in_trials,
    };
    Ok(found.into_iter().map(named).collect())
}

/// The best of the sizes tried that the trees of a region allow, for a number of seasons.
#[derive(Debug, Serialize)]
pub struct Within {
    region: String,
    trees_at_hand: usize,
    /// Trees besides that stand in a trial which may go on.
    trees_in_trials: usize,
    seasons: usize,
    /// `None` where the trees are too few for every size.
    size: Option<TradeOffCell>,
}

/// For every region and number of seasons, the size tried that finds the smallest difference with
/// no more trees than the region has; among equals that of fewest trees.
pub fn within(found: &TradeOff, at_hand: &[AtHand]) -> Vec<Within> {
    let mut all = Vec::new();
    for AtHand { region, trees, in_trials } in at_hand {
        for &seasons in &found.request.seasons {
            let cells = found.cells.iter();
            let own = cells.filter(|cell| cell.seasons == seasons && cell.trees <= *trees);
            let size = own
                .min_by(|a, b| a.detectable.total_cmp(&b.detectable).then(a.trees.cmp(&b.trees)));
            all.push(Within {
                region: region.clone(),
                trees_at_hand: *trees,
                trees_in_trials: *in_trials,
                seasons,
                size: size.copied(),
            });
        }
    }
    all
}

fn none_said() -> String {
    say!("too few for every size tried")
}

/// That trees of the regions without a number stand in trials, where they do.
fn in_trials_said(lines: &[Within]) -> Option<String> {
    let short = lines.iter().filter(|line| line.size.is_none() && line.trees_in_trials > 0);
    let each: BTreeMap<&str, usize> =
        short.map(|line| (line.region.as_str(), line.trees_in_trials)).collect();
    let said = each.iter().map(|(region, trees)| {
        let trees = counted(*trees as u64, text!("tree"), text!("trees"));
        format!("{region}, {trees}")
    });
    (!each.is_empty()).then(|| {
        say!(
            "Further trees stand in trials that may go on: {}. They are free once the trial's section names its harvests, seasons = [YEAR, ..], and the last is over.",
            said.collect::<Vec<_>>().join("; ")
        )
    })
}

/// The answer as a section of the page; `None` without a book.
pub fn section(args: &SizeArgs, lines: &[Within]) -> Option<TrialSection> {
    if lines.is_empty() {
        return None;
    }
    let heads = [
        text!("Region"),
        text!("#Trees at hand"),
        text!("Seasons"),
        text!("#Replicates"),
        text!("#Trees per plot"),
        text!("#Trees"),
        text!("#Smallest found, %"),
        text!("#Power for the difference asked, %"),
    ];
    let shown = heads.len() - usize::from(args.difference.is_none());
    let caption = say!(
        "Smallest difference, % of the mean, that the trees of each region find with {} % probability at {} %",
        typed(args.power),
        typed(args.alpha)
    );
    let mut table = TrialTable::new("at-hand", caption, &heads[..shown]);
    for line in lines {
        let number = |value: fn(&TradeOffCell) -> usize| {
            TrialCell::Number(line.size.as_ref().map(|cell| value(cell) as f64), 0)
        };
        let share =
            |value: Option<f64>, digits| TrialCell::Number(value.map(|v| 100.0 * v), digits);
        let mut row = vec![
            TrialCell::Text(line.region.clone()),
            TrialCell::Number(Some(line.trees_at_hand as f64), 0),
            TrialCell::Text(line.seasons.to_string()),
            number(|cell| cell.replicates),
            number(|cell| cell.trees_per_plot),
            number(|cell| cell.trees),
            share(line.size.map(|cell| cell.detectable), 1),
            share(line.size.and_then(|cell| cell.power), 0),
        ];
        row.truncate(shown);
        table.rows.push(row);
    }
    if lines.iter().any(|line| line.size.is_none()) {
        table.notes.push(say!("Without a number: {}.", none_said()));
    }
    table.notes.extend(in_trials_said(lines));
    Some(TrialSection {
        heading: say!("What the trees at hand find"),
        paragraphs: vec![say!(
            "Trees at hand stand, are past the training age at the coming harvest and in no trial that may go on. Guards take some of them, and unlike blocks or sites need replicates of their own, so a layout may find room for fewer."
        )],
        tables: vec![table],
        ..TrialSection::default()
    })
}

/// The answer for a terminal.
pub fn text(args: &SizeArgs, section: &TrialSection, lines: &[Within]) -> String {
    let mut out = format!("\n{}\n", section.heading);
    for table in &section.tables {
        out.push_str(&format!("{}\n", table.caption));
    }
    for line in lines {
        let answer = line.size.map_or_else(none_said, |cell| {
            // Of another question than the smallest difference: of the difference that was asked for.
            let power = cell.power.zip(args.difference).map(|(power, asked)| {
                say!("; the {} % asked for are found with {}", typed(asked), percent(power))
            });
            format!(
                "{} ({}, {}){}",
                percent(cell.detectable),
                replicates_said(cell.replicates),
                per_plot_said(cell.trees_per_plot),
                power.unwrap_or_default()
            )
        });
        out.push_str(&format!(
            "  {}, {}, {}: {answer}\n",
            line.region,
            counted(line.trees_at_hand as u64, text!("tree"), text!("trees")),
            seasons_said(line.seasons)
        ));
    }
    out.extend(in_trials_said(lines).map(|said| format!("  {said}\n")));
    out
}
