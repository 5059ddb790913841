//! The files of a run: escaping, round trips through independent readers, determinism and completeness.

#![expect(clippy::unwrap_used, clippy::expect_used, reason = "helpers of tests fail by panicking")]

mod common;

use common::report;
use report::{Report, advice_fields, summary_text, work_plan_fields, write_outputs};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

const HOSTILE: &str = "=2+3 <script>alert('x')</script> \"&\u{1}";

fn written(report: &report::Report) -> BTreeMap<String, Vec<u8>> {
    let dir = tempfile::tempdir().unwrap();
    write_outputs(report, dir.path()).unwrap();
    let mut files = BTreeMap::new();
    collect(dir.path(), dir.path(), &mut files);
    files
}

fn collect(root: &Path, dir: &Path, files: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(root, &path, files);
        } else {
            let name = path.strip_prefix(root).unwrap().to_str().unwrap().to_owned();
            files.insert(name, fs::read(&path).unwrap());
        }
    }
}

/// A page without its own scripts, of which there are `scripts`.
fn unscripted(page: &str, scripts: usize) -> String {
    let mut parts = page.split("<script");
    let mut out = parts.next().unwrap().to_owned();
    let mut found = 0;
    for part in parts {
        let (script, rest) = part.split_once("</script>").expect("a closed script");
        assert!(!script.contains("alert"), "text of a record stands in a script as markup");
        assert!(!script.contains("fetch") && !script.contains("http"), "a script reaches out");
        out.push_str(rest);
        found += 1;
    }
    assert_eq!(found, scripts);
    out
}

fn text(files: &BTreeMap<String, Vec<u8>>, name: &str) -> String {
    String::from_utf8(files[name].clone()).unwrap()
}

/// Every opened tag is closed in order, attributes are quoted and no stray `<` or `&` is left.
fn assert_well_formed(name: &str, xml: &str) {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = xml;
    while let Some((before, after)) = rest.split_once('<') {
        assert!(!before.contains('>'), "{name}: stray > in {before:?}");
        for part in before.split('&').skip(1) {
            let entity = part.split_once(';').map(|(e, _)| e);
            assert!(
                matches!(entity, Some("amp" | "lt" | "gt" | "quot" | "apos")),
                "{name}: bare & in {before:?}"
            );
        }
        let (tag, tail) = after.split_once('>').expect("an unfinished tag");
        assert_eq!(tag.matches('"').count() % 2, 0, "{name}: quotes of {tag:?}");
        if let Some(closing) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(closing.trim()), "{name}");
        } else if !tag.ends_with('/') {
            open.push(tag.split_whitespace().next().unwrap());
        }
        rest = tail;
    }
    assert!(open.is_empty(), "{name}: left open {open:?}");
    assert!(!xml.chars().any(|c| c.is_control() && c != '\n'), "{name}: control character");
}

#[test]
fn hostile_text_is_shown_and_never_runs() {
    let files = written(&report(HOSTILE));
    let page = text(&files, "index.html");
    let page = unscripted(&page, 3);
    assert!(!page.contains("<b>Ridge"), "markup of a region name reached the page");
    assert!(page.contains("North &#60;b&#62;Ridge"), "the name itself is shown");
    for name in files.keys() {
        let safe = |c: char| c.is_ascii_alphanumeric() || "-_./".contains(c);
        assert!(name.chars().all(safe) && !name.contains(".."), "{name}");
    }
}

#[test]
fn page_needs_no_network_and_no_script() {
    let files = written(&report("plain"));
    for name in ["index.html", "dictionary.html", "crew_sheets.html"] {
        let scripts = match name {
            "index.html" => 3,
            "dictionary.html" => 1,
            _ => 0,
        };
        let page =
            unscripted(&text(&files, name), scripts).replace("http://www.w3.org/2000/svg", "");
        for banned in
            ["http:", "https:", "//cdn", "<script", "<link", "@import", "url(", " onload", "src="]
        {
            assert!(!page.contains(banned), "{name} holds {banned}");
        }
        assert!(page.contains("<html lang=\"en\">"));
    }
}

