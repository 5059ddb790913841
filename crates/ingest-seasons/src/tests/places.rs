//! Trees, blocks and regions that do not agree.

use super::{close, left_out, numbers, small, words};
use crate::{LinkError, Reason};
use records::tree_season as ts;
use records::{Code, Severity, Table};

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
