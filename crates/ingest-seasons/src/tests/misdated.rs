//! Prunings whose year or month is mistyped.

use super::{Small, small};
use crate::Linked;
use records::tree_season as ts;
use records::{Code, Problem, Table};

const TREES: u32 = 40;

/// Forty trees of the north, picked in 2022 to 2024 and pruned before each; `prunings` may change what
/// is written of a tree and its year.
fn orchard(prunings: impl Fn(u32, i32) -> Vec<String>) -> Small {
    let mut trees = "tree,block".to_owned();
    let (mut picks, mut cuts) = (Vec::new(), Vec::new());
    for tree in 0..TREES {
        trees.push_str(&format!("\nT{tree},N"));
        for year in 2022..=2024 {
            picks.push(format!("T{tree},{year}-03-01,4,9,"));
            let days = prunings(tree, year - 1);
            cuts.extend(days.iter().map(|day| format!("T{tree},{day},0.2,shoots,")));
        }
    }
    let rows = |rows: &[String]| rows.iter().map(String::as_str).collect::<Vec<_>>().join("\n");
    small()
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&rows(&picks)])
        .rows(Table::Prunings, &[&rows(&cuts)])
}

/// The orchard with other days of one tree in one year.
fn with(tree: u32, year: i32, days: &[&str]) -> Small {
    orchard(|of, in_year| {
        if (of, in_year) == (tree, year) {
            days.iter().map(|day| (*day).to_owned()).collect()
        } else {
            vec![format!("{in_year}-07-15")]
        }
    })
}

fn told(linked: &Linked, code: Code) -> Vec<&Problem> {
    linked.problems.iter().filter(|problem| problem.code == code).collect()
}

fn has_tree_season(linked: &Linked, tree: &str, season: i32) -> bool {
    let trees = super::words(linked, ts::TREE);
    let seasons = super::wholes(linked, ts::SEASON);
    trees.iter().zip(seasons).any(|(id, of)| id.as_deref() == Some(tree) && of == season)
}

#[test]
fn an_orchard_without_slips_is_told_nothing() {
    let linked = with(7, 2023, &["2023-07-15"]).linked();
    assert_eq!(linked.tree_seasons.num_rows(), 120);
    for code in [Code::SeasonStray, Code::PruningTwice, Code::PrunedInHarvest] {
        assert!(told(&linked, code).is_empty(), "{code}");
    }
}

/// A tree that is cut in one season alone: the slip shows by the rows around it, as the file is written year
/// by year.
#[test]
fn a_pruning_of_another_season_among_those_of_one_is_told() {
    let book = |slip: bool| {
        let mut trees = "tree,block".to_owned();
        let mut picks = Vec::new();
        let mut cuts = Vec::new();
        for tree in 0..3 * TREES {
            trees.push_str(&format!("\nT{tree},N"));
            picks.extend((2022..=2024).map(|year| format!("T{tree},{year}-03-01,4,9,")));
        }
        // Every third tree each year.
        for year in 2021..2024 {
            for tree in (0..3 * TREES).filter(|tree| tree % 3 == (year - 2021) as u32) {
                let written = if slip && (year, tree) == (2023, 62) { 2022 } else { year };
                cuts.push(format!("T{tree},{written}-07-15,0.2,shoots,"));
            }
        }
        let rows = |rows: &[String]| rows.join("\n");
        small()
            .table(Table::Trees, &trees)
            .rows(Table::Harvests, &[&rows(&picks)])
            .rows(Table::Prunings, &[&rows(&cuts)])
    };
    assert!(told(&book(false).linked(), Code::SeasonStray).is_empty());
    let linked = book(true).linked();
    let [one] = told(&linked, Code::SeasonStray)[..] else { panic!("{:?}", linked.problems) };
    assert_eq!(one.place.to_string(), "prunings.csv:102:2");
    assert!(one.what.starts_with("1 pruning before harvest 2023 among those before harvest 2024"));
}

