//! Trees, blocks and regions that do not agree.

use super::{BOOK, close, left_out, link_book, numbers, small, words};
use crate::frame::FILE;
use crate::{LinkError, Linked, Reason};
use polars::prelude::Column;
use records::tree_season as ts;
use records::{Code, Severity, Table};

#[test]
fn a_block_under_another_name_is_told_once_with_the_line_that_reads_it() {
    let mut trees = "tree,block".to_owned();
    let mut picks = vec!["MA2/1,2023-03-01,5,9,".to_owned(), "mA2/2,2023-03-01,5,9,".to_owned()];
    for tree in 1..9 {
        trees.push_str(&format!("\nMA2/{tree},N"));
        picks.push(format!("MA-2/{tree},2024-03-01,5,9,"));
    }
    let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
    let result = small().table(Table::Trees, &trees).rows(Table::Harvests, &picks).link();
    assert_eq!(result.rejected.len(), 9);
    let told = result.linked.unwrap().problems;
    let told: Vec<_> = told.iter().filter(|p| p.code == Code::TreeUnknown).collect();
    assert_eq!(told.len(), 1, "{told:?}");
    assert_eq!(
        told[0].what,
        "8 rows of the file, of 8 trees, begin with 'MA-2/' where the tree table has 'MA2/' before the same number"
    );
    assert!(told[0].remedy.contains("values = { tree = { \"MA-2/*\" = \"MA2/*\" } }"));
    assert!(told[0].remedy.contains("[[files.harvests]]"));
}

#[test]
fn an_unknown_tree_is_set_aside_with_its_near_miss() {
    let picks = ["N1,2023-03-01,5,9,", "n-01,2024-03-01,5,9,", "X9,2024-03-01,5,9,"];
    let result = small().rows(Table::Harvests, &picks).link();
    let unknown = Code::TreeUnknown;
    assert_eq!(result.refusals(), [(Table::Harvests, 3, unknown), (Table::Harvests, 4, unknown)]);
    assert!(result.rejected[0].remedy.contains("'N1'"), "{}", result.rejected[0].remedy);
    assert!(!result.rejected[1].remedy.contains("did you mean"));
    let linked = result.linked.unwrap();
    assert_eq!(left_out(&linked, Table::Harvests, Reason::SetAside(unknown)), 2);
    close(numbers(&linked, ts::YIELD_KG)[0], 5.0, 0.0);
}

#[test]
fn a_tree_of_an_unknown_block_takes_its_records_along() {
    let result = small()
        .rows(Table::Trees, &["L1,Q"])
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,", "L1,2024-03-01,5,9,"])
        .link();
    assert_eq!(
        result.refusals(),
        [(Table::Trees, 5, Code::BlockUnknown), (Table::Harvests, 3, Code::TreeUnknown)]
    );
    let reason = "its block 'Q' is not in the block table";
    assert!(result.rejected.iter().all(|row| row.reason.contains(reason)));
}

#[test]
fn an_undeclared_region_takes_its_blocks_and_trees_along() {
    let result = small()
        .rows(Table::Blocks, &["C,estate,North"])
        .rows(Table::Trees, &["C1,C"])
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,", "C1,2024-03-01,5,9,"])
        .link();
    assert_eq!(
        result.refusals(),
        [
            (Table::Blocks, 4, Code::RegionUnknown),
            (Table::Trees, 5, Code::BlockUnknown),
            (Table::Harvests, 3, Code::TreeUnknown)
        ]
    );
    assert!(result.rejected[0].remedy.contains("'north'"));
    assert!(result.rejected[2].reason.contains("region 'North'"), "{}", result.rejected[2].reason);
    // The records of the tree, as the tree, say where the fault is.
    assert_eq!(result.rejected[1].remedy, "mend the row of the block first (blocks.csv:4)");
    assert_eq!(result.rejected[2].remedy, result.rejected[1].remedy);
}

