//! The review as the page shows it.

use super::seasons::{Judged, Reviewed};
use super::{tables, words};
use ::words::{Language, language, say, speaking, text};
use report::{
    BlockMap, IntervalRow, Intervals, MappedTree, PartsPlot, PartsRow, ReviewFigure, ReviewReport,
    ReviewSection, TreeFlag, TrialSection,
};
use review::{GroupReview, Grouping, Part, Quantity, Ranking, ScoreRow};
use std::collections::BTreeMap;

/// Most groups of a plot of parts; the table holds all.
const GROUPS: usize = 30;
/// Most blocks drawn from either end of the ranking.
const ENDS: usize = 15;
/// Most maps.
const MAPS: usize = 12;
/// Most scores drawn, newest first.
const SCORES: usize = 24;

/// The page's content.
#[must_use]
pub fn report(book: &str, judged: &Judged) -> ReviewReport {
    match judged {
        Judged::Reviewed(review) => {
            let mut shown = sections(review);
            if language() != Language::English {
                let english = speaking(Language::English, || sections(review));
                for (own, english) in shown.iter_mut().zip(&english) {
                    own.of.file_words_of(&english.of);
                }
            }
            ReviewReport {
                book: book.to_owned(),
                title: words::title(review),
                answers: answers(review),
                sections: shown,
            }
        }
        Judged::Impossible(why) => ReviewReport {
            book: book.to_owned(),
            title: say!("no season to review"),
            answers: vec![say!("The season cannot be reviewed: {why}.")],
            sections: Vec::new(),
        },
    }
}

fn answers(review: &Reviewed) -> Vec<String> {
    let groups = review.groups.get("region").map_or(&[][..], Vec::as_slice);
    let of = |group: &GroupReview| {
        let season = review.seasons.get(&group.label).copied()?;
        Some(words::season(&name(review, &group.label), season, group))
    };
    groups.iter().filter_map(of).collect()
}

fn name(review: &Reviewed, region: &str) -> String {
    review.names.get(region).cloned().unwrap_or_else(|| region.to_owned())
}

fn sections(review: &Reviewed) -> Vec<ReviewSection> {
    vec![
        expectation(review),
        ranking(review),
        bearing(review),
        watched(review),
        suspects(review),
        plan(review),
        score(review),
        ReviewSection {
            id: "review-method",
            of: TrialSection {
                heading: words::METHOD.get().to_owned(),
                paragraphs: words::method(review),
                ..TrialSection::default()
            },
            figures: Vec::new(),
            work: false,
        },
    ]
}

fn label(review: &Reviewed, grouping: Grouping) -> impl Fn(&str) -> String {
    move |label| match (grouping, label) {
        (_, "") => say!("unknown"),
        (Grouping::Region, id) => name(review, id),
        (_, label) => label.to_owned(),
    }
}

fn expectation(review: &Reviewed) -> ReviewSection {
    let (mut tables, mut figures) = (Vec::new(), Vec::new());
    for grouping in Grouping::ALL {
        let key = super::seasons::grouping_name(grouping);
        let groups = review.groups.get(key).map_or(&[][..], Vec::as_slice);
        // A single unknown group says no more than the regions do.
        if groups.is_empty() || matches!(groups, [only] if only.label.is_empty()) {
            continue;
        }
        let label = label(review, grouping);
        tables.push(tables::parts(grouping, key, groups, &label));
        if groups.len() <= GROUPS {
            figures.push(ReviewFigure::Parts(parts_plot(grouping, key, groups, &label)));
        }
    }
    ReviewSection {
        id: "expectation",
        of: TrialSection {
            heading: words::EXPECTATION.get().to_owned(),
            paragraphs: words::expectation(review),
            tables,
            ..TrialSection::default()
        },
        figures,
        work: false,
    }
}

fn parts_plot(
    grouping: Grouping,
    key: &str,
    groups: &[GroupReview],
    label: &dyn Fn(&str) -> String,
) -> PartsPlot {
    PartsPlot {
        name: format!("parts-by-{key}"),
        title: say!("{}: what explains the difference", words::grouping(grouping)),
        caption: say!(
            "Parts that add stand right of zero, parts that take away left of it; the diamond is their sum, observed less expected."
        ),
        parts: Part::ALL.iter().map(|part| words::part(*part).to_owned()).collect(),
        sum: words::DIFFERENCE.get().to_owned(),
        rows: groups
            .iter()
            .map(|group| PartsRow {
                name: label(&group.label),
                parts: group.parts.iter().map(|part| part.kg).collect(),
            })
            .collect(),
        axis: words::KG.get().to_owned(),
        group: words::grouping(grouping).to_owned(),
    }
}

