//! Values, ranges, units, intensities and rows that repeat others.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

mod common;

use common::{Folder, aside, column, counts, has_problem, only, repairs};
use records::{Code, Table};
use rust_xlsxwriter::{Format, Workbook, Worksheet};

#[test]
fn repairs_are_counted_with_their_first_line() {
    let text = "tree;date;nut_kg;moisture_pct\nT1;2024-03-01;3.5;\nT2;45352;3,5;8%\nT3;2024-03-01;4,25;1 0\nT4;2024-03-01;x;9\nT5;45353;0,5;NA\n";
    let tables = Folder::harvests(text);
    assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["3.5", "3.5", "0.5"]);
    // Spreadsheet convention: day number 45352 is 1 March 2024.
    assert_eq!(
        column(&tables, Table::Harvests, "date"),
        ["2024-03-01", "2024-03-01", "2024-03-02"]
    );
    assert_eq!(
        repairs(&tables, "harvests.csv"),
        [
            (Code::DateSerial, "date".to_owned(), 2, 3),
            (Code::DecimalComma, "nut_kg".to_owned(), 2, 3),
        ]
    );
    assert_eq!(
        aside(&tables),
        [(4, Some(4), Code::NumberUnreadable), (5, Some(3), Code::NumberUnreadable)]
    );
    assert!(has_problem(&tables, Code::DecimalComma, "harvests.csv:3:3: nut_kg: 2 values"));
}

#[test]
fn one_row_names_all_its_bad_cells_once() {
    let tables = Folder::harvests("nut_kg,date,tree\n1,234,03/04/2024,\n4000,31/31/2024,\n");
    // The first row is ragged: its unquoted 1,234 made four cells.
    let second = &tables.quarantine[1];
    assert_eq!((second.line, second.column, second.code), (3, Some(1), Code::UnitSuspect));
    assert_eq!(second.reason.matches("; ").count(), 2, "{}", second.reason);
    assert!(second.remedy.starts_with("4 kg if the file is in grams: set units.nut_kg = \"g\""));
    assert!(second.reason.contains("tree is empty"));
    assert_eq!(counts(&tables, "harvests.csv"), (2, 0, 2));
}

#[test]
fn a_frame_with_more_flowering_laterals_than_laterals_is_set_aside() {
    let folder = Folder::new();
    folder.put(
        "laterals.csv",
        "tree,date,frame_m2,laterals,flowering_laterals\nT1,2024-03-01,1,12,15\nT2,2024-03-01,1,12,12\nT3,2024-03-01,1,12,\nT4,2024-03-01,1,0,0\n",
    );
    let tables = folder.read();
    assert_eq!(counts(&tables, "laterals.csv"), (4, 3, 1));
    let row = only(&tables);
    assert_eq!((row.line, row.column, row.code), (2, Some(5), Code::RangeImpossible));
    assert!(row.reason.contains("15 of 12 laterals in the frame"), "{}", row.reason);
}

#[test]
fn ambiguous_numbers_and_dates_are_not_guessed() {
    let text = "tree;date;nut_kg;nut_count\nT1;2024-03-01;1;1,234\nT2;13/03/2024;1;\n";
    let tables = Folder::harvests(text);
    // A pick can do without its count, and not without its day.
    assert_eq!(aside(&tables), [(3, Some(2), Code::DateAmbiguous)]);
    assert_eq!(column(&tables, Table::Harvests, "nut_count"), ["null"]);
    assert!(has_problem(&tables, Code::CellLeftOut, "'1,234' may mean thousands or decimals"));
    assert!(tables.quarantine[0].remedy.contains("dates = \"day_first\""));

    let folder = Folder::new();
    folder.put("harvests.csv", text);
    folder.settings(
        "[[files.harvests]]\npath = \"harvests.csv\"\ndecimal = \"point\"\ndates = \"day_first\"\n",
    );
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "nut_count"), ["1234", "null"]);
    assert_eq!(column(&tables, Table::Harvests, "date"), ["2024-03-01", "2024-03-13"]);
}

