//! Trees that are too old, and trees at one place.

use super::small;
use records::{Code, Table};

/// What is told of thirty trees picked in two seasons; `of` gives planting date, position and status.
fn told(code: Code, of: impl Fn(u32) -> (String, u32, &'static str)) -> Vec<(Option<u64>, String)> {
    let mut trees = "tree,block,planted,row,column,status".to_owned();
    let mut picks = Vec::new();
    for tree in 0..30 {
        let (planted, column, status) = of(tree);
        trees.push_str(&format!("\nT{tree},N,{planted},1,{column},{status}"));
        picks.extend([2023, 2024].map(|year| format!("T{tree},{year}-03-01,4,9,")));
    }
    let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
    let linked = small().table(Table::Trees, &trees).rows(Table::Harvests, &picks).linked();
    assert_eq!(linked.tree_seasons.num_rows(), 60);
    let told = linked.problems.into_iter().filter(|problem| problem.code == code);
    told.map(|problem| (problem.place.line, problem.what)).collect()
}

#[test]
fn a_tree_planted_a_century_ago_is_told_and_an_old_one_is_not() {
    let with = |year: i32| {
        told(Code::RangeUnusual, |tree| {
            let year = if tree == 7 { year } else { 2008 };
            (format!("{year}-06-01"), tree, "")
        })
    };
    assert_eq!(with(2008), []);
    assert_eq!(with(1923), []);
    let found = with(1908);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].0, Some(9));
    assert!(found[0].1.starts_with("1 tree planted more than 100 years"), "{found:?}");
    assert!(found[0].1.ends_with("in 1908"), "{found:?}");
}

#[test]
fn two_trees_at_one_place_are_told_where_places_are_numbered() {
    let with = |status: &'static str, shared: fn(u32) -> u32| {
        told(Code::RowDuplicate, |tree| {
            let status = if tree == 3 { status } else { "" };
            ("2008-06-01".to_owned(), shared(tree), status)
        })
    };
    assert_eq!(with("", |tree| tree), []);
    let at_three = |tree| if tree == 20 { 3 } else { tree };
    let found = with("", at_three);
    let said = "tree 'T20' stands at row 1, position 3 of block 'N', as tree 'T3' does";
    assert_eq!(found, [(Some(22), said.to_owned())]);
    // Another was planted where one died; and numbers that stand for several trees number none.
    assert_eq!(with("dead", at_three), []);
    assert_eq!(with("", |tree| tree / 2), []);
}
