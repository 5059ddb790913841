//! Separated text as people send it.

mod common;

use common::{Folder, aside, column, counts, has_problem, only, repairs};
use records::{Code, Table};

const THREE: &str = "tree,date,nut_kg\nT1,2024-03-01,3.5\nT2,2024-03-02,4.5\n";

fn utf16(text: &str, little: bool) -> Vec<u8> {
    let units = std::iter::once(0xfeff).chain(text.encode_utf16());
    units.flat_map(|u| if little { u.to_le_bytes() } else { u.to_be_bytes() }).collect()
}

#[test]
fn encodings_and_separators_give_the_same_table() {
    let with_mark = [b"\xef\xbb\xbf".as_slice(), THREE.as_bytes()].concat();
    let variants: Vec<Vec<u8>> = vec![
        THREE.into(),
        with_mark,
        utf16(THREE, true),
        utf16(THREE, false),
        THREE.replace(',', ";").into(),
        THREE.replace(',', "\t").into(),
        THREE.replace(',', "|").into(),
        THREE.replace('\n', "\r\n").into(),
        THREE.replace('\n', "\r").into(),
        THREE.replacen('\n', "\r\n", 1).into(),
        format!("{THREE}\n\n,,\n , ,\n").into(),
    ];
    for bytes in variants {
        let shown = String::from_utf8_lossy(&bytes).into_owned();
        let tables = Folder::harvests(bytes);
        assert_eq!(counts(&tables, "harvests.csv"), (2, 2, 0), "{shown}");
        assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["3.5", "4.5"], "{shown}");
        assert_eq!(column(&tables, Table::Harvests, ".line"), ["2", "3"], "{shown}");
        assert_eq!(column(&tables, Table::Harvests, ".file"), ["3", "3"]);
        assert!(repairs(&tables, "harvests.csv").is_empty(), "{shown}");
    }
}

#[test]
fn latin1_is_a_counted_repair_unless_declared() {
    let bytes = b"tree,date,nut_kg\nArbol,2024-03-01,1\n\xc1rbol,2024-03-01,3.5\n";
    let tables = Folder::harvests(bytes);
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["Arbol", "Árbol"]);
    assert_eq!(repairs(&tables, "harvests.csv"), [(Code::TextEncoding, String::new(), 1, 3)]);

    let folder = Folder::new();
    folder.put("harvests.csv", bytes);
    folder.settings("[[files.harvests]]\npath = \"harvests.csv\"\nencoding = \"latin1\"\n");
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["Arbol", "Árbol"]);
    assert!(repairs(&tables, "harvests.csv").is_empty());
}

#[test]
fn bytes_that_are_no_text_quarantine_their_row_only() {
    let bytes = b"tree,date,nut_kg\n\xc3\x81rbol \xc3\xb1,2024-03-01,1\nT\xff,2024-03-01,3.5\n";
    let tables = Folder::harvests(bytes);
    assert_eq!(column(&tables, Table::Harvests, "tree"), ["Árbol ñ"]);
    assert_eq!(aside(&tables), [(3, Some(1), Code::TextEncoding)]);
}

#[test]
fn titles_above_the_header_are_passed_over_and_counted() {
    let tables = Folder::harvests(format!("\nHarvest of the estate\n\nsep=;\n{THREE}"));
    assert_eq!(column(&tables, Table::Harvests, ".line"), ["6", "7"]);
    assert_eq!(repairs(&tables, "harvests.csv"), [(Code::TitleSkipped, String::new(), 2, 1)]);
}

#[test]
fn line_numbers_survive_blank_lines_and_quoted_line_breaks() {
    let text =
        "tree,date,nut_kg\r\n\r\n\"T\n1\",2024-03-01,1\n\nT2,2024-03-01,x\nT3,2024-03-01,2\n";
    let tables = Folder::harvests(text);
    assert_eq!(column(&tables, Table::Harvests, ".line"), ["3", "7"]);
    assert_eq!(aside(&tables), [(6, Some(3), Code::NumberUnreadable)]);
    assert_eq!(only(&tables).text, "T2,2024-03-01,x");
}

