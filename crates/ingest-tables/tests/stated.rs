//! What `book.toml` states of a file's own words, groups, containers and times; cells that a row can
//! do without; slips of a thousand.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

mod common;

use common::{Folder, aside, column, counts, has_problem, only, repairs};
use records::{Code, Severity, Table};
use rust_xlsxwriter::{Format, Workbook};

#[test]
fn words_mean_what_the_settings_say() {
    let folder = Folder::new();
    folder.put(
        "prunings.csv",
        "tree,date,strength,tool\nT1,2023-07-01,Light,saw\nT2,2023-07-01,HARD,?\n\
         T1,2023-07-08,2,saw\nT2,2023-07-08,0.4,saw\nT1,2023-07-09,?,saw\nT2,2023-07-09,medium,saw\n",
    );
    folder.settings(
        "[[files.prunings]]\npath = \"prunings.csv\"\nmeasured_as = \"canopy_fraction\"\n\
         header = { strength = \"intensity\" }\n\
         values = { intensity = { light = \"15 %\", hard = 0.5, \"2\" = 0.3, \"?\" = \"\" }, tool = { \"?\" = \"\" } }\n",
    );
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Prunings, "intensity"), ["0.15", "0.5", "0.3", "0.4"]);
    assert_eq!(column(&tables, Table::Prunings, "tool"), ["saw", "null", "saw", "saw"]);
    let stated = |column: &str, count, line| (Code::ValueStated, column.to_owned(), count, line);
    let own_unit = (Code::UnitConverted, "intensity".to_owned(), 1, 2);
    assert_eq!(
        repairs(&tables, "prunings.csv"),
        [own_unit, stated("intensity", 3, 2), stated("tool", 1, 3)]
    );
    // A word without a meaning is refused with the way to give it one; the row as it stands is kept.
    assert_eq!(
        aside(&tables),
        [(6, Some(3), Code::IntensityUnreadable), (7, Some(3), Code::NumberUnreadable)]
    );
    assert!(tables.quarantine[1].remedy.contains("values = { intensity = { 'medium' = NUMBER } }"));
    assert!(tables.quarantine[0].text.contains("T1,2023-07-09,?,saw"));
}

/// A star at the end of a word and of its meaning stands for whatever follows: a block under another name.
#[test]
fn a_beginning_means_another() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block\nMA2/1,MA2\nMA2/2,MA2\nMA1/1,MA1\n");
    folder.put(
        "prunings.csv",
        "tree,date,intensity\nMA-2/1,2023-07-01,0.2\nMA-2/2,2023-07-01,0.2\nMA1/1,2023-07-01,0.2\nMA-2/,2023-07-01,0.2\nMA-21/3,2023-07-02,0.2\n",
    );
    folder.settings(
        "[[files.prunings]]\npath = \"prunings.csv\"\nmeasured_as = \"canopy_fraction\"\n\
         values = { tree = { \"MA-2*\" = \"no*\", \"MA-2/*\" = \"MA2/*\", \"MA-21/3\" = \"MA1/1\" } }\n",
    );
    let tables = folder.read();
    // The longest beginning counts, a whole word before it, and one that nothing follows stays.
    assert_eq!(
        column(&tables, Table::Prunings, "tree"),
        ["MA2/1", "MA2/2", "MA1/1", "MA-2/", "MA1/1"]
    );
    assert_eq!(repairs(&tables, "prunings.csv"), [(Code::ValueStated, "tree".to_owned(), 3, 2)]);
}

/// A cell may be read as an amount and be part of an id: the words that mean amounts leave the id as it
/// is written in every other file; words of the id itself, or of a heading joined, change it.
#[test]
fn words_of_a_column_leave_the_ids_joined_from_it() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block\nR1/T4/1,B1\nR1/T5/1,B1\n");
    folder.put("prunings.csv", "Rep,Trt,No,date\nR1,T4,1,2023-07-01\nR1,T5,1,2023-07-01\n");
    let declared = "[[files.prunings]]\npath = \"prunings.csv\"\nmeasured_as = \"canopy_fraction\"\n\
         header = { Trt = \"intensity\" }\njoined = { tree = [\"Rep\", \"Trt\", \"No\"] }\n";
    folder.settings(&format!("{declared}values = {{ intensity = {{ T4 = 0.45, T5 = 0.6 }} }}\n"));
    let tables = folder.read();
    assert!(tables.quarantine.is_empty(), "{:?}", tables.quarantine);
    assert_eq!(column(&tables, Table::Prunings, "tree"), ["R1/T4/1", "R1/T5/1"]);
    assert_eq!(column(&tables, Table::Prunings, "intensity"), ["0.45", "0.6"]);
    folder.settings(&format!(
        "{declared}values = {{ intensity = {{ T4 = 0.45, T5 = 0.6 }}, Rep = {{ R1 = \"Rep1\" }} }}\n"
    ));
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Prunings, "tree"), ["Rep1/T4/1", "Rep1/T5/1"]);
}

