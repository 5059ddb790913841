//! Every sentence and name of the season review, in one place.

use super::seasons::{ChosenByCrew, GrownSince, PlannedUnseen, Reviewed};
use ::words::{Text, constant, say, text};
use model::term_in_words;
use records::counted;
use review::{
    BlockKept, GroupReview, Grouping, HitRate, Part, PartKg, PlanKept, Quantity, ScoreRow, Suspect,
    SuspectKind, Unscored, UnscoredReason,
};

pub const KG: Text = constant!("kg per tree");
pub const EXPECTATION: Text = constant!("Yield against expectation");
pub const RANKING: Text = constant!("Blocks compared");
pub const BEARING: Text = constant!("Alternate bearing");
pub const WATCH: Text = constant!("Trees to look at");
pub const SUSPECTS: Text = constant!("Records to check");
pub const PLAN: Text = constant!("Pruning done against planned");
pub const SCORE: Text = constant!("Last advice scored");
pub const METHOD: Text = constant!("How the review is computed");
pub const DIFFERENCE: Text = constant!("Difference");

/// Title of the page.
pub fn title(review: &Reviewed) -> String {
    let seasons: std::collections::BTreeSet<i32> = review.seasons.values().copied().collect();
    let seasons: Vec<String> = seasons.iter().map(i32::to_string).collect();
    if let [season] = seasons.as_slice() {
        return say!("review of season {season}");
    }
    say!("review of seasons {}", seasons.join(text!(" and ")))
}

/// A part by its name.
pub fn part(part: Part) -> &'static str {
    match part {
        Part::Season => text!("Season"),
        Part::Age => text!("Age"),
        Part::Pruning => text!("Pruning"),
        Part::EarlierCrop => text!("Alternate bearing"),
        Part::Level => text!("Trees and blocks"),
        Part::Unexplained => text!("Unexplained"),
    }
}

/// A grouping as a heading.
pub fn grouping(grouping: Grouping) -> &'static str {
    match grouping {
        Grouping::Region => text!("Region"),
        Grouping::Site => text!("Site"),
        Grouping::Block => text!("Block"),
        Grouping::Variety => text!("Variety"),
        Grouping::Age => text!("Age (years)"),
        Grouping::Density => text!("Trees per ha"),
    }
}

/// A quantity that was predicted.
pub fn quantity(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::GainOverPresent => text!("gain over present practice"),
        Quantity::GainOverUnpruned => text!("gain over unpruned trees"),
        Quantity::Yield => text!("mean yield"),
    }
}

/// A number with a true minus sign and a plus sign before a gain.
pub fn signed(value: f64) -> String {
    let text = say!("{:.2}", value.abs());
    match text.as_str() {
        "0.00" | "0,00" => text,
        _ if value < 0.0 => format!("−{text}"),
        _ => format!("+{text}"),
    }
}

/// How the season went in a region.
pub fn season(name: &str, season: i32, group: &GroupReview) -> String {
    let share = 100.0 * group.difference_kg.abs() / group.expected_kg;
    let beside = if group.difference_kg.abs() < 0.005 {
        say!("as much as the region gave on average in earlier seasons")
    } else {
        say!(
            "{:.2} kg ({share:.0} %) {} than the region gave on average in earlier seasons",
            group.difference_kg.abs(),
            if group.difference_kg < 0.0 { text!("less") } else { text!("more") }
        )
    };
    // Season and age are told apart by trees of other ages alone, of whatever region: their sum is what is known.
    let is_shared = |own: &&PartKg| matches!(own.part, Part::Season | Part::Age);
    let shared: f64 = group.parts.iter().filter(is_shared).map(|own| own.kg).sum();
    let others = group.parts.iter().filter(|own| !is_shared(own));
    let others = others.map(|own| (part(own.part).to_lowercase(), own.kg));
    let parts: Vec<String> = [(say!("season and age"), shared)]
        .into_iter()
        .chain(others)
        .filter(|(_, kg)| kg.abs() >= 0.005)
        .map(|(name, kg)| format!("{name} {}", signed(kg)))
        .collect();
    let of_it =
        if parts.is_empty() { String::new() } else { say!(" Of it: {}.", parts.join(", ")) };
    say!(
        "{name}, harvest {season}: {:.2} kg per tree from {}, {beside}.{of_it}",
        group.observed_kg,
        counted(group.trees as u64, text!("tree"), text!("trees")),
    )
}