#[test]
fn impossible_days_and_centuries_are_set_aside() {
    let tables = Folder::harvests("tree,date,nut_kg\nT1,2023-02-29,1\nT1,1824-03-01,1\n");
    assert_eq!(
        aside(&tables),
        [(2, Some(2), Code::DateUnreadable), (3, Some(2), Code::RangeImpossible)]
    );
}

/// A spreadsheet that opens day-first dates as month-first makes dates of the days up to 12, with day and
/// month swapped, and leaves the others as text.
#[test]
fn dates_that_a_spreadsheet_swapped_where_it_could_are_told() {
    let told = |own_days: std::ops::RangeInclusive<u8>| {
        let folder = Folder::new();
        folder.remove("harvests.csv");
        let mut book = Workbook::new();
        let day = Format::new().set_num_format("dd/mm/yyyy");
        let sheet = book.add_worksheet().set_name("harvests").unwrap();
        for (cell, word) in (0..).zip(["tree", "date", "nut_kg"]) {
            sheet.write_string(0, cell, word).unwrap();
        }
        let mut row = 0;
        let mut line = |sheet: &mut Worksheet| {
            row += 1;
            sheet.write_string(row, 0, "T1").unwrap();
            sheet.write_number(row, 2, f64::from(row)).unwrap();
            row
        };
        for own in own_days {
            let at = line(sheet);
            // 45352 is 1 March 2024 in the 1900 date system.
            sheet.write_number_with_format(at, 1, 45351 + u32::from(own), &day).unwrap();
        }
        for text in ["13/03/2024", "14/03/2024", "15/03/2024"] {
            let at = line(sheet);
            sheet.write_string(at, 1, text).unwrap();
        }
        book.save(folder.path().join("harvests.xlsx")).unwrap();
        folder.settings("[[files.harvests]]\npath = \"harvests.xlsx\"\ndates = \"day_first\"\n");
        let tables = folder.read();
        let told = tables.problems.iter().filter(|p| p.code == Code::DatesSwapped);
        told.map(ToString::to_string).collect::<Vec<_>>()
    };
    let swapped = told(1..=12);
    assert!(
        swapped.len() == 1 && swapped[0].contains("harvests:14:2: date: 3 values as text"),
        "{swapped:?}"
    );
    // Dates of every day of the month are a column of two kinds, and no swap.
    assert!(told(1..=13).is_empty());
    assert!(told(1..=9).is_empty());
}

/// One wrong order of day and month is told once; a few slips, or dates for both orders, are not it.
#[test]
fn dates_of_another_order_than_declared_are_told_once() {
    let told = |declared: &str, days: &[&str]| {
        let folder = Folder::new();
        let rows = days.iter().map(|day| format!("T1,{day},3\n")).collect::<String>();
        folder.put("harvests.csv", format!("tree,date,nut_kg\n{rows}"));
        folder.settings(&format!(
            "[[files.harvests]]\npath = \"harvests.csv\"\ndates = \"{declared}\"\n"
        ));
        let tables = folder.read();
        let told = tables.problems.iter().filter(|problem| problem.code == Code::DateOrder);
        told.map(|problem| format!("{problem}")).collect::<Vec<_>>()
    };
    let days = ["03/04/2024", "03/15/2024", "2024-03-30", "03/16/2024", "soon", "04/17/2024"];
    for declared in ["day_first", "iso"] {
        let told = told(declared, &days);
        assert_eq!(told.len(), 1, "{declared}");
        let first =
            "harvests.csv:3:2: date: 3 values can be read with dates = \"month_first\" alone";
        assert!(told[0].starts_with(first), "{}", told[0]);
        assert!(told[0].contains("hint: write dates = \"month_first\" under [[files.harvests]]"));
    }
    assert!(told("month_first", &days).is_empty());
    // Two slips; and a date that only the declared order reads.
    assert!(told("day_first", &["03/15/2024", "03/16/2024", "03/04/2024"]).is_empty());
    let mixed = ["03/15/2024", "03/16/2024", "04/17/2024", "25/03/2024"];
    assert!(told("day_first", &mixed).is_empty());
    assert!(told("iso", &mixed).is_empty());
}