#[test]
fn a_tree_in_two_blocks_is_not_guessed() {
    let result = small()
        .rows(Table::Trees, &["N2,S", "N1,N"])
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,", "N2,2024-03-01,5,9,"])
        .link();
    assert_eq!(
        result.refusals(),
        [
            (Table::Trees, 3, Code::TreeInTwoBlocks),
            (Table::Trees, 5, Code::TreeInTwoBlocks),
            (Table::Trees, 6, Code::RowDuplicate),
            (Table::Harvests, 3, Code::TreeUnknown)
        ]
    );
    assert_eq!(words(&result.linked.unwrap(), ts::TREE), [Some("N1".into())]);
}

/// Of two rows of a tree in one block that differ, neither is taken for right.
#[test]
fn what_two_rows_of_a_tree_say_differently_is_unknown() {
    let result = small()
        .table(Table::Blocks, "block,site,region,planted\nN,estate,north,2012-01-01")
        .table(
            Table::Trees,
            "tree,block,planted,girth_cm,row\nN1,N,2010-01-01,60,1\nN2,N,,,\nN1,N,2019-06-01,80,1",
        )
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,", "N2,2024-03-01,5,9,"])
        .link();
    assert_eq!(result.refusals(), [(Table::Trees, 4, Code::RowDuplicate)]);
    let row = &result.rejected[0];
    assert_eq!(
        row.reason,
        "tree 'N1' is listed before, at trees.csv:2, with other values: \
         planted is 2010-01-01 there and 2019-06-01 here, girth_cm is 60 there and 80 here"
    );
    assert_eq!(row.column, "planted");
    assert!(row.remedy.contains("age of the tree is unknown"), "{}", row.remedy);
    let linked = result.linked.unwrap();
    assert_eq!(words(&linked, ts::TREE), [Some("N1".into()), Some("N2".into())]);
    // Not that of the block either, which the other tree takes: 12 years and 31 days.
    let ages = numbers(&linked, ts::AGE_YEARS);
    assert_eq!(ages[0], None);
    close(ages[1], 4414.0 / 365.2425, 1e-9);
    assert_eq!(numbers(&linked, ts::GIRTH_CM), [None, None]);
}

/// What one row leaves open contradicts nothing, and the first row counts as it stands.
#[test]
fn an_empty_cell_of_a_repeated_tree_contradicts_nothing() {
    let trees = "tree,block,planted,girth_cm\nN1,N,2010-01-01,\nN1,N,,80";
    let picks = ["N1,2024-03-01,5,9,"];
    let result = small().table(Table::Trees, trees).rows(Table::Harvests, &picks).link();
    assert_eq!(result.refusals(), [(Table::Trees, 3, Code::RowDuplicate)]);
    assert_eq!(result.rejected[0].reason, "tree 'N1' is listed before, at trees.csv:2");
    let linked = result.linked.unwrap();
    assert!(numbers(&linked, ts::AGE_YEARS)[0].is_some());
    assert_eq!(numbers(&linked, ts::GIRTH_CM), [None]);
}

#[test]
fn a_block_listed_at_two_sites_is_not_guessed() {
    let result = small()
        .rows(Table::Blocks, &["S,other,south", "N,estate,north"])
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,", "S1,2024-10-01,5,9,"])
        .link();
    assert_eq!(
        result.refusals(),
        [
            (Table::Blocks, 3, Code::RowDuplicate),
            (Table::Blocks, 4, Code::RowDuplicate),
            (Table::Blocks, 5, Code::RowDuplicate),
            (Table::Trees, 4, Code::BlockUnknown),
            (Table::Harvests, 3, Code::TreeUnknown)
        ]
    );
}

