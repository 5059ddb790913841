//! A layout made by the program, filled and read back, is analysed without hand edits.

// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[allow(dead_code, reason = "shared with the tests of bad input")]
mod support;

use plantation_sim::{
    Growth, GrowthCv, RegionPlan, Response, TableRow, Timing, TrialFactor, TrueCurve, fill,
};
use serde_json::Value;
use std::fmt::Write as _;
use std::path::PathBuf;
use support::{Book, anacurve};

/// Rows and trees in a row of the block that trials stand in.
const FIELD: (usize, usize) = (12, 8);

/// A small book with a further block `F` of trees that were harvested twice and never pruned.
fn book() -> Book {
    let book = Book::tidy();
    let mut blocks = book.text("blocks.csv");
    blocks.push_str("F,Farm,plain,8,8,2008\n");
    book.put("blocks.csv", blocks);
    let mut trees = "tree,block,row,column\n".to_owned();
    for line in book.text("trees.csv").lines().skip(1) {
        writeln!(trees, "{line},,").unwrap();
    }
    let mut harvests = book.text("harvests.csv");
    for row in 1..=FIELD.0 {
        for column in 1..=FIELD.1 {
            let tree = format!("F{row:02}-{column:02}");
            writeln!(trees, "{tree},F,{row},{column}").unwrap();
            for season in [2022, 2023] {
                let kg = 5.0 + ((row * 7 + column * 3 + season) % 11) as f64 / 4.0;
                writeln!(harvests, "{tree},{season}-03-10,{kg:.2}").unwrap();
            }
        }
    }
    book.put("trees.csv", trees);
    book.put("harvests.csv", harvests);
    book
}

fn growth() -> Growth {
    Growth {
        calendar: RegionPlan::northern_calendar(),
        seasons: vec![2025],
        factors: vec![
            TrialFactor::intensities(&[0.0, 0.1, 0.2, 0.3, 0.4, 0.5]),
            TrialFactor::dates(&[20.0, 45.0]),
            TrialFactor::dressing(1.0),
        ],
        lead_days: 45.0,
        response: Response {
            curve: TrueCurve::Peaked { gain: 0.6, at: 0.30 },
            timing: Timing { best_lead_days: 45.0, width_days: 60.0 },
        },
        base_kg: 7.0,
        cv: GrowthCv {
            replicate: 0.02,
            main_plot: 0.02,
            plot: 0.02,
            tree: 0.03,
            season: 0.1,
            error: 0.03,
        },
    }
}

fn table(csv: &str) -> Vec<TableRow> {
    let mut lines = csv.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let row = |line: &str| {
        let cells = line.split(',').map(str::to_owned);
        head.iter().map(|&name| name.to_owned()).zip(cells).collect()
    };
    lines.map(row).collect()
}

/// Draws a request; the folder with what was written.
fn drawn(book: &Book, request: &str, seed: u64) -> PathBuf {
    book.put("request.toml", request);
    let out = book.file("layout");
    let made = anacurve(&[
        "layout",
        book.file("request.toml").to_str().unwrap(),
        "--book",
        book.arg(),
        "--out",
        out.to_str().unwrap(),
        "--seed",
        &seed.to_string(),
    ]);
    assert_eq!(made.code, 0, "{}", made.stderr);
    out
}

/// Lays out, fills, puts into the book and analyses; the analysis of the only trait.
fn circle(request: &str, seed: u64) -> Value {
    let book = book();
    let out = drawn(&book, request, seed);
    for file in ["map.svg", "field-sheets.html", "field-sheets.xlsx", "layout.json"] {
        assert!(std::fs::metadata(out.join(file)).unwrap().len() > 500, "{file}");
    }
    let trials = std::fs::read_to_string(out.join("trials.csv")).unwrap();
    let section = std::fs::read_to_string(out.join("book-section.toml")).unwrap();
    let filled = fill(&table(&trials), &growth(), seed).unwrap();
    let joined = |name: &str, more: &str| {
        let rows = more.split_once('\n').unwrap().1;
        book.put(name, format!("{}{rows}", book.text(name)));
    };
    joined("prunings.csv", &filled.prunings);
    joined("harvests.csv", &filled.harvests);
    book.put("book.toml", format!("{}\n{section}", book.text("book.toml")));
    book.put("trials.csv", trials);
    let ran = anacurve(&["trial", book.arg(), "--format", "json"]);
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{}", ran.stdout);
    assert!(!ran.stdout.contains("NaN"));
    let found: Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(found[0]["seasons"], serde_json::json!([2025]));
    found[0]["parts"][0]["analysis"].clone()
}

