//! Tables of the season review.

use super::seasons::{ChosenByCrew, Reviewed};
use super::words;
use ::words::{say, text};
use report::{TrialCell, TrialTable};
use review::{
    Bearing, BlockKept, GroupReview, Grouping, Kept, Part, PlanKept, Ranking, ScoreRow, Suspect,
};

fn text(value: impl Into<String>) -> TrialCell {
    TrialCell::Text(value.into())
}

fn number(value: f64, decimals: usize) -> TrialCell {
    TrialCell::Number(Some(value), decimals)
}

fn whole(value: u64) -> TrialCell {
    TrialCell::Number(Some(value as f64), 0)
}

fn share(value: f64) -> TrialCell {
    TrialCell::Number(value.is_finite().then_some(100.0 * value), 0)
}

/// Parts by group.
pub fn parts(
    grouping: Grouping,
    name: &str,
    groups: &[GroupReview],
    label: &dyn Fn(&str) -> String,
) -> TrialTable {
    let mut heads = vec![
        words::grouping(grouping).to_owned(),
        say!("#Trees"),
        say!("#Observed (kg)"),
        say!("#Expected (kg)"),
        say!("#Difference (kg)"),
    ];
    heads.extend(Part::ALL.iter().map(|part| say!("#{} (kg)", words::part(*part))));
    heads.push(say!("#Its standard error (kg)"));
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let caption =
        say!("{}: means per tree and what explains the difference", words::grouping(grouping));
    let mut table = TrialTable::new(&format!("by-{name}"), caption, &heads);
    for group in groups {
        let mut row = vec![
            text(label(&group.label)),
            whole(group.trees as u64),
            number(group.observed_kg, 2),
            number(group.expected_kg, 2),
            number(group.difference_kg, 2),
        ];
        row.extend(group.parts.iter().map(|part| number(part.kg, 2)));
        row.push(number(group.unexplained_std_error_kg, 2));
        table.rows.push(row);
    }
    table
}

/// Blocks, best first.
pub fn ranking(review: &Reviewed, ranking: &Ranking) -> TrialTable {
    let limits = format!("{:.0} %", 100.0 * ranking.settings.level);
    let mut table = TrialTable::new(
        "blocks-ranked",
        text!("Blocks beside the others of their region, best first"),
        &[
            text!("Block"),
            text!("#Tree-seasons"),
            text!("#Plain difference (kg)"),
            text!("#Shrunk difference (kg)"),
            &say!("#Lower limit ({limits}, kg)"),
            &say!("#Upper limit ({limits}, kg)"),
            text!("#Rank"),
            text!("Limits of the rank"),
            text!("#In the best quarter (%)"),
            text!("#In the worst quarter (%)"),
        ],
    );
    let kg = |deviation: f64| review.scale.difference_kg(review.mean_kg, deviation);
    for unit in &ranking.units {
        let [first, last] = unit.rank_limits;
        table.rows.push(vec![
            text(&unit.unit),
            whole(unit.rows as u64),
            number(kg(unit.raw), 2),
            number(kg(unit.shrunk), 2),
            number(kg(unit.low), 2),
            number(kg(unit.high), 2),
            whole(u64::from(unit.rank)),
            text(say!("{from} to {to}", from = first, to = last)),
            share(unit.p_top_quarter),
            share(unit.p_bottom_quarter),
        ]);
    }
    table
}

/// Alternate bearing by group.
pub fn bearing(
    name: &str,
    head: &str,
    groups: &[Bearing],
    label: &dyn Fn(&str) -> String,
) -> TrialTable {
    let mut table = TrialTable::new(
        &format!("bearing-by-{name}"),
        say!("{head}: index of alternate bearing"),
        &[
            head,
            text!("#Trees"),
            text!("#Mean index"),
            text!("#Standard error"),
            text!("#In step"),
            text!("#On-year (% of trees)"),
        ],
    );
    for group in groups {
        table.rows.push(vec![
            text(label(&group.group)),
            whole(group.trees as u64),
            number(group.mean_index, 3),
            number(group.std_error, 3),
            TrialCell::Number(group.in_step, 2),
            TrialCell::Number(group.share_on.map(|share| 100.0 * share), 0),
        ]);
    }
    table
}

fn place(at: Option<u32>) -> TrialCell {
    TrialCell::Number(at.map(f64::from), 0)
}

/// Trees that stay poor.
pub fn poor(review: &Reviewed) -> TrialTable {
    let mut table = TrialTable::new(
        "poor-trees",
        text!("Persistently poor trees, surest first"),
        &[
            text!("Tree"),
            text!("Block"),
            text!("#Row"),
            text!("#Position"),
            text!("#Below its block (kg)"),
            text!("#Probability (%)"),
            text!("#Seasons"),
        ],
    );
    for tree in &review.watch.poor {
        table.rows.push(vec![
            text(&tree.place.tree),
            text(&tree.place.block),
            place(tree.place.row),
            place(tree.place.column),
            number(-review.scale.difference_kg(review.mean_kg, tree.level), 2),
            share(tree.p_worst),
            whole(u64::from(tree.seasons)),
        ]);
    }
    table
}