#[test]
fn ragged_rows_and_nul_bytes_are_set_aside() {
    let text = "tree,date,nut_kg\nT1,2024-03-01\nT2,2024-03-01,1,,\nT3,2024-03-01,1,x\nT4,2024-03-01,1\0\nT5,2024-03-01,1\n";
    let tables = Folder::harvests(text);
    assert_eq!(counts(&tables, "harvests.csv"), (5, 2, 3));
    assert_eq!(
        aside(&tables),
        [(2, None, Code::RowRagged), (4, Some(4), Code::RowRagged), (5, Some(3), Code::RowNul)]
    );
}

#[test]
fn an_unclosed_quote_is_named_with_the_lines_it_swallowed() {
    let tables = Folder::harvests(
        "tree,date,nut_kg\nT1,2024-03-01,1\nT2,\"2024-03-01,2\nT3,2024-03-01,3\nT4,2024-03-01,4\n",
    );
    assert_eq!(counts(&tables, "harvests.csv"), (2, 1, 1));
    let row = only(&tables);
    assert_eq!((row.line, row.code), (3, Code::RowRagged));
    assert!(row.reason.contains("swallowed 3 lines"), "{}", row.reason);
    assert!(row.text.contains("T4,2024-03-01,4"));
}

/// A mark for the cell above opens a quotation.
#[test]
fn a_quotation_mark_for_the_cell_above_is_sent_to_fill_down() {
    let remedy = |day: &str| {
        let text = format!("tree,date,nut_kg\nT1,2024-03-01,1\nT2,{day},2\nT3,2024-03-01,3\n");
        let tables = Folder::harvests(&text);
        only(&tables).remedy.clone()
    };
    assert!(remedy("\"").contains("under fill_down"), "{}", remedy("\""));
    assert!(!remedy("\"2024-03-01").contains("fill_down"));
}

#[test]
fn a_pair_of_stray_quotes_does_not_swallow_rows_silently() {
    let text = "tree,date,frame_m2,laterals,side\nT1,2024-03-01,1,5,\"north\nT2,2024-03-01,1,6,\"south\"\nT3,2024-03-01,1,7,\"east\"\n";
    let folder = Folder::new();
    folder.put("laterals.csv", text);
    let tables = folder.read();
    assert_eq!(counts(&tables, "laterals.csv"), (2, 1, 1));
    assert!(only(&tables).reason.contains("do not pair up over 2 lines"));
}

#[test]
fn a_line_of_two_hundred_megabytes_is_one_quarantined_row() {
    let mut text = b"tree,date,nut_kg\nT1,2024-03-01,1\n".to_vec();
    text.resize(text.len() + 200_000_000, b'7');
    text.extend_from_slice(b"\nT2,2024-03-01,2\n");
    let tables = Folder::harvests(text);
    assert_eq!(counts(&tables, "harvests.csv"), (3, 2, 1));
    assert_eq!(column(&tables, Table::Harvests, ".line"), ["2", "4"]);
    let row = only(&tables);
    assert_eq!((row.line, row.code), (3, Code::RowTooLong));
    assert!(row.text.starts_with("777") && row.text.len() < 300);
    assert!(row.text.contains("200000000 bytes"), "{}", row.text);
}

#[test]
fn an_unclosed_quote_over_a_megabyte_is_too_long() {
    let mut text = "tree,date,nut_kg\nT1,2024-03-01,1\n\"T2,2024-03-01,2\n".to_owned();
    for _ in 0..100_000 {
        text.push_str("T3,2024-03-01,3\n");
    }
    let tables = Folder::harvests(text);
    let row = only(&tables);
    assert_eq!((row.line, row.code), (3, Code::RowTooLong));
    assert!(row.reason.contains("swallowed 100001 lines"), "{}", row.reason);
}