/// Means of a term by level.
fn means(analysis: &Value, term: &str) -> Vec<(String, f64)> {
    let all = analysis["means"].as_array().unwrap();
    let of = all.iter().find(|of| of["term"] == term).unwrap_or_else(|| panic!("no {term}"));
    let mean = |mean: &Value| {
        (mean["levels"][0].as_str().unwrap().to_owned(), mean["mean"].as_f64().unwrap())
    };
    of["means"].as_array().unwrap().iter().map(mean).collect()
}

/// Witness: the curve that filled the book, 1 + 0.6 (2 x - x^2) with x = intensity / 0.3: 1 without a
/// cut, 1.6 at 0.3. A plot scatters by sqrt(0.02^2 + 0.02^2 + 0.03^2 + 0.03^2) = 5.1 % at most, so the
/// ratio of two means of four or more plots lies within 0.051 sqrt(2 / 4) = 3.6 %; three times that.
fn follows_the_truth(found: &[(String, f64)], timing: f64) {
    let truth = |level: f64| 1.0 + timing * 0.6 * (2.0 - level / 0.3) * level / 0.3;
    let (first, base) = (found[0].0.parse::<f64>().unwrap(), found[0].1);
    for (level, mean) in found {
        let expected = truth(level.parse().unwrap()) / truth(first);
        assert!((mean / base / expected - 1.0).abs() < 0.108, "{level}: {found:?}");
    }
}

fn intensity(levels: &str, on: &str) -> String {
    format!(
        "[[factors]]\nname = \"intensity_level\"\nlevels = [{levels}]\nunit = \"fraction\"\n{on}\n"
    )
}

const FIELD_F: &str = "[field]\nblocks = [\"F\"]\n";

#[test]
fn randomised_blocks_balanced_for_the_earlier_crop() {
    let request = format!(
        "trial = \"F 1\"\ndesign = \"randomised_blocks\"\nreplicates = 5\n\
         trees_per_plot = {{ rows = 1, columns = 2 }}\n\
         balance = {{ on = [\"earlier_crop\"], acceptance = 0.05 }}\n{}{FIELD_F}",
        intensity("\"0\", \"0.15\", \"0.30\", \"0.45\"", "")
            .replace("0.15", "0.1")
            .replace("0.45", "0.5"),
    );
    let analysis = circle(&request, 1);
    assert_eq!(analysis["plan"]["plots"], 20);
    assert_eq!(analysis["covariate"]["name"], "earlier_crop");
    follows_the_truth(&means(&analysis, "intensity_level"), 1.0);
}

#[test]
fn completely_randomised_latin_square_and_incomplete_blocks() {
    for (design, more, plots) in [
        ("completely_randomised", "replicates = 5", 20),
        ("latin_square", "", 16),
        ("incomplete_blocks", "replicates = 6\nplots_per_block = 2", 24),
    ] {
        let request = format!(
            "trial = \"{design}\"\ndesign = \"{design}\"\n{more}\n{}{FIELD_F}",
            intensity("\"0\", \"0.1\", \"0.30\", \"0.5\"", "")
        );
        let analysis = circle(&request, 2);
        assert_eq!(analysis["plan"]["plots"], plots, "{design}");
        follows_the_truth(&means(&analysis, "intensity_level"), 1.0);
    }
}

/// Witness: at 20 days the lead misses the best by 25 of 60 days, so 1 - (25 / 60)^2 = 0.826 of the
/// effect is left; over both dates 0.913.
#[test]
fn split_plots_and_strips() {
    let dates = |on: &str| {
        format!(
            "[[factors]]\nname = \"lead_days\"\nlevels = [\"20\", \"45\"]\nunit = \"days\"\n{on}\n"
        )
    };
    for design in ["split_plot", "strip_plot"] {
        let request = format!(
            "trial = \"S\"\ndesign = \"{design}\"\nreplicates = 4\n{}{}{FIELD_F}",
            dates("on = \"main_plots\""),
            intensity("\"0.1\", \"0.30\", \"0.5\"", "on = \"sub_plots\"")
        );
        let analysis = circle(&request, 3);
        assert_eq!(analysis["plan"]["plots"], 24, "{design}");
        follows_the_truth(&means(&analysis, "intensity_level"), 0.913);
        let dates = means(&analysis, "lead_days");
        assert!(dates[1].1 > dates[0].1, "{dates:?}");
    }
}

