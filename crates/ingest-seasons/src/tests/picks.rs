//! Picks: moisture, sums, seasons of both hemispheres, days that fit no season.

use super::{close, codes, numbers, small, wholes};
use crate::MoistureConversion;
use records::tree_season as ts;
use records::{Code, Table};

#[test]
fn wet_picks_are_brought_to_reference_moisture_and_added() {
    // trade.md section 3: 25 -> 9 % multiplies weight by 0.8242.
    let picks = ["N1,2024-03-01,10,25,", "N1,2024-04-01,2,9,"];
    let linked = small().rows(Table::Harvests, &picks).linked();
    close(numbers(&linked, ts::YIELD_KG)[0], 8.242 + 2.0, 5e-4);
    assert_eq!(wholes(&linked, ts::PICKS), [2]);
    assert_eq!(linked.summary.picks_at_reference_moisture, 0);
}

#[test]
fn a_pick_without_moisture_takes_the_default_else_counts_as_weighed() {
    let book = || small().rows(Table::Harvests, &["N1,2024-03-01,10,,"]);
    let linked = book().linked();
    close(numbers(&linked, ts::YIELD_KG)[0], 10.0, 0.0);
    assert_eq!(linked.summary.picks_at_reference_moisture, 1);
    let linked =
        book().setting("name = \"Small\"", "name = \"Small\"\ndefault_moisture_pct = 25").linked();
    close(numbers(&linked, ts::YIELD_KG)[0], 8.242, 5e-4);
    assert_eq!(linked.summary.picks_at_default_moisture, 1);
}

#[test]
fn a_harvest_across_new_year_is_one_season() {
    // The southern window of trade.md section 4 opens in October 2023.
    let picks = ["S1,2023-12-20,3,9,", "S1,2024-01-20,2,9,", "S1,2024-10-01,1,9,"];
    let linked = small().rows(Table::Harvests, &picks).linked();
    assert_eq!(wholes(&linked, ts::SEASON), [2023, 2024]);
    close(numbers(&linked, ts::YIELD_KG)[0], 5.0, 1e-12);
    close(numbers(&linked, ts::PREVIOUS_YIELD_KG)[1], 5.0, 1e-12);
    assert_eq!(linked.summary.regions[0].next_season, 2025);
}

#[test]
fn nuts_count_only_when_every_pick_counted_them() {
    let picks = [
        "N1,2024-03-01,1,9,200",
        "N1,2024-04-01,1,9,",
        "N2,2024-03-01,1,9,150",
        "N2,2024-03-09,1,9,50",
    ];
    let linked = small().rows(Table::Harvests, &picks).linked();
    assert_eq!(numbers(&linked, ts::NUT_COUNT), [None, Some(200.0)]);
}

#[test]
fn nothing_picked_is_zero_and_not_picked_is_no_row() {
    let picks = ["N1,2023-03-01,4,9,", "N2,2023-03-01,0,9,", "N1,2024-03-01,4,9,"];
    let linked = small().rows(Table::Harvests, &picks).linked();
    assert_eq!(numbers(&linked, ts::YIELD_KG), [Some(4.0), Some(4.0), Some(0.0)]);
    // N2 was not picked in 2024 although its block was.
    assert_eq!(linked.summary.regions[0].without_a_pick, 1);
    assert_eq!(linked.summary.regions[0].seasons, [2023, 2024]);
}

#[test]
fn a_pick_in_no_season_is_set_aside_unless_the_book_allows_grace() {
    let book = small().rows(Table::Harvests, &["N1,2024-03-01,4,9,", "N1,2024-06-20,1,9,"]);
    let result = book.link();
    assert_eq!(result.refusals(), [(Table::Harvests, 3, Code::DateInNoSeason)]);
    let row = &result.rejected[0];
    // From 31 May to 20 June are 20 days.
    assert!(
        row.reason.contains("2024-02-01 to 2024-05-31, is missed by 20 days"),
        "{}",
        row.reason
    );
    assert!(row.remedy.contains("harvest_grace_days"));
    let linked = book.setting("[options]", "[options]\nharvest_grace_days = 20").linked();
    close(numbers(&linked, ts::YIELD_KG)[0], 5.0, 1e-12);
}