#[test]
fn records_before_planting_are_set_aside() {
    let result = small()
        .table(Table::Blocks, "block,site,region,planted\nN,estate,north,2023-01-01")
        .table(Table::Trees, "tree,block,planted\nN1,N,\nN2,N,2024-01-01")
        .table(Table::Laterals, "tree,date,frame_m2,laterals\nN2,2023-10-01,1,10")
        .rows(Table::Harvests, &["N1,2022-03-01,5,9,", "N1,2023-03-01,5,9,", "N2,2023-03-01,5,9,"])
        .rows(Table::Prunings, &["N1,2022-12-31,0.1,shoots,", "N1,2023-01-01,0.1,shoots,"])
        .link();
    let early = Code::BeforePlanting;
    assert_eq!(
        result.refusals(),
        [
            (Table::Prunings, 2, early),
            (Table::Laterals, 2, early),
            (Table::Harvests, 2, early),
            (Table::Harvests, 4, early)
        ]
    );
    assert!(result.rejected[2].reason.contains("2022-03-01"));
}

#[test]
fn a_book_of_which_nothing_links_says_why() {
    let result = small().rows(Table::Harvests, &["X,2024-03-01,5,9,", "N1,2024-07-01,5,9,"]).link();
    let Err(LinkError::NothingLinked { problem, summary }) = result.linked else {
        panic!("linked something");
    };
    assert_eq!((problem.severity, problem.code), (Severity::Fatal, Code::NothingLinked));
    for part in [
        "1 of 2 harvests: set aside, tree-unknown",
        "1 of 2 harvests: set aside, date-in-no-season",
    ] {
        assert!(problem.what.contains(part), "{}", problem.what);
    }
    assert!(summary.tables.iter().all(|table| table.is_conserved()));
    assert_eq!(result.rejected.len(), 2);
}

#[test]
fn a_date_beyond_every_calendar_is_set_aside() {
    let result = small()
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,", "N1,9900-03-01,5,9,"])
        .rows(Table::Prunings, &["N1,9999-12-31,0.1,shoots,"])
        .table(Table::Laterals, "tree,date,frame_m2,laterals\nN1,9900-10-01,1,10")
        .link();
    let codes: Vec<_> = result.refusals().into_iter().map(|(_, _, code)| code).collect();
    assert_eq!(codes, [Code::DateInNoSeason; 3]);
    assert_eq!(result.linked.unwrap().tree_seasons.num_rows(), 1);
}

/// Words of other languages for a tree that is gone are known; words that are not known are told.
#[test]
fn words_of_the_status_are_told_where_they_are_not_known() {
    let trees = "tree,block,status\nN1,N,vivant\nN2,N,Arrach\u{e9}\nS1,S,foudroy\u{e9}";
    let picks = ["N1,2024-03-01,5,9,", "N2,2024-03-01,5,9,"];
    let linked = small().table(Table::Trees, trees).rows(Table::Harvests, &picks).linked();
    let told = linked.problems.iter().find(|p| p.code == Code::WordUnknown).unwrap();
    assert!(told.what.ends_with("read as standing: 'foudroy\u{e9}' (1)"), "{}", told.what);
    assert_eq!(told.place.to_string(), "trees.csv:4");
    let known = small().rows(Table::Harvests, &picks).linked();
    assert!(known.problems.iter().all(|p| p.code != Code::WordUnknown));
}

#[test]
fn a_crew_of_a_site_that_is_none_is_told() {
    let picks = ["N1,2024-03-01,5,9,"];
    let book =
        small().rows(Table::Harvests, &picks).settings("[work.sites.Estate]\ncrew_size = 3\n");
    let linked = book.linked();
    let told = linked.problems.iter().find(|p| p.code == Code::SettingImpossible).unwrap();
    assert!(told.what.contains("'Estate'") && told.remedy.contains("'estate'"), "{told}");
}

/// A spray of ten times the usual concentration or a tenth of it is told by the check, and one of nine times not.
#[test]
fn doses_far_from_usual_are_told() {
    let told = |target: f64| {
        let product = format!(
            "[products.guard]\nkind = \"insect_protection\"\nstrength_pct = 50\n\
             target_pct = {target}\nusual_pct = 2\n"
        );
        let linked =
            small().rows(Table::Harvests, &["N1,2024-03-01,5,9,"]).settings(&product).linked();
        linked.problems.into_iter().find(|p| p.code == Code::DoseUnlikely)
    };
    for far in [20.0, 40.0, 0.2, 0.02] {
        let told = told(far).unwrap();
        assert!(told.what.contains("[products.guard] target_pct"), "{told}");
    }
    assert!(told(18.0).is_none() && told(0.3).is_none() && told(2.0).is_none());
}