#[test]
fn a_factorial_with_an_untreated_control_beside_it() {
    let request = format!(
        "trial = \"C\"\ndesign = \"randomised_blocks\"\nreplicates = 4\n\
         control = {{ factor = \"intensity_level\", level = \"0\", beside_factorial = true }}\n{}\
         [[factors]]\nname = \"dressing\"\nlevels = [\"bare\", \"dressed\"]\n{FIELD_F}",
        intensity("\"0.1\", \"0.30\"", "")
    );
    let analysis = circle(&request, 4);
    assert_eq!(analysis["plan"]["plots"], 20);
    follows_the_truth(&means(&analysis, "intensity_level"), 1.0);
    let control = analysis["plan"]["cells"].as_array().unwrap().iter();
    assert_eq!(control.filter(|cell| cell["control"] == true).count(), 1);
}

/// Trees that no longer stand get no treatment, and leads get the days of the region's calendar.
///
/// Witness: 45 and 20 days before 1 September are 18 July and 12 August (31 days each of August and July).
#[test]
fn gone_trees_are_left_out_and_leads_have_dates() {
    let book = book();
    let gone = ["F01-02", "F12-08"];
    let trees: Vec<String> = book
        .text("trees.csv")
        .lines()
        .map(|line| match line.split(',').next() {
            Some("tree") => format!("{line},status"),
            Some(id) if id == gone[0] => format!("{line},dead"),
            Some(id) if id == gone[1] => format!("{line},Removida"),
            _ => format!("{line},"),
        })
        .collect();
    book.put("trees.csv", trees.join("\n") + "\n");
    let request = format!(
        "trial = \"S\"\ndesign = \"split_plot\"\nreplicates = 23\n[[factors]]\nname = \"lead_days\"\n\
         levels = [\"20\", \"45\"]\nunit = \"days\"\non = \"main_plots\"\n{}{FIELD_F}",
        intensity("\"0.1\", \"0.30\"", "on = \"sub_plots\"")
    );
    book.put("request.toml", request);
    let (path, out) = (book.file("request.toml"), book.file("laid"));
    let (path, folder) = (path.to_str().unwrap(), out.to_str().unwrap());
    let lay_out = |more: &[&str]| {
        let fixed = ["layout", path, "--book", book.arg(), "--out", folder, "--seed", "3"];
        anacurve(&[&fixed[..], more].concat())
    };
    let ran = lay_out(&[]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(ran.stdout.contains("2 trees (F01-02, F12-08)"), "{}", ran.stdout);
    assert!(ran.stdout.contains("(1 September in plain)"), "{}", ran.stdout);
    let read = |name: &str| std::fs::read_to_string(out.join(name)).unwrap();
    let layout: Value = serde_json::from_str(&read("layout.json")).unwrap();
    assert_eq!(layout["gone"], serde_json::json!(gone));
    for file in ["plots", "guards", "left_over"] {
        let text = layout[file].to_string();
        assert!(gone.iter().all(|id| !text.contains(id)), "{file}: {text}");
    }
    let (trials, page) = (read("trials.csv"), read("field-sheets.html"));
    // 23 replicates of four plots take all but two of the 94 trees that stand.
    assert_eq!((trials.lines().count(), layout["spare_plots"].as_u64()), (1 + 92, Some(2)));
    assert!(gone.iter().all(|id| !trials.contains(id)));
    assert!(
        page.contains("45 days before the flush (18 July)")
            && page.contains("20 days before the flush (12 August)")
    );
    assert!(page.contains("Nuts (kg)") && page.contains("Cut (share of the canopy)"));
    let spoken = lay_out(&["--language", "pt"]);
    assert_eq!(spoken.code, 0, "{}", spoken.stderr);
    let page = read("field-sheets.html");
    assert!(
        page.contains("45 dias antes da brotação (18 de julho)") && page.contains("Castanhas (kg)")
    );
    // A block of which nothing stands any more holds no trial.
    let felled: Vec<String> = book
        .text("trees.csv")
        .lines()
        .map(|line| match line.rsplit_once(',') {
            Some((tree, status)) if tree.starts_with('F') && status.is_empty() => {
                format!("{tree},felled")
            }
            _ => line.to_owned(),
        })
        .collect();
    book.put("trees.csv", felled.join("\n") + "\n");
    lay_out(&[]).fails_saying(&["field.blocks", "none of 96 trees stands any more", "F01-01"]);
}

#[test]
fn the_same_seed_gives_the_same_files_and_another_does_not() {
    let book = book();
    let request = format!(
        "trial = \"R\"\ndesign = \"randomised_blocks\"\nreplicates = 3\n{}{FIELD_F}",
        intensity("\"0\", \"0.1\", \"0.30\"", "")
    );
    book.put("request.toml", request);
    let made = |seed: &str, out: &str| {
        let out = book.file(out);
        let request = book.file("request.toml");
        let (request, folder) = (request.to_str().unwrap(), out.to_str().unwrap());
        let ran =
            anacurve(&["layout", request, "--book", book.arg(), "--out", folder, "--seed", seed]);
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        ["map.svg", "field-sheets.html", "field-sheets.xlsx", "trials.csv", "layout.json"]
            .map(|file| std::fs::read(out.join(file)).unwrap())
    };
    let first = made("5", "a");
    assert!(first == made("5", "b"));
    assert!(first[3] != made("6", "c")[3]);
}

/// Each site of a trial is drawn by itself under one id, and all are analysed together.
#[test]
fn a_trial_at_several_sites_is_laid_out_site_by_site() {
    let book = book();
    let (mut trees, mut sections) = (Vec::new(), Vec::new());
    for (seed, site) in [(5_u64, "North Hill"), (6, "Farm")] {
        let name = site.to_lowercase().replace(' ', "-");
        let request = format!(
            "trial = \"two\"\nsite = \"{site}\"\ndesign = \"randomised_blocks\"\nreplicates = 4\n\
             [[factors]]\nname = \"intensity_level\"\nlevels = [\"0\", \"0.1\", \"0.3\", \"0.5\"]\n\
             unit = \"fraction\"\n[field]\nrows = 4\ncolumns = 4\nregion = \"plain\"\n"
        );
        let out = drawn(&book, &request, seed);
        let text = |file: &str| std::fs::read_to_string(out.join(file)).unwrap();
        let (rows, section) = (text("trials.csv"), text("book-section.toml"));
        assert!(rows.starts_with("trial,tree,replicate,site,"), "{rows}");
        assert!(section.contains(&format!("as trials-two-{name}.csv")), "{section}");
        let filled = fill(&table(&rows), &growth(), seed).unwrap();
        for (file, more) in [("prunings.csv", filled.prunings), ("harvests.csv", filled.harvests)] {
            let more = more.split_once('\n').unwrap().1.to_owned();
            book.put(file, format!("{}{more}", book.text(file)));
        }
        for table in ["trials", "trees", "blocks"] {
            book.put(&format!("{table}-two-{name}.csv"), text(&format!("{table}.csv")));
        }
        if sections.is_empty() {
            book.put("book.toml", format!("{}\n{section}", book.text("book.toml")));
        }
        trees.extend(rows.lines().skip(1).map(|row| row.split(',').nth(1).unwrap().to_owned()));
        sections.push(section);
        std::fs::remove_dir_all(out).unwrap();
    }
    trees.sort();
    trees.dedup();
    assert_eq!(trees.len(), 32);
    // One section says all of both.
    let keys = |section: &String| -> Vec<String> {
        section.lines().filter(|line| !line.starts_with('#')).map(str::to_owned).collect()
    };
    assert_eq!(keys(&sections[0]), keys(&sections[1]));
    let ran = anacurve(&["trial", book.arg(), "two", "--format", "json"]);
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{}", ran.stdout);
    let found: Value = serde_json::from_str(&ran.stdout).unwrap();
    let sites = &found[0]["together"][0]["combined"]["Ok"];
    assert_eq!(sites["environments"], serde_json::json!(["Farm", "North Hill"]), "{}", found[0]);
    // Witness: the curve that filled the book peaks at 0.30.
    let peak = sites["curves"][0]["maximum"]["peak"]["inside"]["amount"].as_f64().unwrap();
    assert!((peak - 0.30).abs() < 0.1, "{peak}");
    // A request without its site is one of another trial, whose id is taken.
    let request = book.text("request.toml").replace("site = \"Farm\"\n", "");
    book.put("request.toml", request);
    let path = book.file("request.toml");
    let again = anacurve(&[
        "layout",
        path.to_str().unwrap(),
        "--book",
        book.arg(),
        "--seed",
        "1",
        "--out",
        "x",
    ]);
    again.fails_saying(&["trial 'two' is declared", "site = \"NAME\""]);
}