#[test]
fn page_is_navigable() {
    let page = text(&written(&report("plain")), "index.html");
    let mut ids = BTreeSet::new();
    for part in page.split(" id=\"").skip(1) {
        let id = part.split('"').next().unwrap();
        assert!(ids.insert(id), "id {id} twice");
    }
    for part in page.split("href=\"#").skip(1) {
        let id = part.split('"').next().unwrap();
        assert!(ids.contains(id), "link to nowhere: {id}");
    }
    for part in page.split("aria-labelledby=\"").skip(1) {
        for id in part.split('"').next().unwrap().split(' ') {
            assert!(ids.contains(id), "label from nowhere: {id}");
        }
    }
    // Heading levels never skip one on the way down.
    let mut level = 0;
    for part in page.split("<h").skip(1) {
        if let Some(next) = part.chars().next().and_then(|c| c.to_digit(10)) {
            assert!(next <= level + 1, "h{next} after h{level}");
            level = next;
        }
    }
    let figures = page.matches("<figure>").count();
    assert_eq!(page.matches("<figcaption>").count(), figures);
    // The table of materials folds away as well.
    assert_eq!(page.matches("<details>").count(), figures + 1);
    assert_eq!(page.matches("role=\"img\"").count(), figures);
    // Comparison, five regions, shoots of one, and the parts of the season.
    assert_eq!(figures, 3 + 5 * 4 + 2 + 1);
}

#[test]
fn plots_are_well_formed() {
    let files = written(&report(HOSTILE));
    let plots: Vec<_> = files.keys().filter(|n| n.starts_with("plots/")).collect();
    assert_eq!(plots.len(), 3 + 5 * 4 + 2);
    for name in plots {
        let svg = text(&files, name);
        assert_well_formed(name, &svg);
        assert!(svg.contains("<title") && svg.contains("<desc") && svg.contains("<text"));
    }
}

#[test]
fn advice_json_reads_back() {
    let mut report = report(HOSTILE);
    report.advice.regions[0].present.intensity = 0.1 + 0.2;
    let json = text(&written(&report), "advice.json");
    assert_eq!(serde_json::from_str::<advise::Advice>(&json).unwrap(), report.advice);
    report.advice.regions[0].present.intensity = f64::NAN;
    let dir = tempfile::tempdir().unwrap();
    let refused = write_outputs(&report, dir.path());
    let Err(report::ReportError::NotFinite(what)) = refused else { panic!("{refused:?}") };
    assert!(what.ends_with(" regions.present.intensity"), "{what}");
}

/// Paths of a JSON value in the notation of the dictionary.
fn paths(value: &Value, path: &str, out: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                out.insert(path.clone());
                paths(inner, &path, out);
            }
        }
        Value::Array(list) if path == "regions" => {
            list.iter().for_each(|inner| paths(inner, "regions[]", out));
        }
        Value::Array(list) => {
            for (i, inner) in list.iter().enumerate() {
                out.insert(format!("{path}[{i}]"));
                paths(inner, &format!("{path}[{i}]"), out);
            }
        }
        _ => {}
    }
}

#[test]
fn dictionary_holds_every_field_and_no_other() {
    let report = report("plain");
    let mut found = BTreeSet::new();
    paths(&serde_json::to_value(&report.advice).unwrap(), "", &mut found);
    let known: BTreeSet<String> = advice_fields().iter().map(|f| f.path.to_owned()).collect();
    assert_eq!(found, known);
    let columns: Vec<&str> =
        advice_fields().iter().map(|f| f.column).filter(|c| !c.is_empty()).collect();
    assert_eq!(columns.iter().collect::<BTreeSet<_>>().len(), columns.len());
    let page = text(&written(&report), "dictionary.html");
    for field in advice_fields().iter().chain(work_plan_fields()) {
        assert!(page.contains(field.column) && page.contains(field.path));
    }
}

#[test]
fn laterals_read_back_and_every_field_is_in_the_dictionary() {
    let report = report("plain");
    let files = written(&report);
    let json = text(&files, "laterals.json");
    let back: Vec<report::RegionLaterals> = serde_json::from_str(&json).unwrap();
    assert_eq!(back, report.laterals);
    let mut found = BTreeSet::new();
    fields(&serde_json::from_str(&json).unwrap(), "", &mut found);
    let known: BTreeSet<String> =
        report::laterals_fields().iter().map(|f| f.path.to_owned()).collect();
    assert_eq!(found, known);
}