/// Young trees and trees that are gone are not expected to bear.
#[test]
fn trees_without_a_pick_are_told_where_one_is_expected() {
    let picks = ["N1,2024-03-01,5,9,"];
    let told = |trees: &str| {
        let linked = small().table(Table::Trees, trees).rows(Table::Harvests, &picks).linked();
        let told = linked.problems.into_iter().find(|p| p.code == Code::TreeWithoutHarvest);
        told.map(|told| told.what)
    };
    assert_eq!(
        told("tree,block,planted,status\nN1,N,2010-01-01,\nN2,N,2023-01-01,\nS1,N,,dead"),
        None
    );
    let what = told("tree,block,planted,status\nN1,N,2010-01-01,\nN2,N,2020-01-01,\nS1,N,,");
    assert!(what.unwrap().starts_with("2 trees of region 'north'"));
}

/// The finding stands at the file of the first tree that it names, in the order of ids and not of rows.
#[test]
fn trees_without_a_pick_are_named_at_their_file() {
    let told = |trees: &[(&str, u32)]| {
        let rows: String = trees.iter().map(|(tree, _)| format!("\n{tree},N")).collect();
        let book = small()
            .table(Table::Trees, &format!("tree,block{rows}"))
            .rows(Table::Harvests, &["N1,2024-03-01,5,9,"]);
        let mut frames = book.frames();
        let files: Vec<u32> = trees.iter().map(|(_, file)| *file).collect();
        let frame = frames.get_mut(&Table::Trees).unwrap();
        frame.with_column(Column::new(FILE.into(), files)).unwrap();
        let problems = link_book(BOOK, &frames).linked.unwrap().problems;
        let told = problems.into_iter().find(|p| p.code == Code::TreeWithoutHarvest).unwrap();
        (told.place, told.what)
    };
    let (place, what) = told(&[("N1", 0), ("N10", 0), ("N9", 1)]);
    assert_eq!(place.file, format!("{}.csv", Table::ALL[1]));
    assert_eq!(place.line, None);
    assert!(
        what.ends_with("2 trees of region 'north' have no pick in any season: 'N9', 'N10'"),
        "{what}"
    );
    assert_eq!((place, what), told(&[("N9", 1), ("N1", 0), ("N10", 0)]));
    let many: Vec<(String, u32)> = (1..9).map(|tree| (format!("N{tree}"), 1)).collect();
    let many: Vec<(&str, u32)> = many.iter().map(|(tree, file)| (tree.as_str(), *file)).collect();
    assert!(told(&many).1.ends_with("'N2', 'N3', 'N4', 'N5', 'N6', .."));
}

/// A whole block in its first bearing seasons has not lost its records.
#[test]
fn blocks_that_begin_to_bear_are_told_apart() {
    let blocks = "block,site,region\nN,estate,north\nM,estate,north\nS,estate,south";
    let trees =
        "tree,block,planted\nN1,N,2010-01-01\nN2,N,2020-06-01\nM1,M,2020-06-01\nM2,M,2020-06-01";
    let linked = small()
        .table(Table::Blocks, blocks)
        .table(Table::Trees, trees)
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,"])
        .linked();
    let told: Vec<_> =
        linked.problems.iter().filter(|p| p.code == Code::TreeWithoutHarvest).collect();
    assert_eq!(told.len(), 2, "{told:?}");
    let begins = "2 trees of region 'north' are in the first bearing seasons";
    let without = "1 tree of region 'north' has no pick in any season";
    for what in [begins, without] {
        assert!(told.iter().any(|problem| problem.what.starts_with(what)), "{what}: {told:?}");
    }
}

