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

/// Six blocks of six trees at one site over five seasons: what `leave` says is not pruned, by block and year.
fn told_of_blocks(leave: fn(usize, i32) -> bool) -> Vec<String> {
    told_of_pruning([6, 6], |block, _, year| leave(block, year))
}

/// So many blocks of so many trees at one site over five seasons: what `leave` says is not pruned, by block, tree and year.
fn told_of_pruning(
    [blocks, trees]: [usize; 2],
    leave: impl Fn(usize, usize, i32) -> bool,
) -> Vec<String> {
    let (mut of_trees, mut of_blocks) = ("tree,block".to_owned(), "block,site,region".to_owned());
    let (mut picks, mut cuts) = (Vec::new(), Vec::new());
    for block in 0..blocks {
        of_blocks.push_str(&format!("\nB{block},estate,north"));
        for tree in 0..trees {
            let id = format!("B{block}T{tree}");
            of_trees.push_str(&format!("\n{id},B{block}"));
            for year in 2021..2026 {
                picks.push(format!("{id},{year}-02-11,{}.{tree},9,", 2 + (block + tree) % 3));
                if !leave(block, tree, year) {
                    cuts.push(format!("{id},{}-07-15,0.2,shoots,", year - 1));
                }
            }
        }
    }
    let book = small()
        .table(Table::Blocks, &of_blocks)
        .table(Table::Trees, &of_trees)
        .rows(Table::Harvests, &[&picks.join("\n")])
        .rows(Table::Prunings, &[&cuts.join("\n")]);
    let problems = book.linked().problems.into_iter();
    problems.filter(|p| p.code == Code::PruningsAbsent).map(|p| p.what).collect()
}

#[test]
fn a_block_that_lacks_prunings_before_one_harvest_is_told() {
    assert_eq!(told_of_blocks(|_, _| false), [""; 0]);
    let found = told_of_blocks(|block, year| (block, year) == (2, 2023));
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].contains("before harvest 2023 in 1 block (B2)")
            && found[0].ends_with("6 trees count as unpruned"),
        "{found:?}"
    );
    // Blocks that rest in turn, and one that was never pruned in two seasons, are a practice.
    assert_eq!(told_of_blocks(|block, year| year as usize % 6 == block), [""; 0]);
    assert_eq!(told_of_blocks(|block, year| block == 2 && year < 2023), [""; 0]);
    // Of a whole site it is told once, by site.
    let found = told_of_blocks(|_, year| year == 2025);
    assert!(found.len() == 1 && found[0].contains("at 'estate'"), "{found:?}");
}

/// Two sites of ten trees over four seasons: rounds of a tree by site and year.
fn told_of_rounds(rounds: impl Fn(usize, i32) -> usize) -> Vec<(Code, String)> {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for (site, block) in ["N", "M"].into_iter().enumerate() {
        for tree in 0..10 {
            trees.push_str(&format!("\n{block}{tree},{block}"));
            for year in 2021..2025 {
                for round in 0..rounds(site, year) {
                    let kg = 2.0 + 0.37 * round as f64 + 0.11 * f64::from(tree);
                    picks.push(format!("{block}{tree},{year}-03-{:02},{kg:.2},9,", 3 + 4 * round));
                }
            }
        }
    }
    let book = small()
        .table(Table::Blocks, "block,site,region\nN,hill,north\nM,dale,north")
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&picks.join("\n")]);
    let problems = book.linked().problems.into_iter();
    let of = |code| matches!(code, Code::SeasonThin | Code::SeasonStray);
    problems.filter(|p| of(p.code)).map(|p| (p.code, p.what)).collect()
}

#[test]
fn more_rounds_than_in_any_other_season_and_a_site_without_a_harvest_are_told() {
    assert_eq!(told_of_rounds(|_, _| 2), []);
    let found = told_of_rounds(|site, year| if (site, year) == (0, 2023) { 4 } else { 2 });
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, Code::SeasonStray);
    assert!(found[0].1.contains("in 1 block (N) a tree of season 2023 has 4 picks"), "{found:?}");
    let found = told_of_rounds(|site, year| if (site, year) == (1, 2023) { 0 } else { 2 });
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].1.contains("no harvest of 2023 at 'dale'"), "{found:?}");
    // Before its first harvest a site lacks none, and one more round is no slip of a whole season.
    assert_eq!(told_of_rounds(|site, year| if site == 1 && year < 2023 { 0 } else { 3 }), []);
    assert_eq!(told_of_rounds(|_, year| if year == 2024 { 4 } else { 3 }), []);
}

#[test]
fn a_round_that_a_block_lacks_in_one_season_is_told() {
    let lacks = |fewest: i32, most: i32| {
        told(move |tree, year, month| (year, month) == (2023, 4) && (fewest..most).contains(&tree))
    };
    let found = lacks(10, 20);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].1.contains("in 1 block (N) a tree of season 2023 has 1 pick (median)"));
    // Of the whole region it is told once, by region.
    let found = lacks(10, 40);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].1.contains("has 1 pick (median), where 2 are usual"), "{found:?}");
    // A few trees with fewer picks are nothing odd.
    assert_eq!(lacks(10, 16), []);
}

