//! Every column of numbers, named value and figure of the pages leads to how it was computed.

#![expect(clippy::unwrap_used, clippy::expect_used, reason = "helpers of tests fail by panicking")]

mod common;

use common::report;
use report::{
    TrialCell, TrialPart, TrialPlot, TrialReport, TrialSection, TrialTable, write_outputs,
    write_trials,
};
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// What stands between two marks, each time they occur.
fn between<'a>(text: &'a str, open: &str, close: &str) -> Vec<&'a str> {
    let parts = text.split(open).skip(1);
    parts.map(|part| part.split_once(close).expect("a closed element").0).collect()
}

fn page(dir: &Path, name: &str) -> String {
    fs::read_to_string(dir.join(name)).unwrap()
}

/// Captions and headings of numbers, values and figures that have no link.
fn unexplained(html: &str) -> Vec<String> {
    let has_link = |part: &str| part.contains("<a class=\"how\"");
    let mut found = Vec::new();
    for table in between(html, "<table", "</table>") {
        let caption = between(table, "<caption>", "</caption>")[0];
        let heads = between(table, "<th scope=\"col\"", "</th>");
        let numbers = heads.iter().filter(|head| head.contains("class=\"num\""));
        if !has_link(caption) {
            found.extend(numbers.filter(|h| !has_link(h)).map(|h| format!("{caption}: {h}")));
        }
    }
    let plain = |open: &str, close: &str| {
        let all = between(html, open, close).into_iter();
        all.filter(|part| !has_link(part)).map(str::to_owned).collect::<Vec<_>>()
    };
    found.extend(plain("<dt>", "</dt>"));
    found.extend(plain("<figcaption>", "</figcaption>"));
    found
}

/// Links of a page that lead to no id of the page they name.
fn lost(dir: &Path, html: &str) -> Vec<String> {
    let mut found = Vec::new();
    for link in between(html, "<a class=\"how\" href=\"", "\"") {
        let (file, id) = link.split_once('#').expect("a link to a place");
        let target = if file.is_empty() { html.to_owned() } else { page(dir, file) };
        if !target.contains(&format!(" id=\"{id}\"")) {
            found.push(link.to_owned());
        }
    }
    found
}

#[test]
fn every_number_of_the_page_leads_to_an_entry_that_exists() {
    let dir = tempfile::tempdir().unwrap();
    write_outputs(&report("plain"), dir.path()).unwrap();
    let html = page(dir.path(), "index.html");
    assert!(html.matches("<a class=\"how\"").count() > 100);
    assert_eq!(unexplained(&html), Vec::<String>::new());
    assert_eq!(lost(dir.path(), &html), Vec::<String>::new());
    let html = page(dir.path(), "review.html");
    assert!(html.contains("href=\"dictionary.html#review-by\""));
    assert_eq!(unexplained(&html), Vec::<String>::new());
    assert_eq!(lost(dir.path(), &html), Vec::<String>::new());
}

#[test]
fn a_run_without_the_paragraph_falls_back_to_the_dictionary() {
    let mut report = report("plain");
    assert!(report.method.sentences.iter().any(|item| item.id == "surface"));
    let response = |report: &report::Report| {
        let dir = tempfile::tempdir().unwrap();
        write_outputs(report, dir.path()).unwrap();
        let html = page(dir.path(), "index.html");
        assert_eq!(lost(dir.path(), &html), Vec::<String>::new());
        html.contains("href=\"#how-surface\"")
    };
    assert!(response(&report));
    report.method.sentences.clear();
    assert!(!response(&report));
}

#[test]
fn rows_of_the_dictionary_have_ids_of_their_own() {
    let dir = tempfile::tempdir().unwrap();
    write_outputs(&report("plain"), dir.path()).unwrap();
    let html = page(dir.path(), "dictionary.html");
    let ids = between(&html, "<tr id=\"", "\"");
    let fields = report::advice_fields().len()
        + report::laterals_fields().len()
        + report::work_plan_fields().len()
        + report::plan_table_fields().len()
        + report::quarantine_fields().len()
        + report::page_fields().len()
        + report::trial_fields().len()
        + report::review_fields().len();
    assert_eq!(ids.len(), fields);
    assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), fields);
}

fn table(name: &str, rows: usize) -> TrialTable {
    let mut table = TrialTable::new(name, "Means of dressing", &["dressing", "#Mean (kg)"]);
    for row in 0..rows {
        table.rows.push(vec![TrialCell::Text(row.to_string()), TrialCell::Number(Some(1.0), 2)]);
    }
    table
}

fn trial(tables: Vec<TrialTable>, plots: Vec<TrialPlot>) -> TrialReport {
    let section = TrialSection { heading: "Means".into(), tables, plots, ..Default::default() };
    TrialReport {
        id: "T1".into(),
        title: "Dressing".into(),
        sentence: "Dressing changes nothing.".into(),
        facts: vec![("Trees".into(), "40".into())],
        notes: Vec::new(),
        parts: vec![TrialPart {
            heading: "Nut yield".into(),
            slug: "nut-yield".into(),
            finding: String::new(),
            refused: None,
            sections: vec![section],
            files: Vec::new(),
        }],
    }
}

#[test]
fn tables_of_trials_lead_to_the_entry_of_their_kind() {
    let dir = tempfile::tempdir().unwrap();
    write_trials(
        "Book",
        &[trial(vec![table("means-dressing", 3)], Vec::new())],
        "00ff",
        dir.path(),
    )
    .unwrap();
    let html = page(dir.path(), "trials.html");
    assert!(html.contains("href=\"dictionary.html#trials-means\""));
    assert_eq!(unexplained(&html), Vec::<String>::new());
    assert_eq!(lost(dir.path(), &html), Vec::<String>::new());
}

#[test]
fn only_long_tables_are_sorted_and_filtered() {
    let dir = tempfile::tempdir().unwrap();
    let tables = vec![table("means-short", 11), table("means-long", 12)];
    write_trials("Book", &[trial(tables, Vec::new())], "00ff", dir.path()).unwrap();
    let html = page(dir.path(), "trials.html");
    assert_eq!(html.matches("class=\"scroll long\"").count(), 1);
    assert_eq!(html.matches("class=\"scroll\"").count(), 1);
    // A figure's table keeps the order of the figure.
    write_outputs(&report("plain"), dir.path()).unwrap();
    let html = page(dir.path(), "index.html");
    assert!(between(&html, "<figure>", "</figure>").iter().all(|part| !part.contains(" long\"")));
}