fn ranking(review: &Reviewed) -> ReviewSection {
    let (tables, figures) = match &review.ranking {
        Ok(ranking) => (
            vec![tables::ranking(review, ranking)],
            vec![ReviewFigure::Intervals(ranking_plot(review, ranking))],
        ),
        Err(_) => (Vec::new(), Vec::new()),
    };
    ReviewSection {
        id: "blocks",
        of: TrialSection {
            heading: words::RANKING.get().to_owned(),
            paragraphs: words::ranking(review),
            tables,
            ..TrialSection::default()
        },
        figures,
        work: false,
    }
}

fn ranking_plot(review: &Reviewed, ranking: &Ranking) -> Intervals {
    let kg = |deviation: f64| review.scale.difference_kg(review.mean_kg, deviation);
    let units = &ranking.units;
    let whole = units.len() <= 2 * ENDS;
    let ends = |place: &usize| whole || *place < ENDS || *place >= units.len() - ENDS;
    Intervals {
        name: "blocks-ranked".to_owned(),
        title: say!("Blocks beside the others of their region"),
        caption: if whole {
            say!("Shrunk difference with its limits, best block on top.")
        } else {
            say!("Shrunk difference with its limits: the {ENDS} best and the {ENDS} worst blocks.")
        },
        axis: words::KG.get().to_owned(),
        row: words::grouping(Grouping::Block).to_owned(),
        names: [say!("shrunk difference"), String::new()],
        rows: (0..units.len())
            .filter(ends)
            .map(|place| IntervalRow {
                name: units[place].unit.clone(),
                middle: kg(units[place].shrunk),
                limits: [kg(units[place].low), kg(units[place].high)],
                realised: None,
            })
            .collect(),
    }
}

fn bearing(review: &Reviewed) -> ReviewSection {
    let [regions, blocks] = &review.bearing;
    let region = label(review, Grouping::Region);
    ReviewSection {
        id: "bearing",
        of: TrialSection {
            heading: words::BEARING.get().to_owned(),
            paragraphs: vec![words::BEARING_MEANS.get().to_owned()],
            tables: vec![
                tables::bearing("region", text!("Region"), regions, &region),
                tables::bearing("block", text!("Block"), blocks, &|block| block.to_owned()),
            ],
            ..TrialSection::default()
        },
        figures: Vec::new(),
        work: false,
    }
}

fn watched(review: &Reviewed) -> ReviewSection {
    let watch = &review.watch;
    let mut tables = Vec::new();
    if !watch.poor.is_empty() {
        tables.push(tables::poor(review));
    }
    if !watch.sudden.is_empty() {
        tables.push(tables::sudden(review));
    }
    let mut paragraphs = vec![words::watch(review)];
    if tables.is_empty() {
        paragraphs.push(words::NO_WATCH.get().to_owned());
    }
    let maps = maps(review);
    if maps.len() > MAPS {
        paragraphs.push(say!(
            "Maps of the {MAPS} blocks with most marked trees, of {}; the tables give the places in the others.",
            maps.len()
        ));
    }
    ReviewSection {
        id: "trees",
        of: TrialSection {
            heading: words::WATCH.get().to_owned(),
            paragraphs,
            tables,
            ..TrialSection::default()
        },
        figures: maps.into_iter().take(MAPS).map(ReviewFigure::Map).collect(),
        work: true,
    }
}

/// Blocks with marked trees, those with most first.
fn maps(review: &Reviewed) -> Vec<BlockMap> {
    let mut flags: BTreeMap<&str, TreeFlag> = BTreeMap::new();
    for tree in &review.watch.poor {
        flags.insert(&tree.place.tree, TreeFlag::Poor);
    }
    for tree in &review.watch.sudden {
        flags.insert(&tree.place.tree, TreeFlag::Sudden);
    }
    let mut maps: Vec<(usize, BlockMap)> = review
        .standing
        .iter()
        .enumerate()
        .map(|(number, standing)| {
            let trees: Vec<MappedTree> = standing
                .trees
                .iter()
                .map(|(tree, row, column)| MappedTree {
                    flag: flags.get(tree.as_str()).copied().unwrap_or(TreeFlag::Plain),
                    tree: tree.clone(),
                    row: *row,
                    column: *column,
                })
                .collect();
            let marked = trees.iter().filter(|tree| tree.flag != TreeFlag::Plain).count();
            let map = BlockMap {
                name: format!("map-{}", number + 1),
                title: say!("Block {}", standing.block),
                caption: say!("Trees where they stand; those to look at are marked by shape."),
                legend: [text!("tree"), text!("persistently poor"), text!("suddenly failing")]
                    .map(str::to_owned),
                axes: [text!("Position in the row"), text!("Row")].map(str::to_owned),
                heads: [text!("Tree"), text!("Row"), text!("Position"), text!("Why")]
                    .map(str::to_owned),
                trees,
            };
            (marked, map)
        })
        .filter(|(marked, _)| *marked > 0)
        .collect();
    maps.sort_by_key(|(marked, _)| std::cmp::Reverse(*marked));
    maps.into_iter().map(|(_, map)| map).collect()
}