/// What is the same in every row need not be typed into every row.
#[test]
fn a_file_may_say_a_thing_once_for_all_its_rows() {
    let folder = Folder::new();
    folder.put("may.csv", "tree,kg\nT1,2.5\nT2,3.1\nTotal,5.6\n");
    folder.remove("harvests.csv");
    let declared = "[[files.harvests]]\npath = \"may.csv\"\nheader = { kg = \"nut_kg\" }\n";
    folder.settings(&format!("{declared}every_row = {{ date = \"2024-05-18\" }}\n"));
    let refused = || -> String {
        folder
            .refused()
            .iter()
            .map(|problem| format!("{}; {}\n", problem.what, problem.remedy))
            .collect()
    };
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "date"), ["2024-05-18"; 2]);
    assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["2.5", "3.1"]);
    assert_eq!(repairs(&tables, "may.csv"), [(Code::ValueStated, "date".to_owned(), 2, 2)]);
    let total = only(&tables);
    assert_eq!(total.text, "Total,5.6");
    // The day is stated and stands in no cell.
    assert_eq!((total.line, total.column), (4, None));
    // Without it the column is asked for, and the remedy names the way.
    folder.settings(declared);
    let without = refused();
    assert!(without.contains("the column date is missing"), "{without}");
    assert!(without.contains("every_row = { date = \"…\" }"), "{without}");
    // Said once where it cannot be read, not once a row.
    folder.settings(&format!("{declared}every_row = {{ date = \"in May\" }}\n"));
    let bad = refused();
    assert!(bad.contains("every_row: date 'in May' is no date"), "{bad}");
    // A column that the file has is not overruled.
    folder.settings(&format!("{declared}every_row = {{ date = \"2024-05-18\", nut_kg = 1 }}\n"));
    let twice = refused();
    assert!(twice.contains("nut_kg") && twice.contains("the file has a column of it"), "{twice}");
}

/// A heading that is a day says when its picks were made; where every_row states another, one of the two is mistyped.
#[test]
fn a_heading_that_reads_as_another_day_than_the_one_stated_is_told() {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    let told = |heading: &str, stated: &str| -> Vec<String> {
        folder.put("may.csv", format!("tree,{heading}\nT1,2.5\nT2,3.1\n"));
        folder.settings(&format!(
            "[[files.harvests]]\npath = \"may.csv\"\nheader = {{ \"{heading}\" = \"nut_kg\" }}\nevery_row = {{ date = \"{stated}\" }}\n"
        ));
        let tables = folder.read();
        assert_eq!(column(&tables, Table::Harvests, "date"), [stated; 2]);
        let warned = tables.problems.iter().filter(|problem| {
            problem.code == Code::ValueStated && problem.severity == Severity::Warning
        });
        warned.map(|problem| format!("{}: {}", problem.place, problem.what)).collect()
    };
    for (heading, stated) in
        [("2025-03-17", "2025-02-17"), ("2025-03-17", "2024-03-17"), ("17/03/2025", "2025-03-16")]
    {
        let found = told(heading, stated);
        assert_eq!(found.len(), 1, "{heading} {stated}");
        assert!(found[0].starts_with("may.csv:1:2: ") && found[0].contains("nut_kg"), "{found:?}");
        assert!(found[0].contains(heading) && found[0].ends_with(stated), "{found:?}");
    }
    // The same day however it is written, either order where nobody declared one, and headings that are no day.
    for (heading, stated) in [
        ("2025-03-17", "2025-03-17"),
        ("17 March 2025", "2025-03-17"),
        ("17/03/2025", "2025-03-17"),
        ("04/03/2025", "2025-04-03"),
        ("04/03/2025", "2025-03-04"),
        ("round 2", "2025-03-17"),
        ("kg", "2025-03-17"),
    ] {
        assert_eq!(told(heading, stated), Vec::<String>::new(), "{heading} {stated}");
    }
}