#[test]
fn unusual_values_are_kept_with_one_warning() {
    let tables = Folder::harvests(
        "tree,date,nut_kg\nT1,2024-03-01,3\nT2,2024-03-01,75\nT3,2024-03-01,80\nT4,2024-03-01,-1\n",
    );
    assert_eq!(counts(&tables, "harvests.csv"), (4, 3, 1));
    assert_eq!(only(&tables).code, Code::RangeImpossible);
    let warnings: Vec<_> =
        tables.problems.iter().filter(|p| p.code == Code::RangeUnusual).collect();
    assert_eq!(warnings.len(), 1);
    assert_eq!(warnings[0].place.to_string(), "harvests.csv:3:3");
    assert!(warnings[0].what.contains("2 values") && warnings[0].what.contains("75"));
}

#[test]
fn declared_units_are_converted_and_counted() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block,girth_cm,height_m\nT1,B1,0.5,10\n");
    folder.put("blocks.csv", "block,site,region,row_spacing_m,area_ha\nB1,S1,coast,750,1\n");
    folder.settings(
        "[[files.trees]]\npath = \"trees.csv\"\nunits = { girth_cm = \"m\", height_m = \"ft\" }\n\
         [[files.blocks]]\npath = \"blocks.csv\"\nunits = { row_spacing_m = \"cm\", area_ha = \"acre\" }\n",
    );
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Trees, "girth_cm"), ["50"]);
    // The foot is 0.3048 m and the acre 0.40468564224 ha by definition.
    assert_eq!(column(&tables, Table::Trees, "height_m"), ["3.048"]);
    assert_eq!(column(&tables, Table::Blocks, "row_spacing_m"), ["7.5"]);
    assert_eq!(column(&tables, Table::Blocks, "area_ha"), ["0.40468564224"]);
    assert_eq!(
        repairs(&tables, "trees.csv"),
        [
            (Code::UnitConverted, "girth_cm".to_owned(), 1, 2),
            (Code::UnitConverted, "height_m".to_owned(), 1, 2),
        ]
    );
}

#[test]
fn spacing_in_centimetres_is_suspected() {
    let folder = Folder::new();
    folder.put("blocks.csv", "block,site,region,row_spacing_m\nB1,S1,coast,750\nB2,S1,coast,7.5\n");
    let tables = folder.read();
    // A block can do without it, so that its trees are not lost.
    assert_eq!(column(&tables, Table::Blocks, "row_spacing_m"), ["null", "7.5"]);
    assert!(has_problem(&tables, Code::CellLeftOut, "7.5 m if the file is in centimetres"));
}

#[test]
fn intensities_come_from_what_the_row_gives() {
    let folder = Folder::new();
    folder.put(
        "prunings.csv",
        "tree,date,intensity,measured_as,shoots_cut,shoots_total,removed_cm,length_cm\n\
         T1,2023-07-01,0.2,,,,,\n\
         T2,2023-07-01,30%,Canopy fraction,,,,\n\
         T3,2023-07-01,,,12,48,,\n\
         T4,2023-07-01,,headed_length,,,20,80\n\
         T5,2023-07-01,30,canopy_fraction,,,,\n\
         T6,2023-07-01,,,,,,\n\
         T7,2023-07-01,,,50,40,,\n",
    );
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Prunings, "intensity"), ["0.2", "0.3", "0.25", "0.25"]);
    assert_eq!(
        column(&tables, Table::Prunings, "measured_as"),
        ["canopy_fraction", "canopy_fraction", "shoots", "headed_length"]
    );
    assert_eq!(
        aside(&tables),
        [
            (6, Some(3), Code::UnitSuspect),
            (7, Some(3), Code::IntensityUnreadable),
            (8, Some(5), Code::IntensityUnreadable)
        ]
    );
    assert_eq!(
        repairs(&tables, "prunings.csv"),
        [(Code::UnitConverted, "intensity".to_owned(), 1, 3)]
    );
    assert!(has_problem(&tables, Code::BasisAssumed, "set measured_as"));
}