/// Paths of objects' fields, `[]` standing for each element of a list.
fn fields(value: &Value, path: &str, out: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                let path = format!("{path}.{key}");
                out.insert(path.clone());
                fields(inner, &path, out);
            }
        }
        Value::Array(list) => {
            list.iter().for_each(|inner| fields(inner, &format!("{path}[]"), out))
        }
        _ => {}
    }
}

#[test]
fn laterals_that_were_not_counted_leave_no_trace() {
    let mut report = report("plain");
    report.laterals.clear();
    let page = text(&written(&report), "index.html");
    assert!(!page.contains("Shoots, flowers"));
}

#[test]
fn advice_csv_reads_back() {
    let report = report(HOSTILE);
    let csv = text(&written(&report), "advice.csv");
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let heads: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let expected: Vec<&str> =
        advice_fields().iter().map(|f| f.column).filter(|c| !c.is_empty()).collect();
    assert_eq!(heads, expected);
    let at = |name: &str| heads.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 6);
    for (row, region) in rows.iter().zip(&report.advice.regions) {
        let median = region.net_optimum.as_ref().map(|o| o.median);
        assert_eq!(row[at("net_optimum_median")].parse::<f64>().ok(), median);
        let from = region.advised.as_ref().and_then(|a| a.window).map(|w| w[0].to_string());
        assert_eq!(&row[at("advised_window_from")], from.unwrap_or_default());
    }
    assert_eq!(&rows[3][at("name")], format!("'{HOSTILE}"));
}

#[test]
fn advice_parquet_reads_back() {
    use arrow::array::{Array, AsArray};
    use arrow::datatypes::{Date32Type, Float64Type};
    let report = report("plain");
    let dir = tempfile::tempdir().unwrap();
    write_outputs(&report, dir.path()).unwrap();
    let file = fs::File::open(dir.path().join("advice.parquet")).unwrap();
    let batch = parquet::arrow::arrow_reader::ParquetRecordBatchReader::try_new(file, 64)
        .unwrap()
        .next()
        .unwrap()
        .unwrap();
    assert_eq!(batch.num_rows(), 6);
    let present = batch.column_by_name("present_intensity").unwrap();
    assert_eq!(present.as_primitive::<Float64Type>().value(0), 0.09);
    let from = batch.column_by_name("advised_window_from").unwrap();
    // Witness: 2026-05-03 is day 20576 after 1970-01-01 (GNU date).
    assert_eq!(from.as_primitive::<Date32Type>().value(0), 20_576);
    assert!(from.is_null(4) && from.is_null(5));
}

#[test]
fn same_report_same_bytes() {
    let report = report(HOSTILE);
    let first = written(&report);
    // Longer than the resolution of every time stamp a format may hold (2 s in a zip folder).
    std::thread::sleep(std::time::Duration::from_millis(2_100));
    let second = written(&report);
    assert_eq!(first.keys().collect::<Vec<_>>(), second.keys().collect::<Vec<_>>());
    for (name, bytes) in &first {
        assert!(second[name] == *bytes, "{name} differs");
    }
}

#[test]
fn a_book_without_regions_still_has_a_page() {
    let mut report = report("plain");
    report.advice.regions.clear();
    report.pictures.clear();
    report.plan.blocks.clear();
    report.plan.crews.clear();
    report.quality = report::Quality::default();
    report.method = report::Method::default();
    let page = text(&written(&report), "index.html");
    assert!(page.contains("no regions"));
    assert!(summary_text(&report).contains("no regions"));
}

#[test]
fn missing_numbers_are_dashes() {
    let mut report = report("plain");
    for picture in &mut report.pictures {
        for point in picture.yield_curve.iter_mut().chain(&mut picture.net_curve).take(5) {
            point.median = f64::NAN;
        }
        picture.classes.iter_mut().for_each(|c| c.adjusted_kg = f64::NAN);
        picture.odds.iter_mut().for_each(|o| o.p_net = f64::NAN);
        if let Some(surface) = &mut picture.surface {
            surface.gain_kg[20] = f64::NAN;
            surface.gain_kg.truncate(30);
        }
    }
    report.plan.blocks[0].cost = Some(f64::NAN);
    report.method.coefficients[0].estimate = Some(f64::INFINITY);
    for (name, bytes) in written(&report) {
        let text = String::from_utf8_lossy(&bytes);
        if !name.ends_with("parquet") && !name.ends_with("xlsx") {
            assert!(!text.contains("NaN") && !text.contains(">inf"), "{name}");
        }
    }
}