#[test]
fn picks_at_both_ends_of_the_window_count() {
    let picks = ["N1,2024-02-01,1,9,", "N1,2024-05-31,1,9,", "N2,2024-01-31,1,9,"];
    let result = small().rows(Table::Harvests, &picks).link();
    assert_eq!(result.refusals(), [(Table::Harvests, 4, Code::DateInNoSeason)]);
    assert_eq!(wholes(&result.linked.unwrap(), ts::PICKS), [2]);
}

#[test]
fn a_pick_whose_id_is_a_known_tree_written_otherwise_makes_its_season_incomplete() {
    let picks = ["N1,2023-03-01,4,9,", "N1,2024-03-01,4,9,", " n-1,2024-04-01,1,9,"];
    let result = small().rows(Table::Harvests, &picks).link();
    assert_eq!(result.refusals(), [(Table::Harvests, 4, Code::TreeUnknown)]);
    let linked = result.linked.unwrap();
    assert_eq!(wholes(&linked, ts::SEASON), [2023]);
    let told = linked.problems.iter().find(|p| p.code == Code::TreeSeasonIncomplete).unwrap();
    assert_eq!(told.place.line, Some(4));
    // Of two trees that an id could mean neither season is whole; one that more could mean, or none, leaves
    // every season as it is.
    let two = "tree,block\nN1,N\nN 1,N";
    let three = "tree,block\nN1,N\nN 1,N\nN_1,N";
    for (trees, id, seasons) in
        [(two, "n-1", vec![2023]), (three, "n-1", vec![2023, 2024]), (two, "X9", vec![2023, 2024])]
    {
        let picks = ["N1,2023-03-01,4,9,", "N1,2024-03-01,4,9,"].map(str::to_owned);
        let picks = [&picks[..], &[format!("{id},2024-04-01,1,9,")]].concat();
        let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
        let result = small().table(Table::Trees, trees).rows(Table::Harvests, &picks).link();
        assert_eq!(wholes(&result.linked.unwrap(), ts::SEASON), seasons, "{id}");
    }
}

/// A pick outside every window is of some season; the rest of that season is not its crop.
#[test]
fn a_pick_in_no_season_makes_the_nearest_incomplete() {
    let of = |day: &str| {
        let picks = ["N1,2023-03-01,4,9,", "N1,2024-03-01,4,9,"];
        let late = format!("N1,{day},1,9,");
        let linked =
            small().rows(Table::Harvests, &[picks[0], picks[1], &late]).link().linked.unwrap();
        let told = linked.problems.iter().filter(|p| p.code == Code::TreeSeasonIncomplete).count();
        (wholes(&linked, ts::SEASON), told)
    };
    // 20 days after the window of 2024; and a slip of the month, which leaves the year.
    assert_eq!(of("2024-06-20"), (vec![2023], 1));
    assert_eq!(of("2023-09-12"), (vec![2024], 1));
    // 29 days before the window of 2024.
    assert_eq!(of("2024-01-03"), (vec![2023], 1));
    // Near a window of which nothing else is: a slip of the month is the likelier, and leaves the year.
    assert_eq!(of("2024-12-25"), (vec![2023], 1));
    assert_eq!(of("2023-12-25"), (vec![2023], 1));
    // Where the window crosses New Year the middle of the year may be of either season that it holds
    // parts of: neither is known to be whole.
    let picks = ["S1,2022-11-01,4,9,", "S1,2023-11-01,4,9,", "S1,2024-05-15,4,9,"];
    let linked = small().rows(Table::Harvests, &picks).link().linked.unwrap();
    assert_eq!(wholes(&linked, ts::SEASON), [2022]);
    let told = linked.problems.iter().find(|p| p.code == Code::TreeSeasonIncomplete).unwrap();
    assert!(told.what.starts_with("1 tree-season with a row set aside"), "{}", told.what);
}

/// One mistyped year makes no season, and no last season, of its own.
#[test]
fn a_season_of_a_handful_of_trees_is_taken_for_a_slip() {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for tree in 0..40 {
        trees.push_str(&format!("\nT{tree},N"));
        picks.push(format!("T{tree},2023-03-01,4,9,"));
        picks.push(format!("T{tree},2024-03-01,4,9,"));
    }
    picks.push("T7,2042-03-01,2,9,".to_owned());
    let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
    let book = small().table(Table::Trees, &trees).rows(Table::Harvests, &picks);
    let result = book.link();
    assert_eq!(result.refusals(), [(Table::Harvests, 82, Code::SeasonStray)]);
    let linked = result.linked.unwrap();
    assert_eq!(linked.summary.regions[0].next_season, 2025);
    assert_eq!(linked.summary.regions[0].seasons, [2023, 2024]);
    // Two of forty are a twentieth, and count; so does any season where the book says so.
    let result = book.setting("[options]", "[options]\nleast_season_pct = 0").linked();
    assert_eq!(result.summary.regions[0].seasons, [2023, 2024, 2042]);
}