/// Rows that stand block by block, each in the order of time, where the last season of one block has begun and that of
/// the next has not.
#[test]
fn the_last_season_of_a_block_before_the_next_block_is_no_slip() {
    let book = |last_of_first_block: bool| {
        let (mut trees, mut picks) = ("tree,block".to_owned(), Vec::new());
        let mut cuts: Vec<String> = Vec::new();
        for block in 0..2 {
            for year in 2022..=2024 {
                for tree in 0..TREES {
                    let id = format!("B{block}-{tree}");
                    picks.push(format!("{id},{year}-03-01,4,9,"));
                    if year == 2024 {
                        cuts.push(format!("{id},2023-07-15,0.2,shoots,"));
                    }
                }
            }
            let ids: Vec<String> =
                (0..TREES).map(|tree| format!("B{block}-{tree},B{block}")).collect();
            trees.push_str(&format!("\n{}", ids.join("\n")));
            if block == 0 {
                // Three of the coming season: at the block's end, or among those of the season before.
                let at = if last_of_first_block { cuts.len() } else { cuts.len() - 20 };
                let rows = (0..3).map(|tree| format!("B0-{tree},2024-07-15,0.2,shoots,"));
                cuts.splice(at..at, rows.collect::<Vec<_>>());
            }
        }
        let linked = small()
            .table(Table::Blocks, "block,site,region\nB0,hill,north\nB1,hill,north")
            .table(Table::Trees, &trees)
            .rows(Table::Harvests, &[&picks.join("\n")])
            .rows(Table::Prunings, &[&cuts.join("\n")])
            .link()
            .linked
            .unwrap();
        told(&linked, Code::SeasonStray).len()
    };
    assert_eq!(book(true), 0);
    assert_eq!(book(false), 1);
}

/// The block is pruned every second year, and a few of its prunings bear the year between.
#[test]
fn a_few_prunings_of_a_block_between_its_seasons_are_told() {
    // `slips` were cut in 2023, with the block, and written is the year before; as many of the last
    // trees as `left_out` says were not cut in 2023 at all.
    let book = |slips: &'static [u32], left_out: u32, day: &'static str| {
        let linked = orchard(move |tree, year| {
            let is_pruned = match year {
                2021 => true,
                2022 => slips.contains(&tree),
                _ => !slips.contains(&tree) && tree < TREES - left_out,
            };
            let day = if year == 2022 { day } else { "07-15" };
            is_pruned.then(|| format!("{year}-{day}")).into_iter().collect()
        })
        .linked();
        told(&linked, Code::SeasonStray).into_iter().cloned().collect::<Vec<_>>()
    };
    let [three] = &book(&[3, 17, 30], 0, "07-16")[..] else { panic!("not told once") };
    assert!(three.what.starts_with("3 prunings before harvest 2023 in block 'N', where 37 are"));
    assert!(three.what.contains("lack one before harvest 2024"), "{}", three.what);
    assert!(three.remedy.contains("; the others: prunings.csv:"), "{}", three.remedy);
    // Two trees of 38 others, all cut: 1/40 squared by the rule of succession; with five left out, 6/40.
    assert_eq!(book(&[3, 17], 0, "07-16").len(), 1);
    assert_eq!(book(&[3, 17], 5, "07-16").len(), 0);
    // On days on which the block was not pruned in the other year, they are work of their own.
    assert_eq!(book(&[3, 17, 30], 0, "08-16").len(), 0);
}

/// A year after all harvests, and one before: the tree-season that is meant would count as unpruned.
#[test]
fn a_stray_year_makes_the_season_that_is_meant_incomplete() {
    for day in ["2032-07-15", "2013-07-15"] {
        let result = with(7, 2023, &[day]).link();
        let line = 7 * 3 + 2 + 2;
        assert_eq!(result.refusals(), [(Table::Prunings, line, Code::SeasonStray)], "{day}");
        let linked = result.linked.unwrap();
        assert!(!has_tree_season(&linked, "T7", 2024), "{day}");
        assert_eq!(linked.tree_seasons.num_rows(), 119);
        let incomplete = told(&linked, Code::TreeSeasonIncomplete);
        assert_eq!(incomplete.len(), 1, "{incomplete:?}");
        assert_eq!(incomplete[0].place.to_string(), format!("prunings.csv:{line}:2"));
        assert!(incomplete[0].what.starts_with("1 tree-season with a row set aside"));
    }
    // Where every season counts as written, so does this one.
    let book = with(7, 2023, &["2032-07-15"]);
    let linked = book.setting("[options]", "[options]\nleast_season_pct = 0").linked();
    assert!(has_tree_season(&linked, "T7", 2024));
}

