//! Rounds that single trees lack.

use super::small;
use records::{Code, Table};

/// Twenty trees of a block picked in three rounds of two seasons; `weight` says what a tree has in a round, by tree,
/// year and round, with the day of the month.
fn told(weight: impl Fn(usize, i32, usize) -> Option<(u32, f64)>) -> Vec<(String, String)> {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for tree in 1..=20 {
        trees.push_str(&format!("\nN{tree},N"));
        for year in [2023, 2024] {
            for round in 2..5 {
                if let Some((day, kg)) = weight(tree, year, round) {
                    picks.push(format!("N{tree},{year}-0{round}-{day},{kg},9,"));
                }
            }
        }
    }
    let book = small().table(Table::Trees, &trees).rows(Table::Harvests, &[&picks.join("\n")]);
    let problems = book.linked().problems.into_iter().filter(|p| p.code == Code::SeasonThin);
    problems.map(|p| (p.place.to_string(), p.what)).collect()
}

/// Weights that differ from tree to tree, picked over two days.
fn usual(tree: usize, round: usize) -> Option<(u32, f64)> {
    Some((if tree > 10 { 12 } else { 11 }, 1.0 + (tree * 7 + round * 3) as f64 % 10.0 / 7.0))
}

#[test]
fn trees_that_lack_one_round_of_their_block_are_told() {
    assert_eq!(told(|tree, _, round| usual(tree, round)), []);
    let lacks = |tree, year, round| (tree == 9 || tree == 10) && (year, round) == (2024, 3);
    let found = told(|tree, year, round| usual(tree, round).filter(|_| !lacks(tree, year, round)));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, "harvests.csv");
    let expected = "2 trees without a weight in a round of season 2024 that nearly all trees of their block have, between picks of their own: 'N9' (2024-03-11), 'N10' (2024-03-11); each counts";
    assert!(found[0].1.starts_with(expected), "{found:?}");
}

/// In every season some trees have nothing under them in some round: no cell was forgotten.
#[test]
fn a_habit_of_passing_trees_by_is_not_told() {
    let passed =
        |tree: usize, year: i32, round: usize| round == 3 && tree % 10 == (year as usize) % 7;
    assert_eq!(
        told(|tree, year, round| usual(tree, round).filter(|_| !passed(tree, year, round))),
        []
    );
}

/// What has another reason than a cell that was forgotten.
#[test]
fn trees_that_bore_nothing_then_or_were_picked_on_another_day_are_not_told() {
    let of = |is: fn(usize, i32, usize) -> bool| {
        told(|tree, year, round| usual(tree, round).filter(|_| !is(tree, year, round)))
    };
    // A crop that was over early, or began late.
    assert_eq!(of(|tree, year, round| tree == 9 && year == 2024 && round == 4), []);
    assert_eq!(of(|tree, year, round| tree == 9 && year == 2024 && round == 2), []);
    // A round that was not made in part of the block.
    assert_eq!(of(|tree, year, round| tree < 4 && year == 2024 && round == 3), []);
    // A pick of nothing that is written, and one ten days later.
    let instead = |other: (u32, f64)| {
        told(|tree, year, round| match (tree, year, round) {
            (9, 2024, 3) => Some(other),
            _ => usual(tree, round),
        })
    };
    assert_eq!(instead((11, 0.0)), []);
    assert_eq!(instead((21, 1.5)), []);
    // Every tree on days of its own.
    let spread = |tree: usize, round: usize| {
        usual(tree, round).map(|(_, kg)| (10 + (tree * 3 % 20) as u32 / 2, kg))
    };
    let lacks = |tree, year, round| tree == 9 && year == 2024 && round == 3;
    assert_eq!(
        told(|tree, year, round| spread(tree, round).filter(|_| !lacks(tree, year, round))),
        []
    );
    // A round of little may pass a tree by.
    let slight = told(|tree, year, round| match (tree, round) {
        (9, 3) if year == 2024 => None,
        (_, 3) => Some((11, 0.1)),
        _ => usual(tree, round),
    });
    assert_eq!(slight, []);
}