/// Merged cells keep their value in the first row only, in workbooks and in what is exported of them.
#[test]
fn a_group_may_say_a_thing_once() {
    let folder = Folder::new();
    folder.remove("blocks.csv");
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("blocks").unwrap();
    for (cell, word) in (0..).zip(["block", "site", "region", "area_ha"]) {
        sheet.write_string(0, cell, word).unwrap();
    }
    let merged = Format::new();
    sheet.merge_range(1, 1, 3, 1, "Hill", &merged).unwrap();
    sheet.merge_range(1, 2, 3, 2, "coast", &merged).unwrap();
    for (row, block) in (1..).zip(["B1", "B2", "B3"]) {
        sheet.write_string(row, 0, block).unwrap();
    }
    sheet.write_string(4, 0, "Total").unwrap();
    sheet.write_number(4, 3, 12.0).unwrap();
    book.save(folder.path().join("places.xlsx")).unwrap();
    // Nothing is filled in unasked.
    let tables = folder.read();
    assert_eq!(counts(&tables, "places.xlsx#blocks"), (4, 1, 3));
    assert!(
        tables.quarantine[0].remedy.starts_with("remove the row if it is a sum"),
        "{:?}",
        tables.quarantine
    );

    let declared = "[[files.blocks]]\npath = \"places.xlsx\"\nsheet = \"blocks\"\n";
    folder.settings(&format!("{declared}fill_down = [\"site\", \"region\"]\n"));
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Blocks, "site"), ["Hill"; 3]);
    let filled = |column: &str| (Code::FilledDown, column.to_owned(), 2, 3);
    assert_eq!(repairs(&tables, "places.xlsx#blocks"), [filled("region"), filled("site")]);
    // A total is no block of the hill.
    let total = only(&tables);
    assert_eq!((total.line, total.code), (5, Code::CellMissing));
    assert!(total.remedy.starts_with("the row looks like a total"), "{}", total.remedy);
    assert_eq!(total.text, "Total\t\t\t12");

    folder.settings(&format!("{declared}fill_down = [\"variety\"]\n"));
    let problems = folder.refused();
    assert!(problems[0].what.contains("fill_down names variety"), "{problems:?}");
    folder.settings(&format!("{declared}fill_down = [\"sites\"]\n"));
    assert_eq!(folder.refused()[0].code, Code::ColumnUnknown);
}

#[test]
fn tins_of_a_stated_weight_are_weights() {
    let folder = Folder::new();
    folder.put("harvests.csv", "tree,date,nuts (tins)\nT1,2024-03-01,2\nT2,2024-03-01,0.5\n");
    let header = "[[files.harvests]]\npath = \"harvests.csv\"\nheader = { nuts = \"nut_kg\" }\n";
    folder.settings(header);
    let tables = folder.read();
    assert!(has_problem(
        &tables,
        Code::UnitSuspect,
        "harvests.csv:1:3: the heading of nut_kg says (tins)"
    ));
    folder.settings(&format!("{header}units = {{ nut_kg = \"2.5 kg\" }}\n"));
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["5", "1.25"]);
    assert!(!tables.problems.iter().any(|problem| problem.code == Code::UnitSuspect));
    folder.settings(&format!("{header}units = {{ nut_kg = \"2.5 tins\" }}\n"));
    let problems = folder.refused();
    assert_eq!(problems.len(), 1);
    // The line of the path, which tells the files of a table apart.
    assert_eq!(
        (problems[0].place.to_string().as_str(), problems[0].code),
        ("book.toml:14", Code::SettingImpossible)
    );
}

