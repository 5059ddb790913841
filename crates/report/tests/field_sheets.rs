//! The field sheets of a layout, read back by another program's library.

#![expect(clippy::unwrap_used, reason = "a broken fixture fails the test")]

use calamine::{Data, Reader, Xlsx};
use records::TrialTrait;
use records::{Calendar, Window};
use std::path::Path;
use trials::layout::{Layout, lay_out};
use words::{Language, speaking};

fn layout() -> Layout {
    let request = serde_json::from_value(serde_json::json!({
        "trial": "T",
        "design": "randomised_blocks",
        "replicates": 2,
        "factors": [
            { "name": "lead_days", "levels": ["20", "45"], "unit": "days" },
            { "name": "depth", "levels": ["0", "0.3"], "unit": "fraction" },
        ],
        "field": { "rows": 2, "columns": 4 },
        "guards": { "inside_plots": 1 },
        "trees_per_plot": { "rows": 3, "columns": 3 },
    }))
    .unwrap();
    let window = |start: &str, end: &str| Window {
        start: start.parse().unwrap(),
        end: end.parse().unwrap(),
    };
    let calendar =
        Calendar { harvest: window("02-01", "05-31"), rest: None, flush: window("09-01", "11-30") };
    let mut layout = lay_out(&request, 4).unwrap();
    layout.date_leads(&[("North".to_owned(), calendar)]);
    layout
}

fn sheets(dir: &Path) -> Vec<(String, Vec<Vec<String>>)> {
    let file = std::fs::read(dir.join("field-sheets.xlsx")).unwrap();
    let mut book: Xlsx<_> = Xlsx::new(std::io::Cursor::new(file)).unwrap();
    let names = book.sheet_names().to_vec();
    let text = |cell: &Data| match cell {
        Data::String(text) => text.clone(),
        _ => String::new(),
    };
    let rows = |name: &String| {
        let range = book.worksheet_range(name).unwrap();
        (name.clone(), range.rows().map(|row| row.iter().map(text).collect()).collect())
    };
    names.iter().map(rows).collect()
}

/// Fills are ten; the eleventh treatment is told from the first by more than its code.
#[test]
fn a_map_of_many_treatments_hatches_those_whose_fill_comes_again() {
    let of = |levels: usize| {
        let levels: Vec<String> = (0..levels).map(|level| level.to_string()).collect();
        let request = serde_json::from_value(serde_json::json!({
            "trial": "M",
            "design": "randomised_blocks",
            "replicates": 2,
            "factors": [{ "name": "potash", "levels": levels, "unit": "g" }],
            "field": { "rows": 2, "columns": levels.len() },
        }));
        let dir = tempfile::tempdir().unwrap();
        report::write_layout(&lay_out(&request.unwrap(), 4).unwrap(), dir.path()).unwrap();
        std::fs::read_to_string(dir.path().join("map.svg")).unwrap()
    };
    let (few, many) = (of(10), of(12));
    assert!(!few.contains("hatch"));
    // Two treatments with two plots and a sign of the legend each.
    assert_eq!(many.matches("url(#hatch-1)").count(), 6);
    assert!(many.contains("<pattern id=\"hatch-1\"") && !many.contains("hatch-2"));
}

/// Blocks of like earlier crop lie among each other: lines between them would frame every plot.
#[test]
fn a_map_of_replicates_among_each_other_has_no_heavy_lines_within_the_field() {
    let request = serde_json::from_value(serde_json::json!({
        "trial": "M",
        "design": "randomised_blocks",
        "replicates": 4,
        "factors": [{ "name": "potash", "levels": ["0", "1", "2", "3"], "unit": "g" }],
        "field": { "rows": 4, "columns": 4 },
    }));
    let mut layout = lay_out(&request.unwrap(), 4).unwrap();
    let drawn = |layout: &Layout| {
        let dir = tempfile::tempdir().unwrap();
        report::write_layout(layout, dir.path()).unwrap();
        let map = std::fs::read_to_string(dir.path().join("map.svg")).unwrap();
        (map.matches("stroke-width=\"2.6\"").count(), map.contains("Heavy lines part"))
    };
    let (lines, told) = drawn(&layout);
    // The field has sixteen sides of plots.
    assert!(lines > 16 && told, "{lines}");
    for (at, plot) in layout.plots.iter_mut().enumerate() {
        plot.replicate = format!("{}", (at + at / 4) % 4 + 1);
    }
    assert_eq!(drawn(&layout), (16, false));
}