/// What the parts mean.
pub fn expectation(review: &Reviewed) -> Vec<String> {
    let mut out = vec![say!(
        "Expected is the mean yield of the region's trees in all earlier seasons. The parts add up to the difference: season is what all trees of the region share in the year, age what older or younger trees bring, pruning what the cut before the harvest did beside the cuts of earlier seasons, alternate bearing what a heavy or light crop the season before left, trees and blocks what these very trees usually give beside the region's mean, and unexplained the rest. Season and age are told apart by trees of different ages alone: where blocks are of few planting years the split between these two is rough, and their sum is better known than either."
    )];
    out.extend(review.too_young.iter().map(|own| {
        say!(
            "{}: {} younger than any of the region that was cut about as hard as usual bore {:.2} kg on average; they are in none of these numbers, as a block that comes into bearing would else pass for a poor season of the others.",
            review.names.get(&own.region).map_or(own.region.as_str(), String::as_str),
            counted(own.trees, text!("tree"), text!("trees")),
            own.mean_kg
        )
    }));
    if !review.regions_without_earlier.is_empty() {
        let names: Vec<&str> = review
            .regions_without_earlier
            .iter()
            .map(|id| review.names.get(id).map_or(id.as_str(), String::as_str))
            .collect();
        out.push(say!(
            "Without an earlier season to compare with, left out: {}.",
            names.join(", ")
        ));
    }
    // Constants, regions and varieties that go together are no loss: trees and blocks carry them.
    let carried = |term: &&String| {
        *term != "intercept" && !term.starts_with("region ") && !term.starts_with("variety ")
    };
    let lost: Vec<String> =
        review.left_out.iter().filter(carried).map(|term| term_in_words(term)).collect();
    if !lost.is_empty() {
        out.push(say!(
            "The records cannot tell these effects, whose parts are 0: {}.",
            lost.join("; ")
        ));
    }
    out
}

/// What a ranking is.
pub fn ranking(review: &Reviewed) -> Vec<String> {
    match &review.ranking {
        Err(why) => vec![say!("Blocks are not compared: {why}.")],
        Ok(ranking) => vec![say!(
            "What each block gives more or less than the other blocks of its region, season, age, pruning and earlier crop taken out, over all seasons. A block of few trees is drawn towards its region's mean by what chance does to so few trees, so that none stands on top by luck. Of what is left, {:.2} is the standard deviation between blocks and {:.2} that of a tree-season, on the model's scale.",
            ranking.unit_sd,
            ranking.residual_sd
        )],
    }
}

pub const BEARING_MEANS: Text = constant!(
    "The index runs from 0 (the same crop every season) to 1 (a crop only every other season); it is taken tree by tree and then averaged, since trees that alternate out of step cancel out in a total. In step: 1 when all trees of the group alternate together, 0 when they cancel out. On-year: share of the trees that bore more than the season before, beside the change of the whole group. What pruning every other season does to the crop is in the index too."
);

/// What the lists of trees mean.
pub fn watch(review: &Reviewed) -> String {
    let (poor, sudden) = (review.watch.poor.len() as u64, review.watch.sudden.len() as u64);
    say!(
        "{} block's other trees with at least {:.0} % probability over {} seasons or more: candidates for rework or replanting. {} own level that at most {:.0} % of such alarms should be false: look for pests, disease, a broken limb, theft or a slip of the pen. What is done to a tree is decided by who stands before it.",
        counted(
            poor,
            text!("tree is among the tenth that stands lowest beside its"),
            text!("trees are among the tenth that stands lowest beside their")
        ),
        100.0 * review.watch.settings.sure,
        review.watch.settings.least_seasons,
        counted(
            sudden,
            text!("tree fell so far short of its"),
            text!("trees fell so far short of their")
        ),
        100.0 * review.watch.settings.false_discovery_rate,
    )
}