fn suspects(review: &Reviewed) -> ReviewSection {
    let suspects = &review.watch.suspects;
    let (words, tables) = if suspects.is_empty() {
        (words::NO_SUSPECTS.get(), Vec::new())
    } else {
        (words::SUSPECTS_MEAN.get(), vec![tables::suspects(suspects)])
    };
    let named = (!suspects.is_empty()).then(|| words::suspects(review));
    ReviewSection {
        id: "records",
        of: TrialSection {
            heading: words::SUSPECTS.get().to_owned(),
            paragraphs: [words.to_owned()].into_iter().chain(named).collect(),
            tables,
            ..TrialSection::default()
        },
        figures: Vec::new(),
        work: false,
    }
}

fn plan(review: &Reviewed) -> ReviewSection {
    let (mut paragraphs, mut tables) = (Vec::new(), Vec::new());
    match &review.plan {
        None => paragraphs.push(words::NO_KEPT.get().to_owned()),
        Some(kept) => {
            paragraphs.push(words::plan(kept));
            paragraphs.extend(words::failed(kept, &review.chosen_by_crew));
            if !review.grown_since.is_empty() {
                paragraphs.push(words::grown_since(&review.grown_since));
            }
            if kept.all.planned > 0 {
                tables.extend(tables::plan(kept, &label(review, Grouping::Region)));
            }
            if !review.planned_unseen.is_empty() {
                paragraphs.push(words::planned_unseen(&review.planned_unseen));
            }
            if !review.chosen_by_crew.is_empty() {
                paragraphs.push(words::chosen(&review.chosen_by_crew));
                tables.push(tables::chosen(&review.chosen_by_crew));
            }
        }
    }
    ReviewSection {
        id: "plan",
        of: TrialSection {
            heading: words::PLAN.get().to_owned(),
            paragraphs,
            tables,
            ..TrialSection::default()
        },
        figures: Vec::new(),
        work: false,
    }
}

fn score(review: &Reviewed) -> ReviewSection {
    let rows = &review.record.rows;
    let region = label(review, Grouping::Region);
    let (mut paragraphs, mut tables, mut figures) = (Vec::new(), Vec::new(), Vec::new());
    // A rate needs a level inside (0, 1), which the book's own check makes sure of.
    let vague = rows.iter().filter(|row| !row.telling).count() as u64;
    match review.record.hit_rate(|row| row.telling, review.level).ok().flatten() {
        Some(rate) => paragraphs.push(words::hits(&rate, vague)),
        None if vague > 0 => paragraphs.push(words::only_vague(vague)),
        None => paragraphs.push(words::NOTHING_SCORED.get().to_owned()),
    }
    paragraphs.extend(
        review.scored.iter().map(|row| words::scored(row, &name(review, &row.predicted.region))),
    );
    paragraphs
        .extend(review.unscored.iter().map(|own| words::unscored(own, &name(review, &own.region))));
    if !review.conflicting.is_empty() {
        paragraphs.push(words::conflicting(review.conflicting.len()));
    }
    if review.plan.is_none() {
        paragraphs.push(words::NO_KEPT.get().to_owned());
    }
    if !rows.is_empty() {
        paragraphs.push(words::SCORE_MEANS.get().to_owned());
        tables.push(tables::score(rows, &region));
        figures.extend(scored_plots(rows, &region));
    }
    ReviewSection {
        id: "score",
        of: TrialSection {
            heading: words::SCORE.get().to_owned(),
            paragraphs,
            tables,
            ..TrialSection::default()
        },
        figures,
        work: false,
    }
}

/// Predicted and realised values, one plot for each quantity scored.
fn scored_plots(rows: &[ScoreRow], region: &dyn Fn(&str) -> String) -> Vec<ReviewFigure> {
    let mut plots = Vec::new();
    for quantity in [Quantity::GainOverPresent, Quantity::GainOverUnpruned, Quantity::Yield] {
        let own = rows.iter().rev().filter(|row| row.predicted.quantity == quantity);
        let rows: Vec<IntervalRow> = own
            .take(SCORES)
            .map(|row| IntervalRow {
                name: format!("{} {}", region(&row.predicted.region), row.predicted.season),
                middle: row.predicted.median,
                limits: [row.predicted.low, row.predicted.high],
                realised: Some(row.realised),
            })
            .collect();
        if rows.is_empty() {
            continue;
        }
        let what = words::quantity(quantity);
        plots.push(ReviewFigure::Intervals(Intervals {
            name: format!("advice-scored-{}", plots.len() + 1),
            title: say!("Predicted and realised {what}"),
            caption: say!("Predicted value with its limits, and what came of it among the trees that followed; newest on top."),
            axis: words::KG.get().to_owned(),
            row: say!("Region and season"),
            names: [say!("predicted"), say!("realised")],
            rows,
        }));
    }
    plots
}