/// A year that is written once for many rows, as `fill_down` reads it, makes a last season of a round.
#[test]
fn a_thin_last_season_years_after_the_others_is_taken_for_a_slip() {
    let book = |trees: u32, year: i32| {
        let mut listed = "tree,block".to_owned();
        let mut picks = Vec::new();
        for tree in 0..40 {
            listed.push_str(&format!("\nT{tree},N"));
            for season in 2022..=2024 {
                picks.push(format!("T{tree},{season}-03-01,4,9,"));
                let written = if season == 2024 && tree < trees { year } else { season };
                picks.push(format!("T{tree},{written}-04-01,4,9,"));
            }
        }
        let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
        small().table(Table::Trees, &listed).rows(Table::Harvests, &picks)
    };
    let result = book(18, 2034).link();
    assert_eq!(result.rejected.len(), 18);
    assert!(result.rejected.iter().all(|row| row.code == Code::SeasonStray));
    let why = &result.rejected[0].reason;
    assert!(
        why.contains("comes 10 years after every other and has 18 picks of 18 trees, where 80 of 40 are usual"),
        "{why}"
    );
    let linked = result.linked.unwrap();
    assert_eq!(linked.summary.regions[0].next_season, 2025);
    let told = linked.problems.iter().filter(|p| p.code == Code::TreeSeasonIncomplete).count();
    assert_eq!(told, 1);
    // All trees, once instead of twice, are half a harvest, which counts; so does a season two years after,
    // and any where the book says so.
    for (trees, year) in [(40, 2034), (18, 2026)] {
        let linked = book(trees, year).linked();
        assert_eq!(linked.summary.regions[0].seasons, [2022, 2023, 2024, year], "{trees} {year}");
    }
    let kept = book(18, 2034).setting("[options]", "[options]\nleast_season_pct = 0").linked();
    assert_eq!(kept.summary.regions[0].next_season, 2035);
}

#[test]
fn picks_without_the_moisture_that_others_have_are_told() {
    let told = |picks: &[&str], setting: &str| {
        let book = small().rows(Table::Harvests, picks).setting("name = \"Small\"", setting);
        let linked = book.linked();
        linked.problems.iter().filter(|p| p.code == Code::MoistureMissing).count()
    };
    let some = ["N1,2024-03-01,4,12,", "N2,2024-03-01,4,,"];
    assert_eq!(told(&some, "name = \"Small\""), 1);
    assert_eq!(told(&some, "name = \"Small\"\ndefault_moisture_pct = 12"), 0);
    assert_eq!(told(&["N1,2024-03-01,4,,", "N2,2024-03-01,4,,"], "name = \"Small\""), 0);
}

#[test]
fn picks_brought_to_the_reference_moisture_are_counted() {
    let of = |picks: &[&str]| small().rows(Table::Harvests, picks).linked().summary.moisture;
    assert_eq!(of(&["N1,2024-03-01,4,9,", "N2,2024-03-01,4,,"]), None);
    let picks = ["N1,2024-03-01,4,24.5,", "N1,2024-03-09,4,9,", "N2,2024-03-01,4,7,"];
    let expected = MoistureConversion { picks: 2, from_pct: [7.0, 24.5], to_pct: 9.0 };
    assert_eq!(of(&picks), Some(expected));
}