pub const NO_WATCH: Text = constant!("No tree stands out.");
pub const NO_SUSPECTS: Text = constant!("No yield of the season looks like a slip of the pen.");
pub const SUSPECTS_MEAN: Text = constant!(
    "Yields that nothing in the tree's own history and the season explains. Compare them with the field book; a record that is right stays as it is."
);

/// Yields to check that are named beside the table.
const NAMED: usize = 5;

/// The first of the yields to check, by tree and block.
pub fn suspects(review: &Reviewed) -> String {
    let suspects = &review.watch.suspects;
    let one = |own: &Suspect| {
        let tree = &own.place.tree;
        let season = review.seasons.get(&own.place.region).copied().unwrap_or_default();
        say!("{tree} (block {}, {season}, {:.2} kg)", own.place.block, own.observed_kg)
    };
    let named: Vec<String> = suspects.iter().take(NAMED).map(one).collect();
    match suspects.len().saturating_sub(NAMED) {
        0 => format!("{}.", named.join(", ")),
        more => say!("{} and {more} more.", named.join(", ")),
    }
}

/// What is odd about a record.
pub fn suspect(kind: SuspectKind, same_as: Option<&str>) -> String {
    match kind {
        SuspectKind::Slip { factor } if factor > 1.0 => {
            say!("as predicted if divided by {factor}: decimal mark or unit?")
        }
        SuspectKind::Slip { factor } => {
            let times = (1e4 / factor).round() / 1e4;
            say!("as predicted if multiplied by {times}: decimal mark or unit?")
        }
        SuspectKind::TooHigh => say!("far above all that is known of the tree"),
        SuspectKind::Copied => {
            say!("the same yields in every season as tree {}", same_as.unwrap_or(""))
        }
    }
}

pub const NO_KEPT: Text = constant!(
    "No advice is kept for this season, so neither plan nor odds can be held against it. `anacurve run BOOK --keep` keeps the advice of a run in the book (folder kept), and the next season's review scores it."
);

/// How the plan was kept.
pub fn plan(kept: &PlanKept) -> String {
    let all = &kept.all;
    if all.planned == 0 {
        return say!(
            "The plan named no block in which every tree was to be treated alike; trees of designed trials are left out."
        );
    }
    say!(
        "{} outside designed trials were planned for: {} to prune, of which {} were pruned and {} were not; {} to be left were pruned. {:.0} % of all were treated as planned, within {:.0} % of the canopy and {} of the advised window.",
        counted(all.planned as u64, text!("harvested tree"), text!("harvested trees")),
        all.to_prune,
        all.pruned,
        all.missed,
        counted(all.pruned_against_plan as u64, text!("tree"), text!("trees")),
        100.0 * all.share_kept,
        100.0 * kept.tolerance.intensity,
        counted(u64::from(kept.tolerance.days), text!("day"), text!("days")),
    )
}

/// Blocks that the plan names and the records do not.
pub fn planned_unseen(blocks: &[PlannedUnseen]) -> String {
    let named: Vec<String> = blocks
        .iter()
        .map(|own| format!("{} ({})", own.block, counted(own.trees, text!("tree"), text!("trees"))))
        .collect();
    say!(
        "Planned for, but without a harvested tree on record outside designed trials, so that nothing is compared: {}. A block that was given another name since, or whose harvest is not in the book, stands here too.",
        named.join(", ")
    )
}

/// Share of a block's trees treated as planned below which it is named.
const FAILED: f64 = 0.5;
/// Most blocks that are named in a sentence.
const NAMED_BLOCKS: usize = 8;

