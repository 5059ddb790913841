//! One bad row: it is named, kept word for word in quarantine.csv, and costs no other row.

use crate::support::{Book, Ran, anacurve};
use serde_json::Value;

/// Asserts that exactly one row was set aside, and is found everywhere it should be.
fn one_set_aside(book: &Book, file: &str, line: usize, column: Option<u32>, code: &str, row: &str) {
    let cell = column.map_or_else(String::new, |column| column.to_string());
    let place = match column {
        Some(column) => format!("{file}:{line}:{column}"),
        None => format!("{file}:{line}"),
    };
    book.check().finds(&place, code);

    let (ran, json, csv) = book.check_json();
    assert_eq!((ran.code, ran.stderr.as_str()), (1, ""));
    conserved(&json);
    let rows = json["quarantine"].as_array().unwrap();
    assert_eq!(rows.len(), 1, "{rows:?}");
    assert_eq!(rows[0]["file"], file);
    assert_eq!(rows[0]["line"], line);
    assert_eq!(rows[0]["column"], serde_json::json!(column));
    assert_eq!(rows[0]["code"], code);
    assert_eq!(rows[0]["text"], row);

    let quoted = format!("\"{}\"", row.replace('"', "\"\""));
    let kept = csv.lines().nth(1).unwrap_or_default();
    assert!(kept.starts_with(&format!("{file},{line},{cell},{code},")), "{csv}");
    assert!(without_inputs(&csv).ends_with(&quoted), "{csv}");
}

/// A quarantine without the last cell of its last row, the fingerprint of the inputs.
fn without_inputs(csv: &str) -> &str {
    csv.trim_end().rsplit_once(',').map_or(csv, |(own, _)| own)
}

/// Rows read = rows kept + rows set aside, file by file, and as many in the quarantine.
fn conserved(json: &Value) {
    let mut set_aside = 0;
    for file in json["files"].as_array().unwrap() {
        let count = |name: &str| file[name].as_u64().unwrap();
        assert_eq!(count("rows_read"), count("rows_kept") + count("rows_quarantined"), "{file}");
        set_aside += count("rows_quarantined");
    }
    assert_eq!(json["quarantine"].as_array().unwrap().len() as u64, set_aside);
}

fn spoilt_harvest(row: &str, column: Option<u32>, code: &str) {
    let book = Book::tidy();
    let line = book.append("harvests.csv", row);
    assert_eq!(line, 38);
    one_set_aside(&book, "harvests.csv", line, column, code, row);
}