#[test]
fn unbalanced_rows_are_called_out() {
    let mut report = report("plain");
    assert!(!text(&written(&report), "index.html").contains("✗ NO"));
    report.quality.files[0].rows_kept -= 1;
    assert_eq!(text(&written(&report), "index.html").matches("✗ NO").count(), 1);
}

#[test]
fn one_of_a_thing_is_singular() {
    let mut report = report("");
    let region = &mut report.advice.regions[0];
    (region.rows, region.trees, region.seasons) = (1, 1, 1);
    let page = text(&written(&report), "index.html");
    assert!(page.contains("1 tree-season of 1 tree in 1 season, from"));
}

/// Odds compare what was tried, so one tested class has none, and no odds are certain.
#[test]
fn odds_are_shown_of_tested_intensities_only() {
    let mut report = report("");
    let odds = |report: &report::Report| {
        let page = text(&written(report), "index.html");
        page.matches("<p class=\"title\">Which intensity is best?").count()
    };
    let before = odds(&report);
    report.advice.regions[0].tested_intensity = Some([0.14, 0.16]);
    assert_eq!(odds(&report) + 1, before);
    report.advice.regions[0].tested_intensity = Some([0.14, 0.26]);
    report.pictures[0].odds.iter_mut().for_each(|bar| bar.p_net = f64::from(bar.from > 0.15));
    let files = written(&report);
    let plot = files.keys().find(|name| name.contains("odds")).unwrap();
    let svg = text(&files, plot);
    assert!(svg.contains("&gt;99") && svg.contains("&lt;1"), "{plot}");
}

#[test]
fn without_a_curve_none_is_spoken_of() {
    let mut report = report("");
    report.advice.regions[0].advised = None;
    // Whether the sentence and the legend of a curve stand in the first region's first figure.
    let spoken_of = |report: &report::Report| {
        let page = text(&written(report), "index.html");
        let (_, region) = page.split_once("id=\"region-1\"").unwrap();
        let (figure, _) = region.split_once("</figure>").unwrap();
        assert!(figure.contains("the records cannot tell"));
        [figure.contains("The curve shows"), figure.contains("\ninterval\n")]
    };
    assert_eq!(spoken_of(&report), [true, true]);
    report.pictures[0].yield_curve.clear();
    assert_eq!(spoken_of(&report), [false, false]);
}

#[test]
fn summary_fits_a_terminal() {
    let summary = summary_text(&report(HOSTILE));
    assert!(summary.lines().all(|l| l.chars().count() <= 100), "{summary}");
    assert!(!summary.contains('\u{1}'));
    assert!(summary.contains("Remove 22\u{a0}% of the canopy, from 3 May 2026 to 24 May 2026"));
    let heads: Vec<&str> = summary.lines().take(7).collect();
    assert!(heads[0].starts_with("Region") && heads[6].starts_with("New blocks"));
}

/// Present practice cannot earn more than itself: "under 1 %" beside a gain of 0.00 would read as if
/// keeping it were bad.
#[test]
fn present_practice_has_no_chance_against_itself() {
    let mut report = report("plain");
    let region = &mut report.advice.regions[0];
    let nothing = advise::Interval { median: 0.0, low: 0.0, high: 0.0, level: 0.9 };
    region.gain_over_present_kg = Some(nothing.clone());
    region.net_gain_over_present.as_mut().unwrap().amount = nothing;
    region.p_gain = Some(0.0);
    let summary = summary_text(&report);
    let line = summary.lines().nth(1).unwrap();
    assert!(line.ends_with('–'), "{line}");
    assert!(!line.contains("under 1"), "{line}");
}