#[test]
fn headers_are_found_in_any_spelling_or_language() {
    let folder = Folder::new();
    folder.put("harvests.csv", "Arvore;DATA;Peso (g);notes\nT1;01/03/2024;3500,5;x\n");
    folder.settings(
        "[[files.harvests]]\npath = \"harvests.csv\"\ndates = \"day_first\"\ndecimal = \"comma\"\n\
         header = { Arvore = \"tree\", data = \"date\", \"Peso\" = \"nut_kg\" }\n",
    );
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Harvests, "nut_kg"), ["3.5005"]);
    assert_eq!(column(&tables, Table::Harvests, "date"), ["2024-03-01"]);
    assert_eq!(
        repairs(&tables, "harvests.csv"),
        [(Code::UnitConverted, "nut_kg".to_owned(), 1, 2)]
    );
    assert!(has_problem(&tables, Code::ColumnUnknown, "harvests.csv:1:4: the column 'notes'"));
}

#[test]
fn every_optional_column_is_there_in_schema_order() {
    let tables = Folder::harvests(THREE);
    for (table, frame) in &tables.frames {
        let wanted: Vec<_> = table.spec().columns.iter().map(|column| column.name).collect();
        let names: Vec<_> =
            frame.get_column_names().into_iter().map(|name| name.as_str()).collect();
        assert_eq!(names[..wanted.len()], wanted);
        assert_eq!(names[wanted.len()..], [".file", ".line"]);
    }
    assert_eq!(column(&tables, Table::Harvests, "moisture_pct"), ["null", "null"]);
    let types = common::frame(&tables, Table::Prunings).dtypes();
    let spelled: Vec<String> = types.iter().map(|kind| format!("{kind:?}")).collect();
    assert_eq!(spelled[..5], ["String", "Date", "Float64", "String", "Int64"]);
    assert_eq!(spelled[spelled.len() - 2..], ["UInt32", "UInt32"]);
}

#[test]
fn trials_keep_their_factors_over_several_files() {
    let folder = Folder::new();
    folder.put("trials_1.csv", "trial,tree,replicate,Pruning level\nX,T1,1,0.2\nX,T2,1,\n");
    folder.put("trials_2.csv", "trial,tree,replicate,Timing\nY,T1,1,early\n");
    let tables = folder.read();
    assert_eq!(column(&tables, Table::Trials, "pruning_level"), ["0.2", "null", "null"]);
    assert_eq!(column(&tables, Table::Trials, "timing"), ["null", "null", "early"]);
    let last = tables.files.len() as u32 - 1;
    let files = [last - 1, last - 1, last].map(|file| file.to_string());
    assert_eq!(column(&tables, Table::Trials, ".file"), files);
}

#[test]
fn headings_in_another_language_are_shown_instead_of_the_title_above() {
    let folder = Folder::new();
    folder.put(
        "harvests.csv",
        "Colheita 2024;;\n\nCajueiro;Dia;Peso\nT1;2024-03-01;3\nT2;2024-03-02;4\n",
    );
    let told = folder.refused();
    let missing = told.iter().find(|p| p.code == Code::ColumnMissing).unwrap();
    assert_eq!(missing.place.line, Some(3), "{told:?}");
    assert!(missing.what.contains("found: Cajueiro, Dia, Peso"), "{}", missing.what);
}

#[test]
fn a_column_that_means_nothing_is_not_told_again() {
    let folder = Folder::new();
    folder.put("harvests.csv", "tree,date,nut_kg,Obs.,nut_cuont\nT1,2024-03-01,3,late,5\n");
    folder.settings("[[files.harvests]]\npath = \"harvests.csv\"\nnot_columns = [\"obs\"]\n");
    let tables = folder.read();
    let told: Vec<_> = tables.problems.iter().filter(|p| p.code == Code::ColumnUnknown).collect();
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].what.contains("'nut_cuont'"), "{told:?}");
}