#[test]
fn a_tidy_book_has_no_findings() {
    let (ran, json, csv) = Book::tidy().check_json();
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{}", ran.stdout);
    conserved(&json);
    let read: Vec<u64> = json["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|file| file["rows_read"].as_u64().unwrap())
        .collect();
    // Blocks, trees, prunings and harvests as written.
    assert_eq!(read, [2, 12, 36, 36]);
    assert_eq!(json["problems"], serde_json::json!([]));
    assert_eq!(csv, "file,line,column,code,reason,remedy,text,inputs_fingerprint\n");
}

/// What was weighed at other moistures is told with the repairs.
#[test]
fn picks_weighed_at_other_moistures() {
    let book = Book::tidy();
    assert!(!book.check().stdout.contains("moisture"));
    let picks = book.text("harvests.csv");
    let moist = picks.lines().enumerate().map(|(line, row)| match line {
        0 => format!("{row},moisture_pct\n"),
        1 => format!("{row},12.5\n"),
        2 => format!("{row},9\n"),
        _ => format!("{row},20\n"),
    });
    book.put("harvests.csv", moist.collect::<String>());
    let ran = book.check();
    let told = "weights of 35 picks converted from 12.5 to 20 % moisture to 9 %";
    assert!(ran.stdout.contains(told), "{}", ran.stdout);
    let (_, json, _) = book.check_json();
    assert_eq!(json["linked"]["moisture"]["picks"], 35);
}

#[test]
fn an_unknown_tree() {
    spoilt_harvest("T99,2024-03-01,5.5", Some(1), "tree-unknown");
}

#[test]
fn a_harvest_before_planting() {
    spoilt_harvest("T01,2003-03-01,5.5", Some(2), "before-planting");
}

#[test]
fn a_date_in_no_season() {
    spoilt_harvest("T01,2024-07-15,5.5", Some(2), "date-in-no-season");
}

#[test]
fn dates_that_are_none() {
    spoilt_harvest("T01,2024-02-30,5.5", Some(2), "date-unreadable");
    spoilt_harvest("T01,03/04/2024,5.5", Some(2), "date-ambiguous");
}

#[test]
fn a_negative_weight() {
    spoilt_harvest("T01,2024-03-30,-5.5", Some(3), "range-impossible");
}

#[test]
fn weights_no_tree_can_bear() {
    spoilt_harvest("T01,2024-03-30,999999", Some(3), "range-impossible");
    spoilt_harvest("T01,2024-03-30,5500", Some(3), "unit-suspect");
    spoilt_harvest("T01,2024-03-30,inf", Some(3), "number-unreadable");
}

#[test]
fn a_duplicate_pick() {
    let row = Book::tidy().text("harvests.csv").lines().nth(1).unwrap().to_owned();
    spoilt_harvest(&row, Some(1), "row-duplicate");
}

#[test]
fn ragged_rows() {
    spoilt_harvest("T01,2024-03-30", None, "row-ragged");
    spoilt_harvest("T01,2024-03-30,5.5,6.5", Some(4), "row-ragged");
    spoilt_harvest("T01,\"2024-03-30,5.5", None, "row-ragged");
}

#[test]
fn nul_bytes() {
    spoilt_harvest("T01,2024-\0\u{0}03-30,5.5", Some(2), "row-nul");
}

#[test]
fn a_row_that_a_spreadsheet_would_run() {
    // The row keeps its text behind a single quote, which disarms it.
    let book = Book::tidy();
    let line = book.append("harvests.csv", "=HYPERLINK(1),2024-03-30,5.5");
    book.check().finds(&format!("harvests.csv:{line}:1"), "tree-unknown");
    let (_, json, csv) = book.check_json();
    conserved(&json);
    assert!(without_inputs(&csv).ends_with(",\"'=HYPERLINK(1),2024-03-30,5.5\""), "{csv}");
}

#[test]
fn another_type_half_way_down() {
    let book = Book::tidy();
    let row = "T08,2023-03-18,about five";
    book.spoil("harvests.csv", 20, row);
    one_set_aside(&book, "harvests.csv", 20, Some(3), "number-unreadable", row);
}

#[test]
fn another_type_half_way_down_a_sheet() {
    let book = Book::tidy();
    let text = book.text("harvests.csv");
    let mut workbook = rust_xlsxwriter::Workbook::new();
    let sheet = workbook.add_worksheet();
    for (row, line) in (0_u32..).zip(text.lines()) {
        for (column, cell) in (0_u16..).zip(line.split(',')) {
            match cell.parse::<f64>() {
                Ok(_) if row == 19 => sheet.write(row, column, "about five").unwrap(),
                Ok(number) => sheet.write(row, column, number).unwrap(),
                Err(_) => sheet.write(row, column, cell).unwrap(),
            };
        }
    }
    workbook.save(book.file("harvests.xlsx")).unwrap();
    book.remove("harvests.csv");
    let row = text.lines().nth(19).unwrap().rsplit_once(',').unwrap().0.replace(',', "\t");
    let row = format!("{row}\tabout five");
    let (ran, json, csv) = book.check_json();
    assert_eq!(ran.code, 1);
    conserved(&json);
    let set_aside = &json["quarantine"][0];
    assert_eq!(set_aside["text"], row);
    assert!(without_inputs(&csv).ends_with(&row), "{csv}");
    let file = set_aside["file"].as_str().unwrap();
    assert!(file.starts_with("harvests.xlsx#"), "{file}");
    book.check().finds(&format!("{file}:20:3"), "number-unreadable");
}

#[test]
fn a_tree_in_two_blocks() {
    let book = Book::tidy();
    let line = book.append("trees.csv", "T01,B1");
    // Which row is right cannot be known: both go, and with them the tree's three prunings and picks.
    book.check()
        .finds("trees.csv:2:1", "tree-in-two-blocks")
        .finds(&format!("trees.csv:{line}:1"), "tree-in-two-blocks")
        .finds("prunings.csv:2:1", "tree-unknown")
        .finds("harvests.csv:2:1", "tree-unknown");
    let (_, json, _) = book.check_json();
    conserved(&json);
    let rows = json["quarantine"].as_array().unwrap();
    let of = |code: &str| rows.iter().filter(|row| row["code"] == code).collect::<Vec<_>>();
    let trees = of("tree-in-two-blocks");
    assert_eq!((trees.len(), of("tree-unknown").len(), rows.len()), (2, 6, 8));
    assert_eq!((&trees[0]["text"], &trees[1]["text"]), (&"T01,B2".into(), &"T01,B1".into()));
    let reason = trees[0]["reason"].as_str().unwrap();
    assert!(reason.contains("block 'B2' (trees.csv:2)"), "{reason}");
    assert!(reason.contains(&format!("block 'B1' (trees.csv:{line})")), "{reason}");
}

#[test]
fn a_tree_listed_twice_in_its_block() {
    let book = Book::tidy();
    let line = book.append("trees.csv", "T01,B2");
    one_set_aside(&book, "trees.csv", line, Some(1), "row-duplicate", "T01,B2");
}

/// Neither row is guessed to be right, and the age of the tree goes with its planting date.
#[test]
fn a_tree_listed_twice_with_other_values() {
    let book = Book::tidy();
    book.replace(
        "trees.csv",
        "tree,block\nT01,B2\nT02,B1",
        "tree,block,planted\nT01,B2,2009\nT02,B1,",
    );
    let rows = book.text("trees.csv");
    let whole: Vec<String> = rows
        .lines()
        .map(|row| if row.matches(',').count() < 2 { format!("{row},") } else { row.to_owned() })
        .collect();
    book.put("trees.csv", whole.join("\n") + "\n");
    let line = book.append("trees.csv", "T01,B2,2018");
    one_set_aside(&book, "trees.csv", line, Some(3), "row-duplicate", "T01,B2,2018");
    let ran = book.check();
    let told = "trees.csv:2, with other values: planted is 2009-01-01 there and 2018-01-01 here";
    assert!(ran.stdout.contains(told), "{}", ran.stdout);
}

/// A file in another order of day and month than declared is told once, with what to write.
#[test]
fn dates_in_another_order_than_declared() {
    let book = Book::tidy();
    let day_first = book.text("prunings.csv");
    let day_first = day_first.lines().map(|row| {
        let cells: Vec<&str> = row.splitn(3, ',').collect();
        match cells[1].split('-').collect::<Vec<_>>()[..] {
            [year, month, day] => format!("{},{day}/{month}/{year},{}\n", cells[0], cells[2]),
            _ => format!("{row}\n"),
        }
    });
    book.put("prunings.csv", day_first.collect::<String>());
    for declared in ["", "dates = \"month_first\"\n"] {
        let settings = format!("name = \"Small Book\"\n{declared}");
        book.replace("book.toml", "name = \"Small Book\"\n", &settings);
        let ran = book.check();
        let told = "prunings.csv:4:2: date: 30 values can be read with dates = \"day_first\" alone";
        let hint =
            "write dates = \"day_first\" under [[files.prunings]] of path = \"prunings.csv\"";
        let all = format!("{}{}", ran.stdout, ran.stderr);
        assert_eq!(all.matches("[date-order]").count(), 1, "{declared}: {all}");
        assert!(all.contains(told) && all.contains(hint), "{declared}: {all}");
        // Where nothing can be linked for it, it stands before the rows.
        let row = ran.stderr.find("[date-ambiguous]");
        assert!(row.is_none() || ran.stderr.find(told) < row, "{all}");
    }
    let end = "\n[[files.prunings]]\npath = \"prunings.csv\"\ndates = \"day_first\"\n";
    book.put("book.toml", book.text("book.toml") + end);
    let ran = book.check();
    assert_eq!(ran.code, 0, "{}", ran.stdout);
}

#[test]
fn a_block_at_two_sites() {
    let book = Book::tidy();
    let line = book.append("blocks.csv", "B1,Other farm,plain,8,8,2008");
    book.check()
        .finds("blocks.csv:2:1", "row-duplicate")
        .finds(&format!("blocks.csv:{line}:1"), "row-duplicate")
        .finds("trees.csv:3:2", "block-unknown");
    conserved(&book.check_json().1);
}

#[test]
fn a_tree_in_an_unknown_block() {
    let book = Book::tidy();
    let line = book.append("trees.csv", "T13,B7");
    one_set_aside(&book, "trees.csv", line, Some(2), "block-unknown", "T13,B7");
}

#[test]
fn a_block_in_an_unknown_region() {
    let book = Book::tidy();
    let line = book.append("blocks.csv", "B3,Farm,hills,8,8,2010");
    let row = "B3,Farm,hills,8,8,2010";
    one_set_aside(&book, "blocks.csv", line, Some(3), "region-unknown", row);
}

#[test]
fn an_intensity_below_zero_or_over_one() {
    for (value, code) in
        [("-0.2", "range-impossible"), ("1.5", "unit-suspect"), ("35", "unit-suspect")]
    {
        let book = Book::tidy();
        let row = format!("T01,2023-07-30,{value},canopy_fraction");
        let line = book.append("prunings.csv", &row);
        one_set_aside(&book, "prunings.csv", line, Some(3), code, &row);
    }
}

#[test]
fn more_shoots_cut_than_there_were() {
    let book = Book::tidy();
    // 0.3,canopy_fraction becomes 3 shoots cut of 10.
    let text = book.text("prunings.csv").replace(",0.", ",").replace("canopy_fraction", "10");
    book.put("prunings.csv", text.replace("intensity,measured_as", "shoots_cut,shoots_total"));
    assert_eq!(book.check().code, 0);
    let row = "T01,2023-07-30,50,40";
    let line = book.append("prunings.csv", row);
    one_set_aside(&book, "prunings.csv", line, Some(3), "intensity-unreadable", row);
}

#[test]
fn a_pruning_after_the_flush_is_kept_and_named() {
    let book = Book::tidy();
    let line = book.append("prunings.csv", "T01,2023-10-15,0.2,canopy_fraction");
    let place = format!("prunings.csv:{line}:2");
    let ran = book.check();
    ran.finds(&place, "pruned-after-flush");
    assert!(ran.stdout.contains(&format!("{place}: 1 pruning in region")), "{}", ran.stdout);
    let (_, json, csv) = book.check_json();
    conserved(&json);
    assert_eq!(csv.lines().count(), 1, "{csv}");
}

/// The first pruning of T01 waits for a harvest in 2022 that the book does not hold.
#[test]
fn a_pruning_without_its_harvest_is_kept_and_named() {
    let book = Book::tidy();
    let line = book.append("prunings.csv", "T01,2020-07-15,0.2,canopy_fraction");
    let place = format!("prunings.csv:{line}:2");
    let ran = book.check();
    ran.finds(&place, "pruning-without-harvest");
    assert!(ran.stdout.contains(&format!("{place}: 1 pruning in region")), "{}", ran.stdout);
}

/// The column of the date is where the file has it, not where the schema has it.
#[test]
fn a_late_pruning_is_named_by_the_column_of_its_file() {
    let book = Book::tidy();
    let moved = book.text("prunings.csv");
    let moved = moved.lines().map(|row| match row.split(',').collect::<Vec<_>>()[..] {
        [tree, date, intensity, basis] => format!("{intensity},{basis},{date},{tree}\n"),
        _ => unreachable!("{row}"),
    });
    book.put("prunings.csv", moved.collect::<String>());
    let line = book.append("prunings.csv", "0.2,canopy_fraction,2023-10-15,T01");
    book.check().finds(&format!("prunings.csv:{line}:3"), "pruned-after-flush");
}

/// The book that is spoilt in many ways at once is read in one go, and every row is accounted for.
#[test]
fn all_problems_in_one_go() {
    let book = Book::tidy();
    let rows = ["T99,2024-03-01,1", "T01,2024-07-15,1", "T01,2024-03-30,-1", "T01", "T01,x,y"];
    for row in rows {
        book.append("harvests.csv", row);
    }
    let ran: Ran = book.check();
    ran.finds("harvests.csv:38:1", "tree-unknown")
        .finds("harvests.csv:39:2", "date-in-no-season")
        .finds("harvests.csv:40:3", "range-impossible")
        .finds("harvests.csv:41", "row-ragged")
        .finds("harvests.csv:42:2", "date-unreadable");
    let (_, json, csv) = book.check_json();
    conserved(&json);
    assert_eq!(csv.lines().count(), 6, "{csv}");
}

/// Rows of trees whose id lacks a part make every record of these trees unknown: the cause is named with
/// them, and not the tree table as such.
#[test]
fn trees_unknown_for_want_of_ids_lead_to_the_rows_set_aside() {
    let book = Book::tidy();
    let rows = book.text("trees.csv").replace("T02,", ",");
    book.put("trees.csv", rows);
    let (_, _, quarantine) = book.check_json();
    let head = quarantine.lines().next().unwrap();
    assert!(head.ends_with(",text,inputs_fingerprint"), "{head}");
    let unknown = quarantine.lines().find(|line| line.contains("tree 'T02' is not in")).unwrap();
    let cause =
        "1 row of the tree table set aside without an id, first trees.csv:3:1: mend these first";
    assert!(unknown.contains(cause), "{unknown}");
}

/// What a run refuses for want of a rate of work, `check` tells for the region too.
#[test]
fn a_region_that_cannot_be_costed_is_told_by_check() {
    let book = Book::tidy();
    let rate = "\n[economics.pruning_time]\nminutes_per_tree = 4.0\nminutes_full_canopy = 30.0\n";
    book.replace("book.toml", rate, "");
    let header = book.text("prunings.csv").replace("measured_as\n", "measured_as,minutes\n");
    let mut rows: Vec<String> = header.lines().map(str::to_owned).collect();
    // Minutes on one visit are more than none, and too few to cost pruning from.
    for (at, row) in rows.iter_mut().enumerate().skip(1) {
        row.push_str(if at == 1 { ",9" } else { "," });
    }
    book.put("prunings.csv", rows.join("\n") + "\n");
    let ran = book.check();
    assert_eq!(ran.code, 1, "{}", ran.stderr);
    let told =
        "book.toml: no rate of work is stated, and the prunings of region 'plain' carry too few";
    assert!(ran.stdout.contains(told), "{}", ran.stdout);
    let out = book.file("out");
    anacurve(&["run", book.arg(), "--out", out.to_str().unwrap()]).fails_saying(&["'plain'"]);
}