#[test]
fn a_row_is_kept_without_a_cell_that_it_can_do_without() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block,girth_cm\nT1,B1,about 60\nT2,B1,-3\nT3,B1,60\n");
    folder.put(
        "prunings.csv",
        "tree,date,intensity,measured_as,minutes\nT1,2023-07-01,0.2,canopy_fraction,0:09\n",
    );
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Trees, "girth_cm"), ["null", "null", "60"]);
    assert!(has_problem(&tables, Code::CellLeftOut, "trees.csv:2:3: girth_cm: 2 values left out"));
    assert!(has_problem(&tables, Code::CellLeftOut, "units = { minutes = \"h:mm\" }"));
    assert_eq!(column(&tables, Table::Prunings, "minutes"), ["null"]);
    folder
        .settings("[[files.prunings]]\npath = \"prunings.csv\"\nunits = { minutes = \"h:mm\" }\n");
    assert_eq!(column(&folder.read(), Table::Prunings, "minutes"), ["9"]);
}

#[test]
fn an_assumed_basis_is_a_warning() {
    let folder = Folder::new();
    folder.put("prunings.csv", "tree,date,intensity\nT1,2023-07-01,0.2\n");
    let tables = folder.read();
    assert!(has_problem(
        &tables,
        Code::BasisAssumed,
        "prunings.csv:2: 1 row without a stated basis"
    ));
}

#[test]
fn kilograms_in_a_file_of_grams_are_told() {
    let folder = Folder::new();
    let mut text = "tree,date,nut_kg\n".to_owned();
    for day in 1..=12 {
        text.push_str(&format!("T1,2024-03-{day:02},{}\n", 1500 + 100 * day));
    }
    folder.put("harvests.csv", text + "T2,2024-03-01,2.4\n");
    folder.settings("[[files.harvests]]\npath = \"harvests.csv\"\nunits = { nut_kg = \"g\" }\n");
    let tables = folder.read();
    assert!(has_problem(&tables, Code::UnitSuspect, "harvests.csv:14:3: nut_kg: 1 value about"));
    assert_eq!(counts(&tables, "harvests.csv"), (13, 13, 0));
}

/// Of an id that is joined, the parts written once are carried on and the others are not; what is no row
/// of its own is not made one.
#[test]
fn parts_of_an_id_are_carried_on_and_sums_are_not() {
    let folder = Folder::new();
    folder.put("trees.csv", "plot,row,no,block\nGrove,1,1,B1\nGrove,1,2,B1\n");
    folder.put(
        "harvests.csv",
        "plot,row,no,date,nut_kg\nGrov,1,1,2024-03-01,2\n,,2,2024-03-01,3\n,,,2024-03-02,4\n\
         ,,,,9\nSomme,,,,9\nplot,row,no,date,nut_kg\n,,1,2024-03-03,5\n",
    );
    let joined = |more: &str| {
        format!(
            "[[files.trees]]\npath = \"trees.csv\"\njoined = {{ tree = [\"plot\", \"row\", \"no\"] }}\n\
             [[files.harvests]]\npath = \"harvests.csv\"\n\
             joined = {{ tree = [\"plot\", \"row\", \"no\"] }}\n{more}"
        )
    };
    folder.settings(&joined(
        "fill_down = [\"plot\", \"row\"]\nvalues = { plot = { Grov = \"Grove\" } }\n",
    ));
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["Grove/1/1", "Grove/1/2", "Grove/1/1"]);
    // The row without a number of a tree, the sums, and the header of a second page.
    let remedies: Vec<(u64, &str)> =
        tables.quarantine.iter().map(|row| (row.line, row.remedy.as_str())).collect();
    assert_eq!(remedies.len(), 4, "{remedies:?}");
    assert!(remedies[0].1.starts_with("fill in no"), "{remedies:?}");
    assert!(remedies[1].1.starts_with("remove the row if it is a sum"), "{remedies:?}");
    assert!(remedies[2].1.starts_with("the row looks like a total"), "{remedies:?}");
    assert!(remedies[3].1.starts_with("the row repeats the header"), "{remedies:?}");
    folder.settings(&joined("fill_down = [\"parcel\"]\n"));
    assert_eq!(folder.refused()[0].code, Code::ColumnUnknown);
}

/// Beside a unit of the file a bare number under values could be of either unit: it is refused.
#[test]
fn a_word_means_a_number_with_its_unit_where_the_file_has_one() {
    let folder = Folder::new();
    folder.put("prunings.csv", "tree,date,intensity\nT1,2023-07-01,light\nT2,2023-07-01,40\n");
    let declared = |light: &str| {
        format!(
            "[[files.prunings]]\npath = \"prunings.csv\"\nmeasured_as = \"canopy_fraction\"\n\
             units = {{ intensity = \"pct\" }}\nvalues = {{ intensity = {{ light = {light} }} }}\n"
        )
    };
    folder.settings(&declared("0.15"));
    let problems = folder.refused();
    assert_eq!(problems.len(), 1);
    assert!(problems[0].what.contains("'light' means 0.15"), "{}", problems[0].what);
    folder.settings(&declared("\"15 %\""));
    assert_eq!(column(&folder.read(), Table::Prunings, "intensity"), ["0.15", "0.4"]);
}

