//! Visits of a season that has files of its own, in a file of another.

use super::{Small, link_book, small};
use polars::prelude::Column;
use records::{Code, Table};

const TREES: usize = 40;

/// A row of a visit without its tree, and the file it is in.
type Row = (u32, String);

/// Line and sentence of what is told of odd seasons where the rows of a table stand in several files.
fn told(book: Small, table: Table, rows: &[Row]) -> Vec<(Option<u64>, String)> {
    let lines: Vec<&str> = rows.iter().map(|(_, row)| row.as_str()).collect();
    let book = book.rows(table, &lines);
    let mut frames = book.frames();
    // Files of no other table.
    let files: Vec<u32> = rows.iter().map(|(file, _)| 100 + file).collect();
    frames.get_mut(&table).unwrap().with_column(Column::new(".file".into(), files)).unwrap();
    let result = link_book(&book.book, &frames);
    let odd = [Code::SeasonStray, Code::PruningTwice];
    let problems = result.linked.unwrap().problems.into_iter();
    problems.filter(|p| odd.contains(&p.code)).map(|p| (p.place.line, p.what)).collect()
}

fn orchard(block: &str) -> Small {
    let rows = (0..TREES).map(|tree| format!("\nT{tree},{block}"));
    small().table(Table::Trees, &format!("tree,block{}", rows.collect::<String>()))
}

/// A file for each month of three harvests; the trees `slips` of February 2024 bear the year before.
fn by_month(slips: std::ops::Range<usize>) -> Vec<Row> {
    let mut rows = Vec::new();
    let months = (2022..=2024).flat_map(|year| (2..=4).map(move |month| (year, month)));
    for (file, (year, month)) in (0..).zip(months) {
        for tree in 0..TREES {
            let is_slip = (year, month) == (2024, 2) && slips.contains(&tree);
            let written = year - i32::from(is_slip);
            // Block by block on two days.
            let day = 11 + 4 * (tree / 25);
            rows.push((file, format!("T{tree},{written}-0{month}-{day},2,9,")));
        }
    }
    rows
}

#[test]
fn picks_of_the_year_before_in_the_file_of_a_month_are_told() {
    let picks = |slips| told(orchard("N"), Table::Harvests, &by_month(slips));
    assert_eq!(picks(0..0), []);
    let said = |number, line| {
        let said = format!(
            "{number} picks of season 2023 among picks of season 2024 in this file: a slip of the year?"
        );
        vec![(Some(line), said)]
    };
    // Line 242 is the first of the file: within it, at its end, at its beginning.
    assert_eq!(picks(12..20), said(8, 254));
    assert_eq!(picks(30..40), said(10, 272));
    assert_eq!(picks(0..10), said(10, 242));
    assert_eq!(picks(0..13), said(13, 242));
}

/// Half a file is of neither season, and nothing says which half is wrong.
#[test]
fn half_a_file_is_no_slip_of_the_other() {
    assert_eq!(told(orchard("N"), Table::Harvests, &by_month(0..20)), []);
}

/// Files of calendar years hold the end of one harvest and the beginning of the next.
#[test]
fn a_harvest_across_new_year_in_files_of_calendar_years_is_in_order() {
    let picks = |last_first: bool| -> Vec<Row> {
        let mut rows = Vec::new();
        for (file, year) in (0..).zip(2021..=2024) {
            let january: Vec<Row> =
                (0..10).map(|tree| (file, format!("T{tree},{year}-01-09,1,9,"))).collect();
            let main = ["10-20", "11-25", "12-22"];
            let main = main.into_iter().flat_map(|day| {
                (0..TREES).map(move |tree| (file, format!("T{tree},{year}-{day},2,9,")))
            });
            if last_first && year == 2023 {
                rows.extend(main.chain(january));
            } else {
                rows.extend(january.into_iter().chain(main));
            }
        }
        rows
    };
    assert_eq!(told(orchard("S"), Table::Harvests, &picks(false)), []);
    // January after December of one year is January of the next, written with the year before.
    let found = told(orchard("S"), Table::Harvests, &picks(true));
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].1.starts_with("10 picks of season 2022 among picks of season 2023"));
}

/// A file for each block: one of them was picked from few trees in its first season, as it was young.
#[test]
fn files_of_blocks_with_several_seasons_are_told_nothing() {
    let trees = (0..4 * TREES).map(|tree| format!("\nT{tree},B{}", tree / TREES));
    let trees = format!("tree,block{}", trees.collect::<String>());
    let blocks = (0..4).map(|block| format!("\nB{block},estate,north")).collect::<String>();
    let book = small()
        .table(Table::Trees, &trees)
        .table(Table::Blocks, &format!("block,site,region{blocks}"));
    let mut rows = Vec::new();
    for file in 0..4 {
        for year in 2022..=2024 {
            let young = file == 3 && year < 2024;
            let count = if young { 5 } else { TREES };
            let own = (0..count).map(|tree| tree + file * TREES);
            rows.extend(own.map(|tree| (file as u32, format!("T{tree},{year}-03-11,2,9,"))));
        }
    }
    assert_eq!(told(book, Table::Harvests, &rows), []);
}

/// The last rows of a season's sheet of prunings bear the year of the season before.
#[test]
fn prunings_of_the_year_before_at_the_end_of_a_sheet_are_told() {
    let prunings = |slips: usize| -> Vec<Row> {
        let mut rows = Vec::new();
        for (file, year) in (0..).zip(2021..=2023) {
            // Two thirds of the trees each year, a few a day.
            let own: Vec<usize> =
                (0..3 * TREES).filter(|tree| tree % 3 != (year - 2021) as usize).collect();
            for (at, tree) in own.iter().enumerate() {
                let is_slip = year == 2023 && at + slips >= own.len();
                let day = 1 + at / 4;
                let written = year - i32::from(is_slip);
                rows.push((file, format!("T{tree},{written}-07-{day:02},0.2,shoots,")));
            }
        }
        rows
    };
    let book = || {
        let trees = (0..3 * TREES).map(|tree| format!("\nT{tree},N")).collect::<String>();
        let picks: Vec<String> = (2022..=2024)
            .flat_map(|year| (0..3 * TREES).map(move |tree| format!("T{tree},{year}-03-01,4,9,")))
            .collect();
        let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
        small().table(Table::Trees, &format!("tree,block{trees}")).rows(Table::Harvests, &picks)
    };
    assert_eq!(told(book(), Table::Prunings, &prunings(0)), []);
    let found = told(book(), Table::Prunings, &prunings(16));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, Some(226));
    assert!(
        found[0].1.starts_with("16 prunings before harvest 2023 among those before harvest 2024"),
        "{found:?}"
    );
}