/// A diary may say what a cut left; where it does not say so, most cuts look too hard to be true.
#[test]
fn a_file_may_hold_what_was_left_of_the_canopy() {
    let folder = Folder::new();
    let rows: String = (0..30).map(|row| format!("T{row},2023-07-01,{}\n", 60 + row)).collect();
    folder.put("prunings.csv", format!("tree,date,Copa que ficou (%)\n{rows}"));
    let read = |unit: &str| {
        folder.settings(&format!(
            "[[files.prunings]]\npath = \"prunings.csv\"\nmeasured_as = \"canopy_fraction\"\nheader = {{ \"Copa que ficou (%)\" = \"intensity\" }}\n{unit}\n"
        ));
        let tables = folder.read();
        let told = tables.problems.iter().filter(|problem| problem.code == Code::UnitSuspect);
        (column(&tables, Table::Prunings, "intensity"), told.cloned().collect::<Vec<_>>())
    };
    let (cuts, told) = read("");
    assert_eq!(cuts[..2], ["0.6", "0.61"]);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].remedy.contains("units = { intensity = \"pct_left\" }"), "{told:?}");
    assert!(told[0].remedy.contains("units = { intensity = \"pct_cut\" }"), "{told:?}");
    let (cuts, told) = read("units = { intensity = \"pct_left\" }");
    assert_eq!((&cuts[..2], told.len()), (&["0.4".to_owned(), "0.39".to_owned()][..], 0));
    let (cuts, told) = read("units = { intensity = \"pct_cut\" }");
    assert_eq!((cuts[0].as_str(), told.len()), ("0.6", 0));
}

#[test]
fn a_file_may_declare_per_cent_and_basis() {
    let folder = Folder::new();
    folder.put("prunings.csv", "tree,date,intensity\nT1,2023-07-01,25\nT2,2023-07-01,50%\n");
    folder.settings(
        "[[files.prunings]]\npath = \"prunings.csv\"\nunits = { intensity = \"pct\" }\nmeasured_as = \"spread\"\n",
    );
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Prunings, "intensity"), ["0.25", "0.5"]);
    assert_eq!(column(&tables, Table::Prunings, "measured_as"), ["spread", "spread"]);
    assert_eq!(
        repairs(&tables, "prunings.csv"),
        [(Code::UnitConverted, "intensity".to_owned(), 2, 2)]
    );
}

#[test]
fn repeated_rows_name_the_first() {
    let folder = Folder::new();
    folder.put(
        "harvests_a.csv",
        "tree,date,nut_kg\nT1,2024-03-01,3\nT1,2024-03-01,4\nT1,2024-03-01,3\n",
    );
    folder.put("harvests_b.csv", "tree,date,nut_kg\nT1,2024-03-01,4.0\n");
    folder.remove("harvests.csv");
    folder.put("trees.csv", "tree,block\nT1,B1\nT1,B1\nT1,B2\nT2,B1\n");
    folder.put(
        "blocks.csv",
        "block,site,region\nB1,S1,coast\nB2,S1,coast\nB1,S1,coast\nB2,S2,coast\n",
    );
    folder.put("trials.csv", "trial,tree,replicate\nX,T1,1\nX,T1,2\nY,T1,1\nY,T1,1\n");
    let tables = folder.read();
    let found: Vec<_> = tables
        .quarantine
        .iter()
        .map(|row| (row.file.as_str(), row.line, row.column, row.code))
        .collect();
    assert_eq!(
        found,
        [
            ("blocks.csv", 4, Some(1), Code::RowDuplicate),
            ("trees.csv", 3, Some(1), Code::RowDuplicate),
            ("harvests_a.csv", 4, Some(1), Code::RowDuplicate),
            ("harvests_b.csv", 2, Some(1), Code::RowDuplicate),
            ("trials.csv", 5, Some(2), Code::RowDuplicate),
        ]
    );
    assert!(tables.quarantine[3].reason.contains("harvests_a.csv:3"));
    assert!(has_problem(&tables, Code::RowDuplicate, "1 row with the tree and date"));
    // A tree in two blocks or in two plots of a trial and a block at two sites are kept: linking
    // judges all their rows together.
    assert_eq!((tables.files[0].rows_kept, tables.files[1].rows_kept), (3, 3));
}