/// One file writes its rows with zeros before, as text, another as numbers.
#[test]
fn zeros_before_a_number_are_dropped_where_stated() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block\n1/2,B1\n10/20,B1\n0/A7,B1\n");
    folder.put(
        "harvests.csv",
        "Row,No,date,nut_kg\n01,002,2024-02-11,3\n10,20,2024-02-11,4\n00,A07,2024-02-11,5\n",
    );
    let declared =
        "[[files.harvests]]\npath = \"harvests.csv\"\njoined = { tree = [\"Row\", \"No\"] }\n";
    folder.settings(&format!("{declared}drop_zeros = [\"Row\", \"No\"]\n"));
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["1/2", "10/20", "0/A7"]);
    let dropped = |column: &str, count| (Code::ZerosDropped, column.to_owned(), count, 2);
    assert_eq!(repairs(&tables, "harvests.csv"), [dropped("No", 2), dropped("Row", 2)]);
    folder.settings(&format!("{declared}drop_zeros = [\"tree\"]\n"));
    assert_eq!(column(&folder.read(), Table::Harvests, "tree"), ["1/2", "10/20", "0/A7"]);
    // Of an id in one cell every number.
    folder.put("trees.csv", "tree,block\nB1-11,B1\nB10-100,B1\nB0-0,B1\n");
    folder.put(
        "harvests.csv",
        "tree,date,nut_kg\nB01-011,2024-02-11,3\nB10-100,2024-02-11,4\nB00-000,2024-02-11,5\n",
    );
    folder.settings("[[files.harvests]]\npath = \"harvests.csv\"\ndrop_zeros = [\"tree\"]\n");
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["B1-11", "B10-100", "B0-0"]);
    assert_eq!(repairs(&tables, "harvests.csv"), [(Code::ZerosDropped, "tree".to_owned(), 2, 2)]);
    folder.put("harvests.csv", "Row,No,date,nut_kg\n1,2,2024-02-11,3\n");
    folder.settings(&format!("{declared}drop_zeros = [\"Line\"]\n"));
    assert!(folder.refused_for().what.contains("Line"));
}

/// Three files of other hands than the list of trees.
#[test]
fn other_marks_within_an_id_are_read_as_the_one_stated() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block\nC1/7,B1\nC1/12,B1\nC2/3,B1\n");
    folder.put(
        "harvests.csv",
        "tree,date,nut_kg\nC1-007,2024-02-11,3\nC1 12,2024-02-11,4\nC2/3,2024-02-11,5\n",
    );
    let declared = "[[files.harvests]]\npath = \"harvests.csv\"\nmarks = { tree = \"/\" }\n";
    folder.settings(declared);
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["C1/007", "C1/12", "C2/3"]);
    assert_eq!(repairs(&tables, "harvests.csv"), [(Code::ValueStated, "tree".to_owned(), 2, 2)]);
    folder.settings(&format!("{declared}drop_zeros = [\"tree\"]\n"));
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["C1/7", "C1/12", "C2/3"]);
    let of = |code, count| (code, "tree".to_owned(), count, 2);
    assert_eq!(
        repairs(&tables, "harvests.csv"),
        [of(Code::ValueStated, 2), of(Code::ZerosDropped, 1)]
    );
    folder.settings(&declared.replace("tree =", "grove ="));
    assert!(folder.refused_for().what.contains("grove"));
}

