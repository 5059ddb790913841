//! Prunings and rounds of picks that are there in every season but one.

use super::small;
use records::{Code, Table};

/// Ten trees of block N and twenty of M over four seasons: picks in two months, prunings of all but two; what `leave` says is
/// left out, by tree, year and month.
fn told(leave: impl Fn(i32, i32, i32) -> bool) -> Vec<(Code, String)> {
    let mut trees = "tree,block".to_owned();
    let (mut picks, mut cuts) = (Vec::new(), Vec::new());
    for tree in 10..40 {
        trees.push_str(&format!("\nT{tree},{}", if tree < 20 { "N" } else { "M" }));
        for year in 2021..2025 {
            let months = [2, 4].into_iter().filter(|month| !leave(tree, year, *month));
            picks.extend(months.map(|month| format!("T{tree},{year}-0{month}-11,2,9,")));
            if tree > 11 && !leave(tree, year - 1, 7) {
                cuts.push(format!("T{tree},{}-07-15,0.2,shoots,", year - 1));
            }
        }
    }
    let book = small()
        .table(Table::Blocks, "block,site,region\nN,estate,north\nM,estate,north")
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&picks.join("\n")])
        .rows(Table::Prunings, &[&cuts.join("\n")]);
    let problems = book.linked().problems.into_iter();
    let of = |code| matches!(code, Code::PruningsAbsent | Code::SeasonThin);
    problems.filter(|p| of(p.code)).map(|p| (p.code, p.what)).collect()
}

#[test]
fn prunings_that_lack_before_one_harvest_are_told() {
    assert_eq!(told(|_, _, _| false), []);
    let found = told(|_, year, month| (year, month) == (2022, 7));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, Code::PruningsAbsent);
    assert!(found[0].1.contains("before harvest 2023"), "{found:?}");
    assert!(found[0].1.ends_with("30 trees count as unpruned"), "{found:?}");
    // A few pruned; as many unpruned seasons as pruned ones; hardly any pruned in the others.
    assert_eq!(told(|tree, year, month| (year, month) == (2022, 7) && tree > 13), []);
    assert_eq!(told(|_, year, month| year > 2021 && month == 7), []);
    assert_eq!(told(|tree, year, month| month == 7 && (year == 2022 || tree > 20)), []);
}

#[test]
fn a_round_that_a_block_lacks_in_one_season_is_told() {
    let lacks = |fewest: i32, most: i32| {
        told(move |tree, year, month| (year, month) == (2023, 4) && (fewest..most).contains(&tree))
    };
    let found = lacks(10, 20);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].1.contains("in 1 block (N) a tree of season 2023 has 1 pick in the middle"));
    // Of the whole region it is told once, by region.
    let found = lacks(10, 40);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].1.contains("has 1 pick in the middle, where 2 are usual"), "{found:?}");
    // A few trees with fewer picks are nothing odd.
    assert_eq!(lacks(10, 16), []);
}