/// Of two full seasons only the rows around it show that a pick's year is a slip.
#[test]
fn picks_of_another_season_between_many_of_one_are_told() {
    let mut trees = "tree,block".to_owned();
    let (mut first, mut second) = (Vec::new(), Vec::new());
    for tree in 10..50 {
        trees.push_str(&format!("\nT{tree},N"));
        first.push(format!("T{tree},2023-03-01,4,9,"));
        second.push(format!("T{tree},2024-03-01,4,9,"));
    }
    let told = |picks: &[String]| {
        let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
        let linked = small()
            .table(Table::Trees, &trees)
            .rows(Table::Harvests, &picks)
            .link()
            .linked
            .unwrap();
        let told = linked.problems.into_iter().filter(|p| p.code == Code::SeasonStray);
        told.map(|p| (p.place.line, p.what)).collect::<Vec<_>>()
    };
    let by_day: Vec<String> = first.iter().chain(&second).cloned().collect();
    assert_eq!(told(&by_day), []);
    let by_tree: Vec<String> =
        first.iter().zip(&second).flat_map(|(a, b)| [a.clone(), b.clone()]).collect();
    assert_eq!(told(&by_tree), []);
    let mut slips = by_day;
    slips[19] = slips[19].replace("2023", "2024");
    slips[60] = slips[60].replace("2024", "2023");
    let found = told(&slips);
    assert_eq!(found.iter().map(|(line, _)| *line).collect::<Vec<_>>(), [Some(21), Some(62)]);
    assert!(found[0].1.starts_with("1 pick of season 2024 among picks of season 2023"));
    // A round of four.
    let mut round: Vec<String> = first.iter().chain(&second).cloned().collect();
    for pick in &mut round[18..22] {
        *pick = pick.replace("2023", "2024");
    }
    let found = told(&round);
    assert!(found[0].1.starts_with("4 picks of season 2024"), "{found:?}");
    // Ten rows between as many again may well be another season.
    let blocks = [&first[..20], &second[..10], &first[20..], &second[10..]].concat();
    assert_eq!(told(&blocks), []);
}

/// A year typed as the last one at the turn of the year takes a whole round into a season that is full.
#[test]
fn a_whole_round_with_the_year_before_is_told() {
    let mut trees = "tree,block".to_owned();
    for tree in 10..40 {
        trees.push_str(&format!("\nT{tree},N"));
    }
    let round = |year: i32, month: i32| -> Vec<String> {
        (10..40).map(|tree| format!("T{tree},{year}-0{month}-11,1,9,")).collect()
    };
    let told = |picks: &[String]| {
        let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
        let book = small().table(Table::Trees, &trees).rows(Table::Harvests, &picks);
        let told = book.link().linked.unwrap().problems.into_iter();
        let told = told.filter(|p| p.code == Code::SeasonStray);
        told.map(|p| (p.place.line, p.what)).collect::<Vec<_>>()
    };
    let seasons = |slip: i32| -> Vec<Vec<String>> {
        [2022, 2023, 2024]
            .into_iter()
            .flat_map(|year| [2, 3, 4].map(|month| (year, month)))
            .map(|(year, month)| round(year - i32::from((year, month) == (2024, 2)) * slip, month))
            .collect()
    };
    let said =
        "30 picks of season 2023 among picks of season 2024 in this file: a slip of the year?";
    // By day and by tree; nothing is told of what is in order, or was never put in one.
    assert_eq!(told(&seasons(0).concat()), []);
    assert_eq!(told(&seasons(1).concat()), [(Some(182), said.to_owned())]);
    let by_tree = |slip| -> Vec<String> {
        (0..30)
            .flat_map(|tree| seasons(slip).into_iter().map(move |day| day[tree].clone()))
            .collect()
    };
    assert_eq!(told(&by_tree(0)), []);
    assert_eq!(told(&by_tree(1)), [(Some(8), said.to_owned())]);
    let months: Vec<String> = [2, 3, 4]
        .into_iter()
        .flat_map(|month| [2022, 2023, 2024].map(|year| round(year, month)))
        .flatten()
        .collect();
    assert_eq!(told(&months), []);
}

/// In a file of one season a slip shows on its first and last lines too.
#[test]
fn a_few_rows_of_another_season_are_odd_in_a_file_of_one() {
    let file = |seasons: &[i32]| -> Vec<((u32, u32), i32)> {
        (2..).zip(seasons).map(|(line, season)| ((0, line), *season)).collect()
    };
    let lines = |seasons: &[i32]| -> Vec<u32> {
        let file = file(seasons);
        crate::picks::odd_runs(&file).iter().map(|(_, run)| run[0].0.1).collect()
    };
    let mut seasons = vec![2024; 30];
    seasons[0] = 2023;
    seasons[29] = 2025;
    assert_eq!(lines(&seasons), [2, 31]);
    // Of ten rows in thirty none is the odd one.
    assert!(lines(&[vec![2023; 10], vec![2024; 20]].concat()).is_empty());
}