/// What a row says of its group holds for the rows below, be the row itself none; and a row of which
/// nothing is missing is told, as its remark may be no sum.
#[test]
fn rows_that_are_none_carry_their_group_on_and_whole_ones_are_told() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block\nP1/1,B1\nP1/2,B1\nP2/1,B1\nP2/2,B1\nP2/3,B1\n");
    // A remark that begins with a sum's word makes none of its row.
    folder.put(
        "harvests.csv",
        "Plot,No,date,nut_kg,Remarks\nP1,1,2024-02-11,3,\n,2,2024-02-11,4,\nP2,1,2024-02-11,,dead\n\
         ,2,2024-02-11,5,lost soon\n,3,2024-02-11,0.2,Total loss by wind\nTotal,,,12,\n",
    );
    let stanza = "[[files.harvests]]\npath = \"harvests.csv\"\nfill_down = [\"Plot\"]\n\
         not_columns = [\"Remarks\"]\njoined = { tree = [\"Plot\", \"No\"] }\n";
    folder.settings(&format!("{stanza}not_rows = [\"dead\", \"Total\"]\n"));
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["P1/1", "P1/2", "P2/2", "P2/3"]);
    assert!(!has_problem(&tables, Code::RowNotOne, "nothing that a row needs"));
    folder.settings(&format!("{stanza}not_rows = [\"dead\", \"Total\", \"lost*\"]\n"));
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["P1/1", "P1/2", "P2/3"]);
    assert!(
        has_problem(&tables, Code::RowNotOne, "harvests.csv:5: 1 row passed over"),
        "{:?}",
        tables.problems
    );
    assert!(has_problem(
        &tables,
        Code::RowNotOne,
        "2 rows passed over as not_rows says; the first holds 'dead'"
    ));
}

/// A sheet of one grove names it in its title alone: the part of the id is stated.
#[test]
fn a_part_of_an_id_may_be_stated() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block\nK1/2/7,B1\nK1/2/8,B1\n");
    folder.put(
        "harvests.csv",
        "Row,Tree No,date,nut_kg\n2,7,2024-03-01,3\n2,8,2024-03-01,4\n2,,2024-03-02,4\n",
    );
    let stanza = "[[files.harvests]]\npath = \"harvests.csv\"\n\
                  joined = { tree = [\"Grove\", \"Row\", \"Tree No\"] }\n";
    folder.settings(stanza);
    let refused = folder.refused_for();
    assert!(refused.what.contains("lack 'Grove'"), "{refused:?}");
    assert!(refused.remedy.contains("every_row = { WORD = "), "{refused:?}");
    folder.settings(&format!("{stanza}every_row = {{ Grove = \"K1\" }}\n"));
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["K1/2/7", "K1/2/8"]);
    let row = only(&tables);
    assert_eq!((row.column, row.code), (Some(2), Code::CellMissing));
    assert!(row.remedy.contains("fill_down"), "{}", row.remedy);
    // A word that is no part of an id and no column is still a slip.
    folder.settings(&format!("{stanza}every_row = {{ Grove = \"K1\", nutkg = 3 }}\n"));
    assert_eq!(folder.refused()[0].code, Code::ColumnUnknown);
}

/// A field sheet lists trees that nobody has been to yet; a day without a weight is another thing, and what
/// it means can be said.
#[test]
fn rows_that_are_not_filled_in_are_counted_and_passed_over() {
    let folder = Folder::new();
    let text = "tree,date,nut_kg\nT1,2024-03-01,3\nT2,,\nT3,2024-03-01,\nT4\n";
    folder.put("trees.csv", "tree,block\nT1,B1\nT2,B1\nT3,B1\nT4,B1\n");
    folder.put("harvests.csv", text);
    folder.settings("");
    let tables = folder.read();
    assert_eq!(repairs(&tables, "harvests.csv"), [(Code::RowUnfilled, String::new(), 1, 3)]);
    let set_aside: Vec<u64> = tables.quarantine.iter().map(|row| row.line).collect();
    assert_eq!(set_aside, [4, 5], "a row cut short may have lost its day");
    folder.settings(
        "[[files.harvests]]\npath = \"harvests.csv\"\nvalues = { nut_kg = { \"\" = 0 } }\n",
    );
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["T1", "T3"]);
    assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["3", "0"]);
}