/// A slip of the year in a whole month makes a season of its own, and a stale setting advice for one that
/// is over; tins read as kilograms make sites unlike each other.
#[test]
fn seasons_apart_over_or_ahead_and_unlike_sites_are_told() {
    let picks = ["N1,2024-03-01,5,9,", "N1,2025-03-01,5,9,", "N1,2035-03-01,5,9,"];
    let codes = |linked: &Linked| -> Vec<Code> { linked.problems.iter().map(|p| p.code).collect() };
    let linked = small().rows(Table::Harvests, &picks).linked();
    let told: Vec<_> = linked.problems.iter().filter(|p| p.code == Code::SeasonsApart).collect();
    assert_eq!(told.len(), 1);
    assert!(
        told[0].what.contains("2025 and 2035") && told[0].what.contains("10 years"),
        "{told:?}"
    );
    let near = small().rows(Table::Harvests, &picks[..2]).linked();
    assert!(
        !codes(&near).contains(&Code::SeasonsApart) && !codes(&near).contains(&Code::SeasonOver)
    );
    let over = small().rows(Table::Harvests, &picks[..2]).settings("season = 2025\n").linked();
    let told = over.problems.iter().find(|p| p.code == Code::SeasonOver).unwrap();
    assert!(told.remedy.starts_with("set season = 2026"), "{told}");
    let asked = |season: i32| {
        let settings = format!("season = {season}\n");
        small().rows(Table::Harvests, &picks[..2]).settings(&settings).linked()
    };
    assert!(!codes(&asked(2026)).contains(&Code::SeasonAhead));
    let ahead = asked(2027);
    let told = ahead.problems.iter().find(|p| p.code == Code::SeasonAhead).unwrap();
    assert!(told.what.contains("2025") && told.remedy.starts_with("set season = 2026"), "{told}");

    let blocks = "block,site,region\nN,hill,north\nM,dale,north";
    let mut trees = "tree,block".to_owned();
    let unlike = |tins: f64| {
        let mut rows = Vec::new();
        for tree in 1..=20 {
            rows.push(format!("N{tree},2024-03-01,{},9,", 5.0 + 0.1 * f64::from(tree)));
            rows.push(format!("M{tree},2024-03-01,{},9,", (6.0 + 0.1 * f64::from(tree)) / tins));
        }
        rows
    };
    for tree in 1..=20 {
        trees += &format!("\nN{tree},N\nM{tree},M");
    }
    for (tins, suspected) in [(20.0, true), (1.0, false)] {
        let rows = unlike(tins);
        let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        let book = small().table(Table::Blocks, blocks).table(Table::Trees, &trees);
        let linked = book.rows(Table::Harvests, &rows).linked();
        let told = linked.problems.iter().find(|p| p.code == Code::SitesUnlike);
        assert_eq!(told.is_some(), suspected, "{tins}");
        assert!(told.is_none_or(|told| told.what.contains("'hill' bears 6.1 kg")), "{told:?}");
    }
}

/// A file without the zeros that the tree table writes: a setting reads both as one, and is named.
#[test]
fn ids_that_differ_in_zeros_are_sent_to_drop_zeros() {
    let book = small()
        .table(Table::Trees, "tree,block\nN-001,N\nN-002,N\nS-010,B-07")
        .table(Table::Blocks, "block,site,region\nN,estate,north\nB-7,estate,north")
        .rows(
            Table::Harvests,
            &["N-001,2024-03-01,4,9,", "N-2,2024-03-01,4,9,", "M-1,2024-03-01,4,9,"],
        );
    let remedies: Vec<String> = book.link().rejected.into_iter().map(|row| row.remedy).collect();
    let named = |column: &str| {
        let setting = format!("drop_zeros = [\"{column}\"]");
        remedies.iter().filter(|remedy| remedy.contains(&setting)).count()
    };
    assert_eq!((remedies.len(), named("tree"), named("block")), (3, 1, 1), "{remedies:?}");
}