#[test]
fn a_stray_year_that_may_mean_two_seasons_is_told_and_takes_neither() {
    // 2032 is one digit from 2022, and two neighbours swapped from 2023.
    let book = orchard(|tree, year| match (tree, year) {
        (7, 2022) => Vec::new(),
        (7, 2023) => vec!["2032-07-15".to_owned()],
        _ => vec![format!("{year}-07-15")],
    });
    let linked = book.link().linked.unwrap();
    assert_eq!(linked.tree_seasons.num_rows(), 120);
    let incomplete = told(&linked, Code::TreeSeasonIncomplete);
    assert_eq!(incomplete.len(), 1, "{incomplete:?}");
    assert!(incomplete[0].what.contains("the seasons that they were of are counted without them"));
}

/// Records of picks may end before those of prunings: many prunings are no slip.
#[test]
fn prunings_of_a_whole_region_before_an_unrecorded_harvest_are_kept() {
    let linked = orchard(|_, year| match year {
        2023 => vec!["2023-07-15".to_owned(), "2026-07-15".to_owned()],
        _ => vec![format!("{year}-07-15")],
    })
    .linked();
    assert_eq!(linked.tree_seasons.num_rows(), 120);
    assert_eq!(told(&linked, Code::SeasonStray).len(), 1);
    assert!(told(&linked, Code::TreeSeasonIncomplete).is_empty());
}

#[test]
fn a_second_pruning_far_from_the_first_is_told_where_one_is_the_habit() {
    // July mistyped as January: before the same harvest as the pruning of the year before.
    let linked = with(7, 2023, &["2023-01-15"]).linked();
    let twice = told(&linked, Code::PruningTwice);
    assert_eq!(twice.len(), 1);
    assert_eq!(twice[0].place.to_string(), "prunings.csv:25:2");
    assert!(twice[0].what.contains("tree 'T7' on 2022-07-15 and 2023-01-15"), "{}", twice[0].what);
    assert!(!twice[0].remedy.contains("the others"), "{}", twice[0].remedy);
    // Every one of several is named: any may be the slip.
    let linked = orchard(|tree, year| {
        let mut days = vec![format!("{year}-07-15")];
        if (tree == 3 || tree == 7) && year == 2023 {
            days.push("2023-09-20".to_owned());
        }
        days
    })
    .linked();
    let both = told(&linked, Code::PruningTwice);
    assert_eq!(both.len(), 1);
    assert!(both[0].remedy.contains("; the others: prunings.csv:"), "{}", both[0].remedy);
    // The year mistyped: days apart, and the season after lacks a pruning.
    let linked = with(7, 2023, &["2022-07-20"]).linked();
    assert_eq!(told(&linked, Code::PruningTwice).len(), 1);
    assert!(has_tree_season(&linked, "T7", 2024));
    // A second round a week later, or prunings in two rounds as a habit, are no slips.
    let linked = with(7, 2023, &["2023-07-15", "2023-07-22"]).linked();
    assert!(told(&linked, Code::PruningTwice).is_empty());
    let in_two_rounds = |trees: u32| {
        let linked = orchard(|tree, year| {
            let mut days = vec![format!("{year}-07-15")];
            if tree < trees && year == 2023 {
                days.push("2023-09-01".to_owned());
            }
            days
        })
        .linked();
        told(&linked, Code::PruningTwice).len()
    };
    // Six of 120 are a twentieth.
    assert_eq!((in_two_rounds(6), in_two_rounds(7)), (1, 0));
}

/// Many second visits of one season, whose trees alone lack a visit in the next: the year before was written
/// at the end of a round. A season of many second visits alone is none.
#[test]
fn many_prunings_of_the_year_before_are_no_habit() {
    let of = |days: &dyn Fn(u32, i32) -> &'static [&'static str]| {
        let linked = orchard(|tree, year| {
            days(tree, year).iter().map(|day| format!("{year}-{day}")).collect()
        })
        .linked();
        let told = told(&linked, Code::PruningTwice);
        told.into_iter().map(|problem| problem.what.clone()).collect::<Vec<_>>()
    };
    let found = of(&|tree, year| match (tree, year) {
        (..12, 2022) => &["07-15", "07-28"],
        (..12, 2023) => &[],
        _ => &["07-15"],
    });
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("12 tree-seasons of region 'north'"), "{found:?}");
    // As many of the trees with one visit lack the next.
    let found = of(&|tree, year| match (tree, year) {
        (..12, 2022) => &["07-15", "07-28"],
        (6..26, 2023) => &[],
        _ => &["07-15"],
    });
    assert_eq!(found, Vec::<String>::new());
    // Second visits in most seasons are the habit, whatever else is lacking.
    let found = of(&|tree, year| match (tree, year) {
        (..12, 2021 | 2022) => &["07-15", "07-28"],
        (..12, 2023) => &[],
        _ => &["07-15"],
    });
    assert_eq!(found, Vec::<String>::new());
}