/// In a sheet with a column for each month an empty cell may be no pick: where it is said so, rows without one are passed
/// over, and counted.
#[test]
fn an_empty_cell_may_be_no_pick() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block\nT1,B1\nT2,B1\n");
    folder.put("harvests.csv", "tree,March,April,remark\nT1,3,2,\nT2,,,dead\n");
    let month = |column: &str, date: &str, values: &str| {
        format!(
            "[[files.harvests]]\npath = \"harvests.csv\"\nheader = {{ {column} = \"nut_kg\" }}\nevery_row = {{ date = \"{date}\" }}\nnot_columns = [\"remark\"]\n{values}\n"
        )
    };
    let read = |values: &str| {
        folder.settings(&format!(
            "{}{}",
            month("March", "2024-03-15", values),
            month("April", "2024-04-15", values)
        ));
        folder.read()
    };
    let tables = read("");
    assert_eq!(tables.quarantine.len(), 2);
    assert!(tables.quarantine[0].remedy.contains("that it is no pick"), "{:?}", tables.quarantine);
    let tables = read("values = { nut_kg = { \"\" = \"\" } }");
    assert!(tables.quarantine.is_empty(), "{:?}", tables.quarantine);
    assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["3", "2"]);
    let passed = repairs(&tables, "harvests.csv");
    assert!(passed.iter().any(|(code, _, rows, _)| (*code, *rows) == (Code::RowUnfilled, 1)));
}

/// What is reckoned from shoots is looked at as what is written is.
#[test]
fn an_intensity_reckoned_from_shoots_may_be_unusual() {
    let folder = Folder::new();
    let rows = |cut: &str| format!("tree,date,shoots_cut,shoots_total\nT1,2023-07-01,{cut},20\n");
    folder.settings("");
    for (cut, told) in [("17", true), ("15", false)] {
        folder.put("prunings.csv", rows(cut));
        let tables = folder.read();
        assert_eq!(has_problem(&tables, Code::RangeUnusual, "intensity"), told, "{cut}");
    }
    folder.put("prunings.csv", rows("21"));
    let tables = folder.read();
    assert!(tables.quarantine[0].remedy.contains("may be interchanged"), "{:?}", tables.quarantine);
}

/// A factor that stands once for a plot and is empty in the first row of the next: of the plot above, or of
/// none.
#[test]
fn a_factor_carried_into_another_plot_is_told() {
    let folder = Folder::new();
    folder.put("trees.csv", "tree,block\nT1,B1\nT2,B1\nT3,B1\nT4,B1\n");
    folder.put(
        "trials.csv",
        "trial,tree,replicate,plot,lead\nA,T1,1,P1,30\nA,T2,1,,\nA,T3,1,P2,\nA,T4,1,,\n",
    );
    let stanza = "[[files.trials]]\npath = \"trials.csv\"\nfill_down = [\"plot\", \"lead\"]\n";
    folder.settings(stanza);
    let tables = folder.read();
    let told: Vec<_> =
        tables.problems.iter().filter(|problem| problem.code == Code::FilledAnewPlot).collect();
    assert_eq!(told.len(), 1, "{:?}", tables.problems);
    assert_eq!(told[0].place.line, Some(4));
    assert!(
        told[0].what.starts_with("lead: 1 value taken from the plot above"),
        "{}",
        told[0].what
    );
    folder.put("trials.csv", "trial,tree,replicate,plot,lead\nA,T1,1,P1,30\nA,T2,1,,\n");
    assert!(!folder.read().problems.iter().any(|p| p.code == Code::FilledAnewPlot));
}

/// A month's file that was corrected and saved beside the old one counts its other rows twice.
#[test]
fn a_corrected_copy_of_a_file_is_told() {
    let folder = Folder::new();
    let rows = |changed: &str| -> String {
        let row = |tree: u32| {
            let kg = if tree == 7 { changed.to_owned() } else { format!("{}.5", tree % 5) };
            format!("T{tree},2024-03-01,{kg}\n")
        };
        format!("tree,date,nut_kg\n{}", (0..30).map(row).collect::<String>())
    };
    let trees: String = (0..30).map(|tree| format!("T{tree},B1\n")).collect();
    folder.put("trees.csv", format!("tree,block\n{trees}"));
    folder.put("harvests.csv", rows("2.5"));
    folder.put("harvests_2.csv", rows("9.9"));
    folder.settings("");
    let tables = folder.read();
    let told: Vec<_> =
        tables.problems.iter().filter(|problem| problem.code == Code::FileTwice).collect();
    assert_eq!(told.len(), 1, "{:?}", tables.problems);
    assert_eq!(told[0].place.file, "harvests_2.csv");
    assert!(
        told[0].what.starts_with("29 of its 30 rows repeat rows read before"),
        "{}",
        told[0].what
    );
}