/// Blocks of which fewer than half of the trees were treated as planned, the worst first; `None` without any. Of a block
/// in which the crew chose the trees, those compared one by one are the few that were planned apart.
pub fn failed(kept: &PlanKept, chosen: &[ChosenByCrew]) -> Option<String> {
    let is_whole = |own: &&BlockKept| !chosen.iter().any(|other| other.block == own.block);
    let mut failed: Vec<&BlockKept> =
        kept.blocks.iter().filter(is_whole).filter(|own| own.kept.share_kept < FAILED).collect();
    failed.sort_by(|a, b| a.kept.share_kept.total_cmp(&b.kept.share_kept));
    let more = match failed.len().saturating_sub(NAMED_BLOCKS) {
        0 => String::new(),
        more => say!(" and {more} more"),
    };
    let named = failed.iter().take(NAMED_BLOCKS);
    let named: Vec<String> =
        named.map(|own| format!("{} ({:.0} %)", own.block, 100.0 * own.kept.share_kept)).collect();
    (!named.is_empty()).then(|| {
        say!("Fewer than half of the trees were treated as planned in {}{more}.", named.join(", "))
    })
}

/// Blocks with more harvested trees than the plan had.
pub fn grown_since(blocks: &[GrownSince]) -> String {
    let named: Vec<String> = blocks
        .iter()
        .map(|own| say!("{} ({} instead of {})", own.block, own.harvested, own.planned))
        .collect();
    say!(
        "More harvested trees on record than the plan had: {}. Trees moved there or were listed anew since the plan was kept: all their seasons count in the block that the tree table names.",
        named.join(", ")
    )
}

/// Blocks in which only some trees were to be pruned.
pub fn chosen(blocks: &[ChosenByCrew]) -> String {
    say!(
        "In {} only some trees were to be pruned and the crew chose which: they are counted, not compared tree by tree.",
        counted(blocks.len() as u64, text!("block"), text!("blocks"))
    )
}

/// How often the odds held, of predictions whose outcome is known well enough to tell; `vague` is the
/// number of the others.
pub fn hits(rate: &HitRate, vague: u64) -> String {
    let said = say!(
        "Of {} scored so far whose outcome is known well enough to tell, {} came true within the limits ({:.0} %; with {:.0} % limits {:.0} % are expected; so few leave room for a true share from {:.0} to {:.0} %). On average the gain came out {} kg {} than predicted.",
        counted(rate.scored, text!("prediction"), text!("predictions")),
        rate.hits,
        100.0 * rate.rate,
        100.0 * rate.expected,
        100.0 * rate.expected,
        100.0 * rate.limits[0],
        100.0 * rate.limits[1],
        signed(rate.bias).trim_start_matches(['+', '−']),
        if rate.bias < 0.0 { text!("lower") } else { text!("higher") },
    );
    if vague == 0 { said } else { format!("{said} {}", not_counted(vague)) }
}

fn not_counted(vague: u64) -> String {
    say!(
        "Not counted: {} of which the realised value tells too little to bear out or refute them.",
        counted(vague, text!("prediction"), text!("predictions"))
    )
}

/// That every prediction scored tells little.
pub fn only_vague(vague: u64) -> String {
    let none = say!("No prediction scored so far tells whether the odds hold.");
    format!("{none} {}", not_counted(vague))
}

pub const SCORE_MEANS: Text = constant!(
    "Realised is the difference in the season's harvest between trees that followed the advice (within a twentieth of the canopy and a week of its window) and trees that did not, their level, age and earlier crop taken into account. A gain over unpruned trees is over those left unpruned. A gain over present practice is over trees treated as before, pruned on whatever day: unpruned trees and each tenth of the canopy removed count by their share of the trees when the advice was given, and trees that were treated as advised even then count as no gain, as in the prediction; of advice kept by an earlier version it is over trees within a twentieth of the canopy of the mean cut. Gains are predicted for an average season; the realised one is put at the yields of an average season, its effect adding on the scale of the review, so that a season of half the crop is no miss for showing half the kilograms (of advice kept by an earlier version it is that of the season). Unless lots decided who followed, it is an observed difference, no proof of cause. A prediction is a hit when the realised value lies within limits that allow for both errors; it tells little when the realised value is known three times worse than the predicted one, or when no tree like more than a tenth of present practice was left and the nearest had to stand for it."
);
/// What a score means, as the page says it below the scores.
pub fn score_means() -> &'static str {
    SCORE_MEANS.get()
}

pub const NOTHING_SCORED: Text = constant!("No prediction has been scored yet.");

