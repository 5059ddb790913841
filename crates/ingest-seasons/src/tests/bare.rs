//! Trees with nothing but zeros since some season.

use super::small;
use records::{Code, Table};

/// What is told of three trees with these kilograms by season from 2021 on.
fn told(kg: [&[f64]; 3]) -> Vec<String> {
    told_of("alive", kg)
}

/// With the status of the first.
fn told_of(status: &str, kg: [&[f64]; 3]) -> Vec<String> {
    let mut picks = Vec::new();
    for (tree, own) in ["T1", "T2", "T3"].into_iter().zip(kg) {
        for (season, kg) in (2021..).zip(own) {
            // Two picks a season, of which one may be nothing.
            picks.push(format!("{tree},{season}-03-11,0,9,"));
            picks.push(format!("{tree},{season}-04-11,{kg},9,"));
        }
    }
    let book = small()
        .table(Table::Blocks, "block,site,region\nN,estate,north")
        .table(Table::Trees, &format!("tree,block,status\nT1,N,{status}\nT2,N,\nT3,N,"))
        .rows(Table::Harvests, &[&picks.join("\n")]);
    let problems = book.linked().problems.into_iter();
    problems.filter(|p| p.code == Code::TreeBearsNoMore).map(|p| p.what).collect()
}

#[test]
fn trees_with_zeros_since_they_died_are_told() {
    let bears: &[f64] = &[5.0, 6.0, 4.0, 7.0];
    assert_eq!(told([bears; 3]), [""; 0]);
    let found = told([bears, &[5.0, 6.0, 0.0, 0.0], &[5.0, 0.0, 0.0, 0.0]]);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].contains("2 trees with 0 kg") && found[0].ends_with("T2, T3"), "{found:?}");
    // A lean last year, lean years before a crop, and a tree that never bore.
    assert_eq!(told([&[5.0, 6.0, 4.0, 0.0], &[5.0, 0.0, 0.0, 3.0], &[0.0; 4]]), [""; 0]);
    // Of a tree that the table calls dead one season is enough.
    let last: &[f64] = &[5.0, 6.0, 4.0, 0.0];
    let found = told_of("dead", [last, last, bears]);
    assert!(found.len() == 1 && found[0].ends_with(": T1"), "{found:?}");
}

/// The picks of the first tree by season, and the status that the tree table has for it.
#[test]
fn picks_of_a_dead_tree_after_a_season_without_any_are_told() {
    let told = |status: &str, seasons: &[i32]| -> Vec<String> {
        let pick = |tree: &str, season: &i32| format!("{tree},{season}-03-11,5,9,");
        let mut picks: Vec<String> = seasons.iter().map(|season| pick("T1", season)).collect();
        for tree in ["T2", "T3"] {
            picks.extend((2021..2025).map(|season| pick(tree, &season)));
        }
        let book = small()
            .table(Table::Blocks, "block,site,region\nN,estate,north")
            .table(Table::Trees, &format!("tree,block,status\nT1,N,{status}\nT2,N,\nT3,N,"))
            .rows(Table::Harvests, &[&picks.join("\n")]);
        let problems = book.linked().problems.into_iter();
        problems.filter(|p| p.code == Code::TreeBearsNoMore).map(|p| p.what).collect()
    };
    let found = told("dead", &[2021, 2024]);
    assert!(found.len() == 1 && found[0].ends_with("without any: T1 (2024)"), "{found:?}");
    assert_eq!(told("dead", &[2021, 2022]), [""; 0]);
    assert_eq!(told("alive", &[2021, 2024]), [""; 0]);
}