/// Where trees are picked twice a day every second row would be told.
#[test]
fn a_file_may_say_that_trees_are_picked_several_times_a_day() {
    let folder = Folder::new();
    folder.put(
        "harvests.csv",
        "tree,date,nut_kg\nT1,2024-03-01,3\nT1,2024-03-01,4\nT1,2024-03-01,4\n",
    );
    assert!(has_problem(&folder.read(), Code::RowDuplicate, "1 row with the tree and date"));
    folder.settings("\n[[files.harvests]]\npath = \"harvests.csv\"\nseveral_a_day = true\n");
    let tables = folder.read();
    // Rows alike in all are still a row entered twice.
    let file = tables.files.iter().find(|file| file.file == "harvests.csv").unwrap();
    assert_eq!((file.rows_kept, tables.quarantine.len()), (2, 1));
    assert!(!has_problem(&tables, Code::RowDuplicate, "1 row with the tree and date"));
}

#[test]
fn a_total_is_to_be_removed_not_filled_in() {
    let tables = Folder::harvests("tree,date,nut_kg\nT1,2024-03-01,3\nTotal:,,1234.5\nT2,,1\n");
    assert_eq!(counts(&tables, "harvests.csv"), (3, 1, 2));
    let remedies: Vec<&str> = tables.quarantine.iter().map(|row| row.remedy.as_str()).collect();
    assert!(remedies[0].starts_with("the row looks like a total"), "{remedies:?}");
    assert!(!remedies[0].contains("nut_kg"), "{remedies:?}");
    assert!(remedies[1].starts_with("fill in date"), "{remedies:?}");
}

/// Unquoted decimal commas in a file with commas between cells, the last column being empty.
#[test]
fn rows_longer_than_others_are_told() {
    let told = |text: &str| {
        let tables = Folder::harvests(text);
        has_problem(
            &tables,
            Code::RowRagged,
            "harvests.csv:3: 1 row with more cells than the header",
        )
    };
    assert!(told("tree,date,nut_kg,note\nT1,2024-03-01,3,\nT2,2024-03-01,4,5,\n"));
    // A mark too many at the end of every row splits nothing.
    assert!(!told("tree,date,nut_kg\nT1,2024-03-01,3,\nT2,2024-03-01,4,\n"));
}

/// A day that no order of day and month knows is none.
#[test]
fn a_day_in_neither_order_is_not_ambiguous() {
    let tables =
        Folder::harvests("tree,date,nut_kg\nT1,31/02/2024,3\nT2,25/02/2024,3\nT1,2024-03-01,2\n");
    let codes: Vec<Code> = aside(&tables).into_iter().map(|(_, _, code)| code).collect();
    assert_eq!(codes, [Code::DateUnreadable, Code::DateAmbiguous]);
}

/// As a script writes a sheet: no result stands beside the formula until a spreadsheet program has saved it. Empty cells
/// would be nothing borne, or no pick at all.
#[test]
fn formulas_that_were_never_reckoned_are_no_empty_cells() {
    let folder = Folder::new();
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    sheet.set_formula_result_default("");
    for (at, word) in (0..).zip(["tree", "date", "nut_kg", "moisture_pct"]) {
        sheet.write(0, at, word).unwrap();
    }
    for row in 1..6_u32 {
        sheet.write(row, 0, "T1").unwrap();
        sheet.write(row, 1, format!("2023-03-0{row}")).unwrap();
        // A cell with a border and nothing in it is an empty one.
        let border = Format::new().set_border(rust_xlsxwriter::FormatBorder::Thin);
        sheet.write_blank(row, 3, &border).unwrap();
        if row < 4 {
            sheet.write(row, 2, rust_xlsxwriter::Formula::new("=E1-F1")).unwrap();
        } else {
            sheet.write(row, 2, rust_xlsxwriter::Formula::new("=4/2").set_result("2")).unwrap();
        }
    }
    folder.remove("harvests.csv");
    book.save(folder.path().join("harvests.xlsx")).unwrap();
    let tables = folder.read();
    assert_eq!(aside(&tables), [2, 3, 4].map(|line| (line, Some(3), Code::NumberUnreadable)));
    assert_eq!(tables.quarantine[0].reason, "nut_kg holds a formula without its result");
    assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["2", "2"]);
    assert_eq!(column(&tables, Table::Harvests, "moisture_pct"), ["null", "null"]);
}