/// A month's file named with the next year makes a season of one pick a tree.
#[test]
fn a_season_of_few_picks_a_tree_is_told() {
    let mut trees = "tree,block".to_owned();
    let mut picks = Vec::new();
    for tree in 10..40 {
        trees.push_str(&format!("\nT{tree},N"));
        for year in 2021..2024 {
            for month in 2..=5 {
                let missing = year == 2023 && month > 3;
                if !missing {
                    picks.push(format!("T{tree},{year}-0{month}-11,1,9,"));
                }
            }
        }
    }
    let told = |picks: &[String]| {
        let picks: Vec<&str> = picks.iter().map(String::as_str).collect();
        let book = small().table(Table::Trees, &trees).rows(Table::Harvests, &picks);
        let told = book.link().linked.unwrap().problems.into_iter();
        let told = told.filter(|p| p.code == Code::SeasonThin);
        told.map(|p| (p.place.line, p.what)).collect::<Vec<_>>()
    };
    let found = told(&picks);
    assert_eq!((found.len(), found[0].0), (1, Some(10)), "{found:?}");
    assert!(found[0].1.contains("season 2023 has 2 picks (median), where 4 are usual"));
    picks.retain(|pick| !pick.contains(",2023-03"));
    assert!(told(&picks)[0].1.contains("has 1 pick (median)"));
    picks.retain(|pick| !pick.contains(",2021-"));
    assert_eq!(told(&picks), [], "of two seasons neither is the usual one");
}

/// A file in order of days: the last round of a harvest that crosses New Year stands between rounds of a region
/// whose harvest has begun, and is of the year before, as it should be.
#[test]
fn regions_picked_at_other_times_are_no_neighbours() {
    let mut trees = "tree,block\nS1,S\nS2,S".to_owned();
    let (mut early, mut late) = (Vec::new(), Vec::new());
    for tree in 0..12 {
        trees.push_str(&format!("\nN{tree},N"));
        early.push(format!("N{tree},2025-01-10,4,9,"));
        late.push(format!("N{tree},2025-01-20,4,9,"));
    }
    let between = ["S1,2025-01-15,3,9,".to_owned(), "S2,2025-01-15,3,9,".to_owned()];
    let all: Vec<String> = early.into_iter().chain(between).chain(late).collect();
    let linked = small()
        .setting("harvest = [\"02-01\", \"05-31\"]", "harvest = [\"01-01\", \"05-31\"]")
        .table(Table::Trees, &trees)
        .rows(Table::Harvests, &[&all.join("\n")])
        .linked();
    assert!(!codes(&linked).contains(&Code::SeasonStray), "{:?}", linked.problems);
}

/// Forty picks of nuts of 5.5 to 6.5 g, and one tree's ten times too heavy, or all its nuts counted twice.
#[test]
fn a_weight_that_does_not_go_with_its_number_of_nuts_is_told() {
    let told = |kg: &str, nuts: u32| {
        let mut trees = "tree,block\nN1,N".to_owned();
        let mut picks = vec![format!("N1,2024-03-01,{kg},9,{nuts}")];
        for tree in 0..40 {
            trees.push_str(&format!("\nT{tree},N"));
            let nuts = 500 + 10 * tree;
            let kg = f64::from(nuts) * (5.5 + f64::from(tree % 11) / 10.0) / 1000.0;
            picks.push(format!("T{tree},2024-03-01,{kg:.3},9,{nuts}"));
        }
        let linked = small()
            .table(Table::Trees, &trees)
            .rows(Table::Harvests, &[&picks.join("\n")])
            .linked();
        let odd = linked.problems.iter().filter(|problem| problem.code == Code::RangeUnusual);
        odd.map(|problem| (problem.place.to_string(), problem.what.clone())).collect::<Vec<_>>()
    };
    let found = told("35.9", 598);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, "harvests.csv:2");
    assert!(found[0].1.contains("here first: 60.0 g a nut, where 6.0 g is usual"), "{found:?}");
    assert_eq!(told("0.359", 598).len(), 1);
    assert_eq!([told("3.59", 598).len(), told("3.59", 1196).len(), told("0", 0).len()], [0; 3]);
}
