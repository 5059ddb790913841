//! Weights that cannot be: lost decimal marks, less than a nut, those of another season.

use super::small;
use records::{Code, Table};

/// Twelve trees of block N over three seasons of two picks, their weights by `kg` of tree, year and month.
fn told(kg: impl Fn(i32, i32, i32) -> f64) -> Vec<(Code, String)> {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for tree in 10..22 {
        trees.push_str(&format!("\nT{tree},N"));
        for year in 2021..2024 {
            for month in [2, 4] {
                let kg = kg(tree, year, month);
                picks.push(format!("T{tree},{year}-0{month}-11,{kg:.4},9,"));
            }
        }
    }
    let book = small().table(Table::Trees, &trees).rows(Table::Harvests, &[&picks.join("\n")]);
    let problems = book.linked().problems.into_iter();
    let of = |code| matches!(code, Code::RangeUnusual | Code::FileTwice);
    problems.filter(|p| of(p.code)).map(|p| (p.code, p.what)).collect()
}

/// Two decimals; no two seasons of a tree alike.
fn usual(tree: i32, year: i32, month: i32) -> f64 {
    f64::from(200 + (tree * 37 + year * 53 + month * 29) % 200) / 100.0
}

#[test]
fn a_lost_decimal_mark_is_told_and_a_good_pick_is_not() {
    assert_eq!(told(usual), []);
    let found = told(|tree, year, month| {
        let lost = (year, month) == (2022, 4) && tree < 12;
        if lost {
            10.0 * (10.0 * usual(tree, year, month)).round() / 10.0
        } else {
            usual(tree, year, month)
        }
    });
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].1.starts_with("2 picks about ten times as heavy"), "{found:?}");
    // The whole round, but for those that bear by far more or less than usual.
    let found = told(|tree, year, month| {
        let own = usual(tree, year, month);
        if (year, month) == (2022, 4) { 10.0 * (10.0 * own).round() / 10.0 } else { own }
    });
    assert!(
        found.len() == 1 && found[0].1.starts_with("11 picks about ten times as heavy"),
        "{found:?}"
    );
    // Twice as heavy; three times; a round in which all bear four times as much.
    for (times, trees) in [(2.0, 12), (10.0 / 3.0, 12), (4.0, 22)] {
        let is = |tree, year, month| (year, month) == (2022, 4) && tree < trees;
        let kg = |tree, year, month| {
            usual(tree, year, month) * if is(tree, year, month) { times } else { 1.0 }
        };
        assert_eq!(told(kg), [], "{times}");
    }
}

#[test]
fn less_than_a_nut_is_told() {
    let found =
        told(|tree, year, month| if tree == 15 { 0.0021 } else { usual(tree, year, month) });
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].1.starts_with("6 picks lighter than one nut, here first: 2.1 g"));
    assert_eq!(
        told(|_, year, month| if month == 2 { 0.0 } else { usual(15, year, month) }).len(),
        0
    );
}

#[test]
fn the_weights_of_another_season_are_told() {
    let found =
        told(|tree, year, month| usual(tree, if year == 2023 { 2021 } else { year }, month));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, Code::FileTwice);
    assert!(
        found[0]
            .1
            .starts_with("12 trees have the very weights of season 2021 again in season 2023")
    );
    // One pick alike is nothing odd, nor a few trees.
    let one = |tree, year, month| usual(tree, if month == 2 { 2021 } else { year }, month);
    assert_eq!(told(one), []);
    assert_eq!(
        told(|tree, year, month| usual(tree, if tree < 18 { 2021 } else { year }, month)),
        []
    );
}

/// Sixty trees of four blocks in one season of two rounds, by `kg` of block, tree and month.
fn told_of_blocks(kg: fn(i32, i32, i32) -> f64) -> Vec<String> {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for block in 0..4 {
        for tree in 0..15 {
            trees.push_str(&format!("\nB{block}-{tree},B{block}"));
            for month in [2, 4] {
                let kg = kg(block, tree, month);
                picks.push(format!("B{block}-{tree},2023-0{month}-11,{kg:.2},9,"));
            }
        }
    }
    let blocks = "block,site,region\nB0,hill,north\nB1,hill,north\nB2,hill,north\nB3,hill,north";
    let book = small()
        .table(Table::Blocks, blocks)
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&picks.join("\n")]);
    let problems = book.linked().problems.into_iter();
    problems.filter(|p| p.code == Code::FileTwice).map(|p| p.what).collect()
}

#[test]
fn a_block_pasted_over_another_and_a_round_over_the_next_are_told() {
    assert_eq!(told_of_blocks(|b, t, m| usual(83 * b + t, 2023, m)), [""; 0]);
    let found = told_of_blocks(|b, t, m| usual(83 * b.min(2) + t, 2023, m));
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("15 trees have the very weights of another tree in season 2023"));
    let found = told_of_blocks(|b, t, _| usual(83 * b + t, 2023, 2));
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("60 trees of the file have the very weight of one round again"));
    // Weights in whole kilograms fall together by chance.
    assert_eq!(told_of_blocks(|b, t, m| usual(83 * b + t, 2023, m).round()), [""; 0]);
}