/// Where nothing is advised, or present practice, the gain says which intensity it is of.
#[test]
fn a_gain_that_is_not_advised_names_its_intensity() {
    let mut report = report("plain");
    let best = |report: &Report, at: usize| {
        let region = &report.advice.regions[at].region;
        let own = report.pictures.iter().find(|own| own.region == *region).unwrap();
        format!(") at {:.0}\u{a0}%", 100.0 * own.best_intensity)
    };
    let line =
        |report: &Report, at: usize| summary_text(report).lines().nth(at + 1).unwrap().to_owned();
    // Prune, and a trial with advice for the time being, are of the intensity beside them.
    for at in [0, 2] {
        assert!(!line(&report, at).contains(&best(&report, at)), "{}", line(&report, at));
    }
    report.advice.regions[2].interim = None;
    for at in [1, 2] {
        assert!(line(&report, at).contains(&best(&report, at)), "{}", line(&report, at));
    }
}

#[test]
fn an_advised_intensity_beside_the_peak_is_explained_and_the_command_asks_what_the_form_asks() {
    let mut report = report("plain");
    let region = &mut report.advice.regions[0];
    region.advised.as_mut().unwrap().intensity = 0.35;
    region.net_optimum.as_mut().unwrap().median = 0.31;
    let page = text(&written(&report), "index.html");
    assert!(page.contains("The advice names 35\u{a0}%"));
    assert!(page.contains("anacurve whatif BOOK --yield-level 1 --seasons 1"));
    assert!(page.contains("leave at least five trees of each region unpruned"));
}

/// A yield that rises with a delay is no loss of a negative amount; what was not tested has no number.
#[test]
fn a_delay_without_loss_is_told_as_such_and_an_untested_one_has_no_number() {
    let mut report = report("plain");
    let gain = advise::Interval { median: -0.19, low: -0.4, high: 0.02, level: 0.9 };
    let region = &mut report.advice.regions[0];
    region.lateness[0].loss_kg = Some(gain.clone());
    region.lateness[0].net_loss = Some(gain);
    report.plan.blocks[0].delay_loss_per_day = None;
    report.plan.blocks.truncate(1);
    let files = written(&report);
    let page = text(&files, "index.html");
    let said = page.replace('\u{a0}', " ");
    assert!(
        said.contains("2 weeks late no loss is expected: the yield changes by +0.19 kg"),
        "{said}"
    );
    assert!(!said.contains("loses −0.19") && !said.contains("loses -0.19"));
    let csv = text(&files, "workplan.csv");
    let rows: Vec<Vec<&str>> = csv.lines().map(|line| line.split(',').collect()).collect();
    let at = rows[0].iter().position(|head| *head == "delay_loss_per_day").unwrap();
    // Counted from the end, as the name of the block is an attack or holds a comma.
    let from_end = rows[0].len() - at;
    let last = rows.last().unwrap();
    assert_eq!(last[last.len() - from_end], "");
}

/// A delay that gains is no loss, losses have their limits, and where no block loses by a day late the order says
/// that there is nothing to choose.
#[test]
fn what_a_delay_costs_has_its_limits_and_nothing_is_chosen_by_nothing() {
    let said = |report: &Report| text(&written(report), "index.html").replace('\u{a0}', " ");
    let mut report = report("plain");
    let loses = said(&report);
    assert!(
        loses.contains("2 weeks late loses 0.10 kg (0.02 to 0.18), 11.00 (2.20 to 19.80)"),
        "{loses}"
    );
    assert!(!loses.contains("it chooses nothing"));
    let gain = |median: f64| advise::Interval {
        median,
        low: 2.0 * median,
        high: 0.5 * median,
        level: 0.9,
    };
    let late = &mut report.advice.regions[0].lateness[0];
    (late.loss_kg, late.net_loss) = (Some(gain(-0.2)), Some(gain(-22.0)));
    for block in &mut report.plan.blocks {
        block.delay_loss_per_day = block.delay_loss_per_day.map(|_| 0.0);
    }
    let gains = said(&report);
    assert!(
        gains.contains("2 weeks late gains 0.20 kg (0.10 to 0.40), 22.00 (11.00 to 44.00)"),
        "{gains}"
    );
    assert!(gains.contains("it chooses nothing"));
}

