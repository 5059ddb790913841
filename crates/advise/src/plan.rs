//! First form of the work plan: each block's line, from its region's advice.

use crate::cost::Cost;
use crate::outcome::{RegionAdvice, Verdict};
use crate::work::{WorkAction, WorkLine};
use model::TreeSeasons;
use records::Book;
use std::collections::{BTreeMap, BTreeSet};

#[derive(Default)]
struct Block {
    last_season: i32,
    trees: BTreeSet<u32>,
    young: usize,
}

/// One line per block of the linked table, sorted by region, site and block. Hours follow the
/// region's recorded or stated minutes; a block whose trees are all young gets training.
#[must_use]
pub fn work_plan(
    book: &Book,
    table: &TreeSeasons,
    advice: &[RegionAdvice],
    costs: &BTreeMap<String, Cost>,
) -> Vec<WorkLine> {
    let mut blocks: BTreeMap<(&str, &str, &str), Block> = BTreeMap::new();
    for row in 0..table.len() {
        let key = (table.region.label(row), table.site.label(row), table.block.label(row));
        let block = blocks.entry(key).or_default();
        if table.season[row] > block.last_season {
            *block = Block { last_season: table.season[row], ..Block::default() };
        }
        if table.season[row] == block.last_season {
            block.trees.insert(table.tree.codes[row]);
            block.young += usize::from(table.young[row]);
        }
    }
    blocks
        .into_iter()
        .map(|((region, site, name), block)| {
            let advice = advice.iter().find(|advice| advice.region == region);
            let trees = block.trees.len();
            let action = match advice.map(|advice| advice.verdict) {
                _ if block.young == trees => WorkAction::Train,
                Some(Verdict::Prune) => WorkAction::Prune,
                Some(Verdict::Keep) => WorkAction::Keep,
                Some(Verdict::Trial) | None => WorkAction::Trial,
            };
            line(book, (region, site, name), trees, action, advice, costs.get(region))
        })
        .collect()
}

fn line(
    book: &Book,
    (region, site, block): (&str, &str, &str),
    trees: usize,
    action: WorkAction,
    advice: Option<&RegionAdvice>,
    cost: Option<&Cost>,
) -> WorkLine {
    // Where nothing changes, work goes on as at present.
    let present = advice.map(|advice| (advice.present.intensity, advice.present.share_pruned));
    let stated = match action {
        WorkAction::Prune | WorkAction::Keep => advice.and_then(|a| a.advised.as_ref()),
        WorkAction::Trial => advice.and_then(|a| a.interim.as_ref()),
        WorkAction::Train => None,
    };
    let (intensity, share) = match (action, stated) {
        (WorkAction::Train, _) => (None, 0.0),
        (WorkAction::Prune | WorkAction::Trial, Some(practice)) => (Some(practice.intensity), 1.0),
        _ => (present.map(|present| present.0), present.map_or(0.0, |present| present.1)),
    };
    let window = stated.and_then(|practice| practice.window);
    let effort = intensity.zip(cost).map(|(intensity, cost)| {
        let per_pruned = if share > 0.0 { (intensity / share).min(1.0) } else { 0.0 };
        let pruned = trees as f64 * share;
        let hours = pruned * cost.minutes(per_pruned) / 60.0;
        let materials = if per_pruned > 0.0 { pruned * cost.materials } else { 0.0 };
        (hours, hours * cost.wage_per_hour + materials)
    });
    WorkLine {
        region: region.to_owned(),
        site: site.to_owned(),
        block: block.to_owned(),
        action,
        intensity,
        from: window.map(|window| window[0]),
        to: window.map(|window| window[1]),
        trees: trees as u64,
        hours: effort.map(|(hours, _)| hours),
        person_days: effort.map(|(hours, _)| hours / book.options.hours_per_day),
        cost: effort.map(|(_, cost)| cost),
    }
}
