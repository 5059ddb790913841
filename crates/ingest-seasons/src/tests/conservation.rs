//! Random small books, some of it nonsense: no row is lost, and order does not matter.

use super::{Small, link_book, small};
use crate::LinkError;
use polars::prelude::{DataFrame, IdxCa, PlSmallStr};
use proptest::prelude::*;
use records::Table;
use std::collections::BTreeMap;

prop_compose! {
    /// A tree that is known, misspelt, of an unknown block or listed twice.
    fn tree()(choice in 0..8_usize) -> &'static str {
        ["N1", "N2", "S1", "S2", "n1", "L1", "D1", "E1"][choice]
    }
}

prop_compose! {
    /// A day of 2020 to 2024.
    fn day()(year in 2020..2025, month in 1..13, day in 1..29) -> String {
        format!("{year}-{month:02}-{day:02}")
    }
}

prop_compose! {
    fn pick()(tree in tree(), day in day(), kg in 0..900, moisture in proptest::option::of(5..30)) -> String {
        let moisture = moisture.map_or_else(String::new, |m: i32| m.to_string());
        format!("{tree},{day},{}.{:02},{moisture},", kg / 100, kg % 100)
    }
}

prop_compose! {
    fn pruning()(tree in tree(), day in day(), per_cent in 0..101, shoots in any::<bool>()) -> String {
        let basis = if shoots { "shoots" } else { "spread" };
        format!("{tree},{day},{},{basis},", f64::from(per_cent) / 100.0)
    }
}

prop_compose! {
    fn count()(tree in tree(), day in day(), laterals in 0..60) -> String {
        format!("{tree},{day},0.25,{laterals},,{}", ["north", ""][laterals as usize % 2])
    }
}

prop_compose! {
    fn plot()(tree in tree(), trial in 0..2) -> String { format!("T{trial},{tree},1") }
}

fn rows(strategy: impl Strategy<Value = String>) -> impl Strategy<Value = String> {
    proptest::collection::vec(strategy, 0..25).prop_map(|rows| rows.join("\n"))
}

fn book(picks: &str, prunings: &str, counts: &str, plots: &str, one_basis: bool) -> Small {
    let book = small()
        .table(
            Table::Blocks,
            "block,site,region,planted\nN,e,north,2021-03-01\nS,e,south,\nS,e,south,\nU,e,west,\nW,e,north,\nW,f,north,",
        )
        .table(
            Table::Trees,
            "tree,block,planted\nN1,N,\nN2,N,2023-01-01\nS1,S,\nS2,S,\nL1,Q,\nD1,N,\nD1,S,\nE1,W,\nS2,S,",
        )
        .table(Table::Harvests, &format!("tree,date,nut_kg,moisture_pct,nut_count\n{picks}"))
        .table(Table::Prunings, &format!("tree,date,intensity,measured_as,minutes\n{prunings}"))
        .table(Table::Laterals, &format!("tree,date,frame_m2,laterals,flowering_laterals,side\n{counts}"))
        .table(Table::Trials, &format!("trial,tree,replicate\n{plots}"));
    if one_basis {
        book.setting("[options]", "[options]\nonly_measured_as = \"shoots\"")
    } else {
        book
    }
}

/// The rows of every frame in another order.
fn shuffled(frames: &BTreeMap<Table, DataFrame>, step: usize) -> BTreeMap<Table, DataFrame> {
    let shuffle = |frame: &DataFrame| {
        let mut order: Vec<u32> = (0..frame.height() as u32).collect();
        order.sort_by_key(|&row| (row as usize * step) % 101);
        frame.take(&IdxCa::from_vec(PlSmallStr::EMPTY, order)).unwrap()
    };
    frames.iter().map(|(&table, frame)| (table, shuffle(frame))).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_row_is_linked_or_has_a_reason(
        picks in rows(pick()),
        prunings in rows(pruning()),
        counts in rows(count()),
        plots in rows(plot()),
        one_basis in any::<bool>(),
        step in 2..100_usize,
    ) {
        let book = book(&picks, &prunings, &counts, &plots, one_basis);
        let frames = book.frames();
        let result = link_book(&book.book, &frames);
        let other = link_book(&book.book, &shuffled(&frames, step));
        prop_assert_eq!(&result.rejected, &other.rejected);
        let summary = match (&result.linked, &other.linked) {
            (Ok(one), Ok(two)) => {
                prop_assert_eq!(&one.tree_seasons, &two.tree_seasons);
                prop_assert_eq!(&one.practice, &two.practice);
                prop_assert_eq!(&one.problems, &two.problems);
                prop_assert_eq!(&one.summary, &two.summary);
                prop_assert_eq!(&one.frame_counts, &two.frame_counts);
                let frames = one.summary.tables.iter().find(|t| t.table == Table::Laterals);
                prop_assert_eq!(frames.map(|t| t.linked), Some(one.frame_counts.num_rows() as u64));
                one.summary.clone()
            }
            (Err(LinkError::NothingLinked { summary, .. }), Err(_)) => (**summary).clone(),
            (one, _) => return Err(TestCaseError::fail(format!("{:?}", one.as_ref().err()))),
        };
        for (table, frame) in &frames {
            let links = summary.tables.iter().find(|links| links.table == *table).unwrap();
            prop_assert_eq!(links.kept, frame.height() as u64);
            prop_assert!(links.is_conserved(), "{:?}", links);
            let set_aside = result.rejected.iter().filter(|row| row.table == *table).count() as u64;
            let counted: u64 = links.not_linked.iter()
                .filter(|part| matches!(part.reason, crate::Reason::SetAside(_)))
                .map(|part| part.rows).sum();
            prop_assert_eq!(set_aside, counted);
        }
    }
}