/// Trees that fell short.
pub fn sudden(review: &Reviewed) -> TrialTable {
    let mut table = TrialTable::new(
        "failing-trees",
        text!("Suddenly failing trees, worst first"),
        &[
            text!("Tree"),
            text!("Block"),
            text!("#Row"),
            text!("#Position"),
            text!("#Observed (kg)"),
            text!("#Predicted (kg)"),
            text!("#False alarms at this level (%)"),
        ],
    );
    for tree in &review.watch.sudden {
        table.rows.push(vec![
            text(&tree.place.tree),
            text(&tree.place.block),
            place(tree.place.row),
            place(tree.place.column),
            number(tree.observed_kg, 2),
            number(tree.predicted_kg, 2),
            TrialCell::Number(Some(100.0 * tree.q_value), 2),
        ]);
    }
    table
}

/// Records to check.
pub fn suspects(suspects: &[Suspect]) -> TrialTable {
    let mut table = TrialTable::new(
        "records-to-check",
        text!("Yields to compare with the field book"),
        &[
            text!("Tree"),
            text!("Block"),
            text!("#Recorded (kg)"),
            text!("#Predicted (kg)"),
            text!("What is odd"),
        ],
    );
    for own in suspects {
        table.rows.push(vec![
            text(&own.place.tree),
            text(&own.place.block),
            number(own.observed_kg, 2),
            number(own.predicted_kg, 2),
            text(words::suspect(own.kind, own.same_as.as_deref())),
        ]);
    }
    table
}

/// Plan and deed, by region and by block.
pub fn plan(kept: &PlanKept, label: &dyn Fn(&str) -> String) -> [TrialTable; 2] {
    let heads = |first: &'static str| {
        [
            first,
            text!("#Trees planned"),
            text!("#To prune"),
            text!("#Pruned"),
            text!("#Missed"),
            text!("#Pruned against plan"),
            text!("#Planned (% of canopy)"),
            text!("#Done (% of canopy)"),
            text!("#Intensity kept (%)"),
            text!("#Days off the schedule"),
            text!("#On schedule (%)"),
            text!("#Kept (%)"),
        ]
    };
    let row = |name: String, kept: &Kept| {
        vec![
            text(name),
            whole(kept.planned as u64),
            whole(kept.to_prune as u64),
            whole(kept.pruned as u64),
            whole(kept.missed as u64),
            whole(kept.pruned_against_plan as u64),
            share(kept.planned_intensity),
            share(kept.done_intensity),
            share(kept.share_intensity),
            number(kept.mean_days_outside, 1),
            share(kept.share_date),
            share(kept.share_kept),
        ]
    };
    let mut regions = TrialTable::new(
        "plan-by-region",
        text!("Plan and deed by region"),
        &heads(text!("Region")),
    );
    regions.rows.extend(kept.regions.iter().map(|(id, own)| row(label(id), own)));
    let mut blocks =
        TrialTable::new("plan-by-block", text!("Plan and deed by block"), &heads(text!("Block")));
    blocks
        .rows
        .extend(kept.blocks.iter().map(|BlockKept { block, kept, .. }| row(block.clone(), kept)));
    [regions, blocks]
}

/// Blocks whose trees the crew chose.
pub fn chosen(blocks: &[ChosenByCrew]) -> TrialTable {
    let mut table = TrialTable::new(
        "plan-chosen-by-crew",
        text!("Blocks in which the crew chose the trees"),
        &[
            text!("Block"),
            text!("#Trees to prune"),
            text!("#Trees pruned"),
            text!("#Planned (% of canopy)"),
            text!("#Done (% of canopy)"),
        ],
    );
    for own in blocks {
        table.rows.push(vec![
            text(&own.block),
            whole(own.planned_trees),
            whole(own.pruned_trees),
            share(own.planned_intensity),
            own.done_intensity.map_or(TrialCell::Number(None, 0), share),
        ]);
    }
    table
}

/// The record of scores, newest first.
pub fn score(rows: &[ScoreRow], label: &dyn Fn(&str) -> String) -> TrialTable {
    let mut table = TrialTable::new(
        "advice-scored",
        text!("Predicted and realised, newest first"),
        &[
            text!("Region"),
            text!("#Season"),
            text!("What"),
            text!("#Predicted (kg)"),
            text!("#Lower limit (kg)"),
            text!("#Upper limit (kg)"),
            text!("#Realised (kg)"),
            text!("#Its standard error (kg)"),
            text!("#Gain in the season itself (kg)"),
            text!("#Trees that followed"),
            text!("#Other trees"),
            text!("Hit"),
            text!("Tells enough"),
        ],
    );
    let yes = |is: bool| text(if is { text!("yes") } else { text!("no") });
    for row in rows.iter().rev() {
        let predicted = &row.predicted;
        table.rows.push(vec![
            text(label(&predicted.region)),
            TrialCell::Text(predicted.season.to_string()),
            text(words::quantity(predicted.quantity)),
            number(predicted.median, 2),
            number(predicted.low, 2),
            number(predicted.high, 2),
            number(row.realised, 2),
            number(row.realised_std_error, 2),
            TrialCell::Number(Some(row.in_season.map_or(row.realised, |own| own.gain_kg)), 2),
            whole(row.trees[0] as u64),
            whole(row.trees[1] as u64),
            yes(row.hit),
            yes(row.telling),
        ]);
    }
    table
}