/// A trial of doses: what is given has a sheet, and each tree as many lines as it is picked.
#[test]
fn a_trial_of_doses_has_sheets_for_what_is_given_and_for_every_pick() {
    let request = serde_json::from_value(serde_json::json!({
        "trial": "P",
        "design": "randomised_blocks",
        "replicates": 2,
        "factors": [{ "name": "potash", "levels": ["0", "250"], "unit": "g" }],
        "field": { "rows": 1, "columns": 4 },
        "trees_per_plot": { "rows": 1, "columns": 2 },
        "picks_per_tree": 3,
        "traits": ["nut_yield", "laterals"],
    }));
    let layout = lay_out(&request.unwrap(), 4).unwrap();
    let dir = tempfile::tempdir().unwrap();
    report::write_layout(&layout, dir.path()).unwrap();
    let sheets = sheets(dir.path());
    let of = |name: &str| sheets.iter().find(|(sheet, _)| sheet == name).map(|(_, rows)| rows);
    let trees = |name: &str| -> Vec<String> {
        let rows = of(name).unwrap().iter().skip(1);
        rows.map(|row| row[0].clone()).filter(|tree| !tree.is_empty()).collect()
    };
    // Eight trees, round by round.
    let (given, picked) = (trees("Treatment"), trees("Harvest"));
    assert_eq!((given.len(), picked.len()), (8, 24));
    assert_eq!((&picked[..8], &picked[16..]), (&given[..], &given[..]));
    let page = std::fs::read_to_string(dir.path().join("field-sheets.html")).unwrap();
    assert!(page.contains("This trial does not vary the cut"));
    // On paper as in the workbook.
    for section in ["given", "pruning", "harvest", "frames"] {
        assert!(page.contains(&format!("<section id=\"{section}\"")), "{section}");
    }
    let section = std::fs::read_to_string(dir.path().join("book-section.toml")).unwrap();
    assert!(section.contains("\"sheets-p.xlsx#Treatment\""), "{section}");
    // Where the cut is what varies, neither is there.
    report::write_layout(&self::layout(), dir.path()).unwrap();
    assert!(!self::sheets(dir.path()).iter().any(|(sheet, _)| sheet == "Treatment"));
    let page = std::fs::read_to_string(dir.path().join("field-sheets.html")).unwrap();
    assert!(!page.contains("This trial does not vary the cut"));
}

#[test]
fn what_is_cut_and_what_is_picked_have_columns_of_their_own_in_the_language_of_the_run() {
    let temporary = tempfile::tempdir().unwrap();
    let write = |language: Language| {
        let dir = temporary.path().join(language.tag());
        speaking(language, || report::write_layout(&layout(), &dir)).unwrap();
        (sheets(&dir), std::fs::read_to_string(dir.join("field-sheets.html")).unwrap())
    };
    let (english, page) = write(Language::English);
    let names: Vec<&str> = english.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names[..5], ["Plots", "Pruning", "Harvest", "Labels", "trials"]);
    assert_eq!(
        english[1].1[0],
        [
            "tree",
            "where",
            "plot",
            "treatment",
            "observed",
            "date",
            "share of the canopy cut, 0.40 for 40 %, 0 where none (intensity)",
            "measured by (measured_as)",
            "minutes",
            "remarks"
        ]
    );
    // Every tree of a plot is cut, and the one in its middle is observed.
    assert_eq!((english[1].1.len(), english[2].1.len()), (8 * 9 + 1, 8 + 1));
    // Below the picks are eight lines for further ones.
    assert_eq!(page.matches("<th scope=\"row\">\u{2026}</th>").count(), 8);
    assert!(english[1].1[1][3].contains("flush ("), "{:?}", english[1].1[1]);
    assert_eq!(page.matches("Nuts (kg)").count(), 1);
    assert!(page.contains("45 days before the flush (18 July), depth 30 %"));
    assert!(page.contains("Lead: days from pruning") && page.contains("1 September in North"));
    let (portuguese, page) = write(Language::Portuguese);
    let names: Vec<&str> = portuguese.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names[..5], ["Parcelas", "Poda", "Colheita", "Etiquetas", "trials"]);
    // Words for people, beside them the column of the book.
    assert_eq!(
        portuguese[2].1[0][5..8],
        ["data (date)", "castanhas, kg (nut_kg)", "umidade, % (moisture_pct)"]
    );
    assert!(page.contains("45 dias antes da brotação (18 de julho), depth 30 %"));
    // The table to be read back is the same in every language.
    assert_eq!(english[4], portuguese[4]);
}

/// Counts of shoots have a sheet of their own, which the lines for the book name, where the trial asks for
/// them and nowhere else.
#[test]
fn traits_counted_in_frames_have_a_sheet() {
    let temporary = tempfile::tempdir().unwrap();
    let write = |traits: Vec<TrialTrait>, name: &str| {
        let dir = temporary.path().join(name);
        report::write_layout(&Layout { traits, ..layout() }, &dir).unwrap();
        (sheets(&dir), std::fs::read_to_string(dir.join("book-section.toml")).unwrap())
    };
    let (counted, section) = write(vec![TrialTrait::NutYield, TrialTrait::Laterals], "counted");
    let (_, frames) = counted.iter().find(|(name, _)| name == "Frames").unwrap();
    assert_eq!(
        frames[0][5..9],
        [
            "date",
            "area of the frame, m2 (frame_m2)",
            "laterals in it (laterals)",
            "those that flower (flowering_laterals)"
        ]
    );
    assert_eq!(frames.len(), 8 + 1);
    assert!(section.contains("# [[files.laterals]]") && section.contains("# sheet = \"Frames\""));
    let (plain, section) = write(vec![TrialTrait::NutYield], "plain");
    assert!(plain.iter().all(|(name, _)| name != "Frames") && !section.contains("laterals"));
}

/// Labels and sheets of two sites of one trial lie in one truck.
#[test]
fn papers_of_a_trial_at_several_sites_name_theirs() {
    let dir = tempfile::tempdir().unwrap();
    let layout = Layout { site: Some("North Hill".to_owned()), ..layout() };
    report::write_layout(&layout, dir.path()).unwrap();
    let sheets = sheets(dir.path());
    let (_, labels) = sheets.iter().find(|(sheet, _)| sheet == "Labels").unwrap();
    assert!(labels[0][0].starts_with("T, North Hill\n"), "{labels:?}");
    let page = std::fs::read_to_string(dir.path().join("field-sheets.html")).unwrap();
    assert!(page.contains("<title>T, North Hill"), "{}", &page[..page.len().min(600)]);
}
