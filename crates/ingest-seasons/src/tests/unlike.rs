//! Sites that bear unlike each other in one season alone.

use super::small;
use records::{Code, Table};

/// Kilograms of a tree by site and season.
type Kg = fn(usize, i32) -> f64;

/// Seasons told of one site, of two sites or three with fifteen trees each over `seasons` of `kg`.
fn told(sites: usize, seasons: std::ops::Range<i32>, kg: Kg) -> Vec<String> {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for (site, block) in ["N", "M", "O"].into_iter().take(sites).enumerate() {
        for tree in 0..15 {
            trees.push_str(&format!("\n{block}{tree},{block}"));
            for season in seasons.clone() {
                let own = kg(site, season) * (0.8 + 0.03 * f64::from(tree));
                picks.push(format!("{block}{tree},{season}-03-11,{own:.2},9,"));
            }
        }
    }
    let book = small()
        .table(Table::Blocks, "block,site,region\nN,hill,north\nM,dale,north\nO,moor,north")
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&picks.join("\n")]);
    let problems = book.linked().problems.into_iter();
    problems.filter(|p| p.code == Code::SitesUnlike).map(|p| p.what).collect()
}

/// What the weather of a season does to both sites.
fn weather(season: i32) -> f64 {
    [6.0, 9.0, 5.0, 8.0][season.rem_euclid(4) as usize]
}

#[test]
fn a_season_of_one_site_in_pounds_is_told() {
    let seasons = 2021..2025;
    assert_eq!(told(2, seasons.clone(), |_, season| weather(season)), [""; 0]);
    let pounds: Kg =
        |site, season| weather(season) * if (site, season) == (1, 2022) { 2.2046 } else { 1.0 };
    let found = told(2, seasons.clone(), pounds);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].contains(
            "in season 2022 a tree at 'dale' bears 2.2 times as much beside one at 'hill'"
        ),
        "{found:?}"
    );
    // With a third, the site that strays is told alone.
    let found = told(3, seasons.clone(), pounds);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].contains("at 'dale' bears 2.2 times what the site's other seasons"));
    // Of two sites nothing tells which is at fault: the one that bears more is named.
    let less: Kg =
        |site, season| weather(season) * if (site, season) == (0, 2024) { 0.4 } else { 1.0 };
    let found = told(2, seasons.clone(), less);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].contains("in season 2024 a tree at 'dale' bears 2.5 times"), "{found:?}");
    // Good years of the whole region, sites that bear in turn, a site that bears more all along, and
    // too few seasons tell nothing.
    let year: Kg = |_, season| weather(season) * if season == 2022 { 2.5 } else { 1.0 };
    assert_eq!(told(2, seasons.clone(), year), [""; 0]);
    let turns: Kg = |site, season| 6.0 * if (site as i32 + season) % 2 == 0 { 2.5 } else { 1.0 };
    assert_eq!(told(2, seasons.clone(), turns), [""; 0]);
    let richer: Kg = |site, season| weather(season) * if site == 1 { 2.5 } else { 1.0 };
    assert_eq!(told(2, seasons, richer), [""; 0]);
    assert_eq!(told(2, 2021..2024, pounds), [""; 0]);
}

#[test]
fn a_season_of_one_block_in_pounds_is_told() {
    let told = |kg: Kg| -> Vec<String> {
        let mut trees = "tree,block".to_owned();
        let mut picks = Vec::new();
        for block in 0..4 {
            for tree in 0..15 {
                trees.push_str(&format!("\nB{block}-{tree},B{block}"));
                for season in 2021..2025 {
                    let own = kg(block, season) * (0.8 + 0.03 * f64::from(tree));
                    picks.push(format!("B{block}-{tree},{season}-03-11,{own:.2},9,"));
                }
            }
        }
        let blocks =
            "block,site,region\nB0,hill,north\nB1,hill,north\nB2,hill,north\nB3,hill,north";
        let book = small()
            .table(Table::Blocks, blocks)
            .table(Table::Trees, &trees)
            .rows(Table::Harvests, &[&picks.join("\n")]);
        let problems = book.linked().problems.into_iter();
        problems.filter(|p| p.code == Code::SitesUnlike).map(|p| p.what).collect()
    };
    assert_eq!(told(|_, season| weather(season)), [""; 0]);
    let found = told(|block, season| {
        weather(season) * if (block, season) == (2, 2023) { 2.2046 } else { 1.0 }
    });
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].starts_with("site 'hill': in season 2023 a tree of block 'B2' bears 2.2 times"),
        "{found:?}"
    );
    // After a hard cut a block bears less.
    let less: Kg =
        |block, season| weather(season) * if (block, season) == (2, 2023) { 0.4 } else { 1.0 };
    assert_eq!(told(less), [""; 0]);
}