/// A block that was gone over again, weeks later, in one of its seasons; of a few of its trees it is told.
#[test]
fn a_second_pass_through_a_block_is_no_slip() {
    let told_of = |trees: u32| {
        let mut rows = "tree,block".to_owned();
        let (mut picks, mut cuts) = (Vec::new(), Vec::new());
        for tree in 0..150 {
            rows.push_str(&format!("\nT{tree},{}", if tree < 10 { "M" } else { "N" }));
            for year in 2022..=2024 {
                picks.push(format!("T{tree},{year}-03-01,4,9,"));
                cuts.push(format!("T{tree},{}-06-15,0.2,shoots,", year - 1));
            }
            if tree < trees {
                cuts.push(format!("T{tree},2022-08-15,0.1,shoots,"));
            }
        }
        let linked = small()
            .table(
                Table::Blocks,
                "block,site,region\nN,estate,north\nM,estate,north\nS,estate,south",
            )
            .table(Table::Trees, &rows)
            .rows(Table::Harvests, &[&picks.join("\n")])
            .rows(Table::Prunings, &[&cuts.join("\n")])
            .linked();
        told(&linked, Code::PruningTwice).len()
    };
    assert_eq!([told_of(10), told_of(3)], [0, 1]);
}

#[test]
fn a_pruning_within_the_harvest_is_told_once_for_a_region() {
    let linked = orchard(|tree, year| match (tree, year) {
        (7 | 9, 2023) => vec!["2023-05-15".to_owned()],
        _ => vec![format!("{year}-07-15")],
    })
    .linked();
    let within = told(&linked, Code::PrunedInHarvest);
    assert_eq!(within.len(), 1);
    assert!(within[0].what.starts_with("2 prunings in region 'north' within its harvest"));
    assert_eq!(within[0].place.to_string(), "prunings.csv:25:2");
}

fn slip(is: bool, year: i32, by: i32) -> i32 {
    year + if is && year == 2022 { by } else { 0 }
}

/// Half of the trees each year over five years; `written` is the year that is written of a block and a year.
fn halves(written: fn(u32, i32) -> i32) -> Vec<String> {
    let mut trees = "tree,block".to_owned();
    let (mut picks, mut cuts) = (Vec::new(), Vec::new());
    for tree in 0..4 * TREES {
        let block = tree / TREES;
        trees.push_str(&format!("\nB{block}-{tree},B{block}"));
        for year in 2021..=2025 {
            picks.push(format!("B{block}-{tree},{year}-03-01,4,9,"));
            if (tree * 37 + year as u32 * 11) % 10 < 5 {
                let day = 1 + tree % 28;
                cuts.push(format!(
                    "B{block}-{tree},{}-07-{day:02},0.2,shoots,",
                    written(block, year - 1)
                ));
            }
        }
    }
    let blocks = "block,site,region\nB0,hill,north\nB1,hill,north\nB2,dale,north\nB3,dale,north";
    let book = small()
        .table(Table::Blocks, blocks)
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&picks.join("\n")])
        .rows(Table::Prunings, &[&cuts.join("\n")]);
    let linked = book.link().linked.unwrap();
    told(&linked, Code::SeasonStray).iter().map(|problem| problem.what.clone()).collect()
}

#[test]
fn a_whole_round_under_the_year_of_another_is_told() {
    assert_eq!(halves(|_, year| year), [""; 0]);
    let starts = |found: Vec<String>, start: &str| {
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].starts_with(start), "{found:?}");
    };
    starts(
        halves(|block, year| slip(block == 1, year, -1)),
        "block 'B1': no pruning before harvest 2023, and as many before harvest 2022 as in two",
    );
    starts(
        halves(|block, year| slip(block == 1, year, 1)),
        "block 'B1': no pruning before harvest 2023, and as many before harvest 2024 as in two",
    );
    starts(halves(|block, year| slip(block > 1, year, -1)), "site 'dale': no pruning");
    starts(halves(|_, year| slip(true, year, 1)), "region 'north': no pruning before harvest 2023");
    // A season left out, and one with twice the work two years on, are no slip of a year.
    assert_eq!(halves(|block, year| slip(block == 1, year, 2)), [""; 0]);
}
