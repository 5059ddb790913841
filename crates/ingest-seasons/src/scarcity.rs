//! Warnings when there is too little in a book or a region to learn from.

use crate::outcome::Outcome;
use crate::summary::{LinkSummary, RegionSummary};
use polars::prelude::{DataFrame, PolarsResult};
use records::{Book, Code, Place, Table, tree_season};
use std::collections::BTreeSet;
use words::{say, text};

/// Fewest seasons from which a season effect can be told from a pruning effect.
const SEASONS: usize = 2;
/// Fewest trees in a book from which a tree effect can be told from noise.
const TREES_OF_BOOK: u64 = 2;
/// Fewest trees of a region for which advice of its own is worth reading.
const TREES_OF_REGION: u64 = 10;

/// Warns of the book when the whole of it has too little, else of each region that has.
pub(crate) fn warn(summary: &LinkSummary, outcome: &mut Outcome) {
    let regions = &summary.regions;
    let seasons: BTreeSet<i32> =
        regions.iter().flat_map(|region| region.seasons.iter().copied()).collect();
    let few = seasons.len() < SEASONS;
    each(
        regions,
        few,
        |region| region.seasons.len() < SEASONS,
        |whose| {
            outcome.warn(
            outcome.place_of(Table::Harvests),
            Code::SeasonsTooFew,
            say!("{whose} has fewer than {SEASONS} harvest seasons"),
            text!("add the records of earlier seasons: weather and pruning cannot be told apart in one"),
        );
        },
    );
    let few = regions.iter().map(|region| region.mature_trees).sum::<u64>() < TREES_OF_BOOK;
    each(
        regions,
        few,
        |region| region.mature_trees < TREES_OF_REGION,
        |whose| {
            let least = if few { TREES_OF_BOOK } else { TREES_OF_REGION };
            outcome.warn(
                outcome.place_of(Table::Trees),
                Code::TreesTooFew,
                say!("{whose} has fewer than {least} trees past the training age with harvests"),
                text!("record more trees one by one"),
            );
        },
    );
    let constant = |region: &RegionSummary| !region.intensity.is_some_and(|[low, high]| high > low);
    let lows = regions.iter().filter_map(|region| region.intensity).map(|[low, _]| low);
    let highs = regions.iter().filter_map(|region| region.intensity).map(|[_, high]| high);
    let few = lows.reduce(f64::min) >= highs.reduce(f64::max);
    each(regions, few, constant, |whose| {
        outcome.warn(
            outcome.place_of(Table::Prunings),
            Code::PruningConstant,
            say!("{whose} has the same intensity on every tree past the training age"),
            text!(
                "leave some trees unpruned or prune some differently, best as a randomised trial"
            ),
        );
    });
}

/// Warns of a book in which neither the prunings nor the settings tell how long pruning takes: a
/// run refuses it, since no practice can be costed.
pub(crate) fn warn_of_unknown_time(
    book: &Book,
    linked: &DataFrame,
    outcome: &mut Outcome,
) -> PolarsResult<()> {
    let timed = linked.column(tree_season::MINUTES)?.null_count() < linked.height();
    if book.economics.pruning_time.is_none() && !timed {
        outcome.warn(
            Place::file("book.toml"),
            Code::SettingMissing,
            say!("nothing tells how long pruning takes, and a run needs its cost"),
            text!("add [economics.pruning_time] with minutes_per_tree and minutes_full_canopy, or record minutes with the prunings"),
        );
    }
    Ok(())
}

fn each(
    regions: &[RegionSummary],
    whole_book: bool,
    lacks: impl Fn(&RegionSummary) -> bool,
    mut report: impl FnMut(&str),
) {
    if whole_book {
        report(text!("the book"));
        return;
    }
    for region in regions.iter().filter(|region| lacks(region)) {
        report(&say!("region '{}'", region.region));
    }
}