/// A round under the year beside its own makes one season of more rounds and one of as many fewer.
#[test]
fn a_round_under_the_year_beside_its_own_is_told() {
    let moved = |from: i32, to: i32| {
        move |site: usize, year: i32| match (site, year) {
            (0, year) if year == from => 2,
            (0, year) if year == to => 4,
            _ => 3,
        }
    };
    let found = told_of_rounds(moved(2023, 2022));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, Code::SeasonStray);
    let expected = "region 'north': in 1 block (N) a tree of season 2022 has 4 picks (median) and one of 2023 2, where 3 stand in every other season: a round of 2023 may bear the year of 2022";
    assert_eq!(found[0].1, expected);
    assert_eq!(told_of_rounds(moved(2023, 2024)).len(), 1);
    // Seasons that do not follow each other, more in one than the other lacks, and seasons that all differ.
    assert_eq!(told_of_rounds(moved(2024, 2022)), []);
    assert_eq!(told_of_rounds(|site, year| [3, 5, 2, 3][(year - 2021) as usize] + site), []);
    assert_eq!(told_of_rounds(|site, year| [2, 4, 3, 5][(year - 2021) as usize] + site), []);
}

/// Two weights of a tree on one day are one round: what a block lacks shows beside them.
#[test]
fn rounds_are_counted_by_day() {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for tree in 0..20 {
        trees.push_str(&format!("\nN{tree},N"));
        for year in 2021..2025 {
            for round in 0..3 {
                if (year, round) == (2023, 2) {
                    continue;
                }
                // Every third tree is picked twice that day.
                for time in 0..1 + usize::from((tree + round) % 3 == 1) {
                    let kg = 1.0 + 0.31 * round as f64 + 0.13 * tree as f64 + 0.07 * time as f64;
                    picks.push(format!("N{tree},{year}-03-{:02},{kg:.2},9,", 3 + 9 * round));
                }
            }
        }
    }
    let book = small()
        .table(Table::Blocks, "block,site,region\nN,hill,north")
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&picks.join("\n")]);
    let found: Vec<String> = book
        .linked()
        .problems
        .into_iter()
        .filter(|p| p.code == Code::SeasonThin)
        .map(|p| p.what)
        .collect();
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].contains("in 1 block (N) a tree of season 2023 has 2 picks"), "{found:?}");
}

/// Twenty trees of a block picked in four rounds of three seasons; `rounds` says how many of them a tree has.
fn told_of_trees(rounds: impl Fn(usize, i32) -> usize) -> Vec<String> {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for tree in 0..20 {
        trees.push_str(&format!("\nN{tree},N"));
        for year in 2022..2025 {
            for round in 0..rounds(tree, year) {
                let kg = 1.0 + 0.31 * round as f64 + 0.13 * tree as f64;
                picks.push(format!("N{tree},{year}-03-{:02},{kg:.2},9,", 3 + 7 * round));
            }
        }
    }
    let book = small()
        .table(Table::Blocks, "block,site,region\nN,hill,north")
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&picks.join("\n")]);
    let problems = book.linked().problems.into_iter().filter(|p| p.code == Code::SeasonThin);
    problems.map(|p| p.what).collect()
}

#[test]
fn trees_with_half_of_their_blocks_rounds_are_told() {
    assert_eq!(told_of_trees(|_, _| 4), [""; 0]);
    let lacking = |tree: usize, year: i32| match (tree, year) {
        (3, 2024) => 1,
        (7, 2024) => 2,
        _ => 4,
    };
    let found = told_of_trees(lacking);
    assert_eq!(found.len(), 1, "{found:?}");
    let expected = "region 'north': 2 trees of season 2024 with half of the picks or fewer that nearly all trees of their block have: 'N3' (1 of 4), 'N7' (2 of 4); each counts";
    assert!(found[0].starts_with(expected), "{found:?}");
    // Where trees lack a round here and there, one of them lacks two.
    let at_random = |tree: usize, year: i32| match (tree, year) {
        (3, 2024) => 2,
        _ => 4 - usize::from((7 * tree + year as usize).is_multiple_of(25)),
    };
    assert_eq!(told_of_trees(at_random), [""; 0]);
    // One round less is how a crop ends, and trees that end so in every season are no slip.
    assert_eq!(told_of_trees(|tree, year| if tree == 3 && year == 2024 { 3 } else { 4 }), [""; 0]);
    let habit = |tree: usize, year: i32| if tree == year as usize % 20 { 2 } else { 4 };
    assert_eq!(told_of_trees(habit), [""; 0]);
    // Nor is it where one tree in five has fewer rounds than the others.
    assert_eq!(
        told_of_trees(|tree, year| if year == 2024 { 4 - tree % 5 / 4 * 2 } else { 4 }),
        [""; 0]
    );
}

/// Four blocks of ten trees at one site over five seasons, three in four trees pruned: what `leave` says is not.
#[test]
fn a_block_whose_trees_are_mostly_pruned_lacks_a_seasons_prunings() {
    let told = |leave: fn(usize, i32) -> bool| {
        told_of_pruning([4, 10], |block, tree, year| {
            (tree + year as usize).is_multiple_of(4) || leave(block, year)
        })
    };
    assert_eq!(told(|_, _| false), [""; 0]);
    let found = told(|block, year| (block, year) == (1, 2024));
    assert!(found.len() == 1 && found[0].contains("harvest 2024 in 1 block (B1)"), "{found:?}");
    // Where another block has fewer pruned that season too, less was pruned altogether.
    assert_eq!(told(|block, year| year == 2024 && (block == 1 || block == 3)), [""; 0]);
    // Two of four blocks that rest, each in its season, are a practice.
    assert_eq!(told(|block, year| block < 2 && year as usize == 2023 + block), [""; 0]);
}
