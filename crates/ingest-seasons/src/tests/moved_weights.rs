//! Lists that slipped by a line, blocks that were interchanged, and totals among picks.

use super::small;
use records::{Code, Table};

/// Trees of each block.
const TREES: i32 = 40;

/// A number between -1 and 1 that nothing orders: the sine of large steps, as hashes of shaders are made.
fn scattered(one: i32, other: i32) -> f64 {
    let mixed = (f64::from(one) * 12.9898 + f64::from(other) * 78.233).sin() * 43758.5453;
    2.0 * (mixed - mixed.floor()) - 1.0
}

/// What a tree of a block bears in a season of its own: trees differ by about 30 %, seasons of a tree by 20 %.
fn own(block: i32, tree: i32, season: i32) -> f64 {
    let id = 100 * block + tree;
    let weather = [6.0, 9.0, 5.0, 8.0][season.rem_euclid(4) as usize];
    weather * (0.5 * scattered(id, 1) + 0.3 * scattered(id, season)).exp()
}

/// What is told of four seasons of three blocks where the weight beside a tree is that of `whose` of block, tree and
/// season.
fn told(whose: impl Fn(i32, i32, i32) -> (i32, i32)) -> Vec<String> {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for block in 1..4 {
        for tree in 1..=TREES {
            trees.push_str(&format!("\nB{block}-{tree},B{block}"));
            for season in 2021..2025 {
                let (of_block, of_tree) = whose(block, tree, season);
                let kg = own(of_block, of_tree, season);
                picks.push(format!("B{block}-{tree},{season}-03-11,{kg:.2},9,"));
            }
        }
    }
    let blocks = "block,site,region\nB1,hill,north\nB2,hill,north\nB3,hill,north";
    let book = small()
        .table(Table::Blocks, blocks)
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&picks.join("\n")]);
    let problems = book.linked().problems.into_iter();
    problems.filter(|p| p.code == Code::WeightsMoved).map(|p| p.what).collect()
}

#[test]
fn a_list_that_slipped_by_a_line_is_told_with_its_trees() {
    assert_eq!(told(|block, tree, _| (block, tree)), [""; 0]);
    // A line left out after the eleventh tree: all after it carry the weight of the next.
    let slips = |tree, season| season == 2022 && tree > 11 && tree < TREES;
    let found =
        told(|block, tree, season| (block, tree + i32::from(block == 2 && slips(tree, season))));
    assert_eq!(found.len(), 1, "{found:?}");
    let start = "region 'north', block 'B2': in season 2022 ";
    assert!(found[0].starts_with(start), "{found:?}");
    assert!(
        found[0]
            .ends_with("what the next tree of the list bears in other seasons, not with their own")
    );
    let from = found[0].split("from 'B2-").nth(1).and_then(|rest| rest.split('\'').next());
    let from: i32 = from.unwrap().parse().unwrap();
    assert!((9..16).contains(&from), "{found:?}");
    // A line written twice.
    let found =
        told(|block, tree, season| (block, tree - i32::from(block == 1 && slips(tree, season))));
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].contains("what the tree before it in the list bears"), "{found:?}");
    // All seasons alike slipped are no other than well written ones.
    assert_eq!(told(|block, tree, _| (block, tree + 1)), [""; 0]);
}

#[test]
fn interchanged_blocks_are_told_as_a_pair() {
    let found = told(|block, tree, season| {
        (if season == 2023 && block < 3 { 3 - block } else { block }, tree)
    });
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].contains("season 2023 in block 'B1' go with what the trees of block 'B2' bear"),
        "{found:?}"
    );
}

/// Told of twenty-five trees over the seasons 2021 to 2023, whose picks `of` a season's three rounds makes.
fn told_of_picks(of: impl Fn(i32, [f64; 3]) -> Vec<f64>) -> Vec<String> {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for tree in 1..=25 {
        trees.push_str(&format!("\nT{tree},N"));
        for season in 2021..2024 {
            let round =
                |month: i32, kg: f64| kg * (0.3 * scattered(tree, 10 * season + month)).exp();
            let rounds = [round(2, 0.9), round(3, 2.1), round(4, 1.1)];
            for (kg, month) in of(season, rounds).iter().zip(2..) {
                picks.push(format!("T{tree},{season}-0{month}-11,{kg:.2},9,"));
            }
        }
    }
    let book = small().table(Table::Trees, &trees).rows(Table::Harvests, &[&picks.join("\n")]);
    let problems = book.linked().problems.into_iter();
    problems.filter(|p| p.code == Code::TotalsAsPicks).map(|p| p.what).collect()
}

#[test]
fn totals_among_the_picks_are_told() {
    assert_eq!(told_of_picks(|_, rounds| rounds.to_vec()), [""; 0]);
    let running = |rounds: [f64; 3]| {
        vec![rounds[0], rounds[0] + rounds[1], rounds[0] + rounds[1] + rounds[2]]
    };
    let found = told_of_picks(
        |season, rounds| {
            if season == 2022 { running(rounds) } else { rounds.to_vec() }
        },
    );
    assert_eq!(
        found,
        [
            "the picks of 25 trees of the file in season 2022 never fall from one round to the next: running totals?"
        ]
    );
    // A season that is still picked may rise with every round so far.
    let rising = |season, rounds: [f64; 3]| {
        if season == 2023 { running(rounds) } else { rounds.to_vec() }
    };
    assert_eq!(told_of_picks(rising), [""; 0]);
    let found = told_of_picks(|season, mut rounds| {
        rounds = rounds.map(|kg| (100.0 * kg).round() / 100.0);
        rounds[2] = if season == 2023 { rounds[0] + rounds[1] } else { rounds[2] };
        rounds.to_vec()
    });
    assert_eq!(
        found,
        [
            "25 trees of the file in season 2023 weigh as much in their last pick as in all before it together: a column of totals that was read as a round?"
        ]
    );
}