/// Why something was not scored.
pub fn unscored(own: &Unscored, name: &str) -> String {
    let what = own.quantity.map_or(String::new(), |own| format!(", {}", quantity(own)));
    let why = match &own.reason {
        UnscoredReason::NothingToFollow => {
            say!("the advice was to go on as before or to lay out a trial")
        }
        UnscoredReason::TooFewTrees { followed, others } => say!(
            "{} followed it and {others} could be compared with them; five of each are needed",
            counted(*followed as u64, text!("tree"), text!("trees"))
        ),
        UnscoredReason::TooFewAsPresent { pruned: true, share, found } => say!(
            "present practice cuts {:.0} % of the trees otherwise than advised, and {} of the season could be compared as cut like these; five are needed",
            100.0 * share,
            counted(*found as u64, text!("tree"), text!("trees"))
        ),
        UnscoredReason::TooFewAsPresent { pruned: false, share, found } => say!(
            "present practice leaves {:.0} % of the trees unpruned, and {} of the season could be compared as left so; five are needed",
            100.0 * share,
            counted(*found as u64, text!("tree"), text!("trees"))
        ),
        UnscoredReason::Failed(why) => why.clone(),
    };
    say!("{name}, {}{what}: not scored; {why}.", own.season)
}

/// Whether a prediction of the season reviewed held.
pub fn scored(row: &ScoreRow, name: &str) -> String {
    let of = &row.predicted;
    let held = match (row.hit, row.telling) {
        (true, true) => text!("a hit"),
        (false, true) => text!("a miss"),
        (true, false) => text!("within the limits, which tells little"),
        (false, false) => text!("outside the limits, which tells little"),
    };
    let realised = match row.in_season {
        None => signed(row.realised),
        Some(own) => say!(
            "{} at the yields of an average season ({} in this one, which would else have given these trees {:.2} kg)",
            signed(row.realised),
            signed(own.gain_kg),
            own.otherwise_kg
        ),
    };
    let said = say!(
        "{name}, {}, {}: predicted {} kg per tree ({} to {}), realised {realised} from {} beside {} (limits that allow for its error: {} to {}): {held}.",
        of.season,
        quantity(of.quantity),
        signed(of.median),
        signed(of.low),
        signed(of.high),
        counted(row.trees[0] as u64, text!("tree"), text!("trees")),
        row.trees[1],
        signed(row.limits[0]),
        signed(row.limits[1]),
    );
    if row.stand_in <= 0.0 {
        return said;
    }
    let stood = say!(
        "No tree was left that is treated like {:.0} % of the trees at present; the nearest stand for these.",
        (100.0 * row.stand_in).max(1.0)
    );
    format!("{said} {stood}")
}

/// Scores that the record holds with other numbers.
pub fn conflicting(number: usize) -> String {
    say!(
        "{} of this season came out otherwise when first scored, with the records known then; the record keeps what was scored first.",
        counted(number as u64, text!("score"), text!("scores"))
    )
}

/// The computation in plain words.
pub fn method(review: &Reviewed) -> Vec<String> {
    vec![
        say!(
            "A linear mixed model of {} of bearing trees ({} left out for want of a value), with trees within blocks within sites as random effects, gives the effects of season, age and earlier crop; the effect of pruning is that of the region's curve in this report where it could be fitted. Levels of trees and blocks come from the earlier seasons alone, so that the season cannot explain itself.",
            counted(review.rows_used as u64, text!("tree-season"), text!("tree-seasons")),
            review.rows_left_out
        ),
        say!(
            "In kilograms each part is its mean marginal value over all orders in which the parts can become known (Shapley 1953), so that the parts sum exactly and do not depend on an order."
        ),
        say!(
            "Blocks: empirical Bayes with the uncertainty of the spreads integrated out; ranks from joint draws (Laird and Louis 1989). Worst trees: Shen and Louis (1998). Sudden failures and odd records: false discovery rate (Benjamini and Hochberg 1995). Alternate bearing: Hoblyn and others (1936). Scores: Gneiting and Raftery (2007)."
        ),
    ]
}
