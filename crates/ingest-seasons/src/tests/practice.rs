//! Present practice, and warnings of too little to learn from.

use super::{Small, close, codes, small};
use records::{Code, Table};

/// Four northern trees; in 2024 two pruned at 0.2 and 48 days, one at 0.401, one unpruned.
fn four() -> Small {
    small()
        .table(Table::Trees, "tree,block\nN1,N\nN2,N\nN3,N\nN4,N")
        .rows(
            Table::Harvests,
            &[
                "N1,2023-03-01,5,9,",
                "N1,2024-03-01,5,9,",
                "N2,2024-03-01,5,9,",
                "N3,2024-03-01,5,9,",
                "N4,2024-03-01,5,9,",
            ],
        )
        .rows(
            Table::Prunings,
            &[
                "N1,2022-07-15,0.9,shoots,",
                "N1,2023-07-15,0.2,shoots,",
                "N2,2023-07-15,0.2,shoots,",
                "N3,2023-07-05,0.401,shoots,",
            ],
        )
}

#[test]
fn practice_is_that_of_the_latest_routine_season() {
    let linked = four().linked();
    let [practice] = linked.practice.as_slice() else { panic!("one region") };
    assert_eq!((practice.season, practice.tree_seasons), (Some(2024), 4));
    close(Some(practice.share_pruned), 0.75, 1e-12);
    // By hand: (0.2 + 0.2 + 0.401 + 0) / 4 and (0.4 x 48 + 0.401 x 58) / 0.801.
    close(Some(practice.intensity), 0.200_25, 1e-12);
    close(practice.lead_days, 53.006_242, 1e-6);
    let points: Vec<_> =
        practice.points.iter().map(|p| (p.intensity, p.lead_days, p.weight)).collect();
    assert_eq!(points, [(0.0, None, 0.25), (0.2, Some(48.0), 0.5), (0.4, Some(58.0), 0.25)]);
}

/// Trees younger than those that were cut are left unpruned whatever is advised, and what is done to them is no
/// practice of the region: three of four of 2010 were cut, three of 2019 were not. One that is, as by a slip of
/// its id, changes nothing; three do.
#[test]
fn trees_younger_than_any_cut_show_no_practice() {
    let book = |cut: &[&str]| {
        let (old, young) = (["O1", "O2", "O3", "O4"], ["Y1", "Y2", "Y3"]);
        let trees = old.map(|tree| format!("{tree},N,2010-06-01")).into_iter();
        let trees = trees.chain(young.map(|tree| format!("{tree},N,2019-06-01")));
        let rows: Vec<String> = trees.collect();
        let picks = old.iter().chain(&young).map(|tree| format!("{tree},2024-03-01,5,9,"));
        let picks: Vec<String> = picks.collect();
        let cuts = old.iter().take(3).chain(cut);
        let cuts: Vec<String> = cuts.map(|tree| format!("{tree},2023-07-15,0.3,shoots,")).collect();
        let linked = small()
            .table(Table::Trees, &format!("tree,block,planted\n{}", rows.join("\n")))
            .rows(Table::Harvests, &[&picks.join("\n")])
            .rows(Table::Prunings, &[&cuts.join("\n")])
            .linked();
        let [practice] = linked.practice.as_slice() else { panic!("one region") };
        (practice.younger, practice.tree_seasons, practice.intensity)
    };
    // The old tree left unpruned counts.
    for slip in [&[][..], &["Y1"]] {
        let (younger, trees, intensity) = book(slip);
        assert_eq!((younger, trees), (3, 4), "{slip:?}");
        close(Some(intensity), 0.225, 1e-12);
    }
    let (younger, trees, intensity) = book(&["Y1", "Y2", "Y3"]);
    assert_eq!((younger, trees), (0, 7));
    close(Some(intensity), 1.8 / 7.0, 1e-12);
}

/// Two halves of twelve trees pruned in turn at 0.3 over four seasons: each season alone would show the half.
/// All pruned in the last season but few in the one before: that is told.
#[test]
fn trees_pruned_in_turn_show_the_practice_of_all_their_seasons() {
    let book = |of: &dyn Fn(i32, i32) -> bool| {
        let (mut picks, mut cuts) = (Vec::new(), Vec::new());
        for season in 0..4 {
            for tree in 1..=12 {
                picks.push(format!("T{tree},{}-03-01,5,9,", 2021 + season));
                if of(season, tree) {
                    cuts.push(format!("T{tree},{}-07-15,0.3,shoots,", 2020 + season));
                }
            }
        }
        let trees: Vec<String> = (1..=12).map(|tree| format!("T{tree},N")).collect();
        let linked = small()
            .table(Table::Trees, &format!("tree,block\n{}", trees.join("\n")))
            .rows(Table::Harvests, &[&picks.join("\n")])
            .rows(Table::Prunings, &[&cuts.join("\n")])
            .linked();
        let [practice] = linked.practice.as_slice() else { panic!("one region") };
        practice.clone()
    };
    let turn = book(&|season, tree| (tree <= 6) == (season % 2 == 0));
    assert_eq!((turn.season, turn.in_turn, turn.tree_seasons), (Some(2024), 2, 24));
    close(Some(turn.share_pruned), 0.5, 1e-12);
    close(Some(turn.intensity), 0.15, 1e-12);
    assert_eq!(turn.before, None);

    let changed = book(&|season, tree| season == 3 || tree <= 3);
    assert_eq!((changed.in_turn, changed.tree_seasons), (1, 12));
    close(Some(changed.intensity), 0.3, 1e-12);
    let before = changed.before.unwrap();
    close(Some(before.share_pruned), 0.25, 1e-12);
    close(Some(before.intensity), 0.075, 1e-12);
    assert_eq!(book(&|_, tree| tree <= 3).before, None);
}

#[test]
fn trial_trees_do_not_show_practice() {
    let trial = "trial,tree,replicate\nA,N1,1\nA,N2,1\nA,N3,1";
    let linked = four().table(Table::Trials, trial).linked();
    assert_eq!(linked.practice[0].tree_seasons, 1);
    close(Some(linked.practice[0].intensity), 0.0, 0.0);

    let linked = four().table(Table::Trials, &format!("{trial}\nA,N4,1")).linked();
    assert!(linked.practice.is_empty());
    let warning = linked.problems.iter().find(|p| p.code == Code::SettingMissing).unwrap();
    assert!(warning.remedy.contains("[regions.north]"));
}

#[test]
fn stated_practice_wins() {
    let stated = "[regions.north]\npresent = { intensity = 0.15, lead_days = 30 }";
    let linked = four().setting("[regions.north]", stated).linked();
    assert_eq!((linked.practice[0].season, linked.practice[0].lead_days), (None, Some(30.0)));
    close(Some(linked.practice[0].intensity), 0.15, 0.0);
}

#[test]
fn too_little_to_learn_from_is_said() {
    let linked = four().linked();
    assert_eq!(codes(&linked), [Code::TreesTooFew]);
    assert!(linked.problems[0].what.contains("region 'north' has fewer than 10 trees"));

    let linked = small().rows(Table::Harvests, &["N1,2024-03-01,5,9,"]).linked();
    let whole_book: Vec<_> =
        linked.problems.iter().filter(|p| p.what.starts_with("the book")).map(|p| p.code).collect();
    assert_eq!(whole_book, [Code::SeasonsTooFew, Code::PruningConstant, Code::TreesTooFew]);
}