/// The day for which gains are reckoned is explained where it is not the best one; a window that was over when the
/// last record was made is told on the card, in the plan and to the terminal; crew sheets name every season.
#[test]
fn days_that_are_not_the_best_or_are_over_are_told() {
    let mut report = report("plain");
    let said = text(&written(&report), "index.html").replace('\u{a0}', " ");
    assert!(
        said.contains("Gains are reckoned for about 112 days before the flush, near the region")
    );
    let other = "although about 88 days before the flush is expected to earn +0.40 (";
    assert!(said.contains(other), "other dates that may earn more");
    assert!(said.contains("the chance that it earns more is 93 %, and 97.5 % is asked"));
    assert!(said.contains("between 5 % and 40 % nothing was tried, so nothing there is advised"));
    assert!(!said.contains("was over on"), "the window is open");
    report.advice.regions[0].keeps_usual_dates = false;
    report.advice.regions[0].last_record = Some(jiff::civil::date(2026, 6, 1));
    report.advice.regions[1].season = 2027;
    let files = written(&report);
    let said = text(&files, "index.html").replace('\u{a0}', " ");
    assert!(said.contains("which earns most on average over the draws"));
    assert!(said.contains("This window was over on 1 June 2026"), "on the card");
    assert!(said.contains("Their days of work lie in the past"), "in the plan");
    let lines = summary_text(&report).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(lines.contains("was over on 1 June 2026"), "{lines}");
    assert!(text(&files, "crew_sheets.html").contains("2026 and 2027</h1>"));
}

/// A file that feeds several tables stands once, with a number for each.
#[test]
fn a_file_of_several_tables_is_listed_once() {
    let mut report = report("plain");
    let mut second = report.quality.files[0].clone();
    (second.table, second.rows_read, second.rows_kept) = ("trees".to_owned(), 7, 7);
    second.rows_quarantined = 0;
    let file = second.file.clone();
    report.quality.files.push(second);
    let page = text(&written(&report), "index.html");
    assert!(page.contains("; trees<") && page.contains("; 7<"));
    assert_eq!(page.matches(&format!(">{file}<")).count(), 1, "{file}");
}

/// A cost below zero is no riddle: the heading says that wood is off, and its parts add up.
#[test]
fn the_cost_says_that_it_is_after_wood_and_its_parts_add_up() {
    let report = report("plain");
    let files = written(&report);
    let sold = report.plan.blocks.iter().any(|b| b.haul.is_some_and(|haul| haul.value > 0.0));
    let page = text(&files, "index.html");
    assert_eq!(page.contains("Cost after wood"), sold);
    let mut costed = 0;
    for block in &report.plan.blocks {
        let (Some(cost), Some(wages)) = (block.cost, block.wages) else { continue };
        let wood = block.haul.map_or(0.0, |haul| haul.cost - haul.value);
        assert!((cost - wages - block.materials - wood).abs() < 1e-9);
        costed += 1;
    }
    assert!(costed > 0);
    for column in ["cost_after_wood", "wages", "materials_cost", "haulage", "wood_value"] {
        assert!(text(&files, "workplan.csv").lines().next().unwrap().contains(column), "{column}");
    }
}

/// Rounds of one sheet are one row with their sums, and what the book states is no repair.
#[test]
fn rounds_of_one_sheet_are_added_up_and_what_is_stated_is_no_repair() {
    let mut report = report("plain");
    let round = |n| report::FileLine {
        file: "picks.xlsx#2023".into(),
        table: "harvests".into(),
        rows_read: n,
        rows_kept: n,
        repairs: vec![
            ("value-stated".into(), "date".into(), n),
            ("decimal-comma".into(), "nut_kg".into(), 2),
        ],
        ..report::FileLine::default()
    };
    report.quality.files.extend([round(90), round(91), round(92)]);
    let page = text(&written(&report), "index.html");
    let (_, row) = page.split_once("picks.xlsx#2023").unwrap();
    let (row, _) = row.split_once("</tr>").unwrap();
    for cell in [
        "harvests, 3 readings together<",
        ">273<",
        ">decimal-comma in nut_kg: 6<",
        ">value-stated in date: 273<",
    ] {
        assert!(row.contains(cell), "no {cell} in {row}");
    }
    assert!(page.contains("Cells read as book.toml states"));
}
