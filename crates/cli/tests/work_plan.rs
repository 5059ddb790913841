//! The work plan and the what-if through the real program.

#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "helpers of tests fail by panicking"
)]
#![allow(dead_code, reason = "not every test uses every helper")]

mod support;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use support::{Book, anacurve};

/// Files of `plan`, by the help of the command.
const FILES: [&str; 9] = [
    "crew_sheets.html",
    "workplan.xlsx",
    "workplan.csv",
    "materials.csv",
    "shopping.csv",
    "tools.csv",
    "alarms.csv",
    "missing.csv",
    "calendar.ics",
];

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data-demo")
}

/// A small book with crew and products; its trees carry sizes.
fn planned(work: &str) -> Book {
    let book = Book::tidy();
    book.put("book.toml", book.text("book.toml") + work);
    book
}

fn table(dir: &Path, name: &str) -> Vec<Vec<String>> {
    let text = fs::read_to_string(dir.join(name)).unwrap();
    text.lines().map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

#[test]
fn the_demo_has_every_file_and_a_shopping_list_that_adds_up() {
    let out = tempfile::tempdir().unwrap();
    let dir = out.path().join("plan");
    let ran = anacurve(&["plan", demo().to_str().unwrap(), "--out", dir.to_str().unwrap()]);
    // One site's crew is too small for its window: the plan is written, and the code says so.
    assert_eq!((ran.code, ran.stderr.as_str()), (1, ""), "{}", ran.stdout);
    for name in FILES {
        assert!(fs::metadata(dir.join(name)).unwrap().len() > 20, "{name}");
    }
    let alarms = table(&dir, "alarms.csv");
    assert_eq!((alarms.len(), alarms[1][0].as_str()), (2, "Talu Downs site 1"));
    let (needed, held): (f64, f64) = (alarms[1][4].parse().unwrap(), alarms[1][5].parse().unwrap());
    assert!(needed > held);
    let (materials, shopping) = (table(&dir, "materials.csv"), table(&dir, "shopping.csv"));
    assert!(shopping.len() > 3);
    for line in &shopping[1..] {
        let parts = materials.iter().filter(|row| row[6] == line[0]);
        let sum: f64 = parts.map(|row| row[7].parse::<f64>().unwrap()).sum();
        let needed: f64 = line[1].parse().unwrap();
        assert!((sum / needed - 1.0).abs() < 1e-4, "{line:?}: {sum}");
    }
    // A waiting time that the demo leaves open is shown as missing, in the tables and to the crew.
    assert!(materials.iter().any(|row| row[11].starts_with("missing")));
    let sheets = fs::read_to_string(dir.join("crew_sheets.html")).unwrap();
    assert!(sheets.contains("Interval before harvest: missing"));
    // Young trees get tasks, not an intensity.
    let mut plan = table(&dir, "workplan.csv");
    // Its trials name no harvests and so may go on: four blocks are theirs, and the plan says so.
    let of_trials = plan.iter().filter(|row| row[3] == "of_trials").count();
    assert_eq!((of_trials, table(&dir, "missing.csv").len()), (4, 5));
    plan.retain(|row| row[3] != "of_trials");
    let young = plan.iter().find(|row| row[3] == "train").expect("a young block");
    assert_eq!((young[2].as_str(), young[4].as_str()), ("OC13", ""));
    assert_eq!((young[6].as_str(), young[7].as_str()), ("2026-06-01", "2026-08-31"));
    // Trees that present practice leaves unpruned are no work.
    assert!(plan[1..].iter().all(|row| row[4] == "0" || !row[8].is_empty()), "work has its days");
    assert!(sheets.contains("Pinch the leader when it reaches 90 cm."));
    // Dates lie inside the window, and no Sunday is worked on.
    for row in plan[1..].iter().filter(|row| !row[8].is_empty()) {
        assert!(row[6] <= row[8] && row[9] <= row[7], "{row:?}");
    }
    // The order is that of the expected loss of delay, then of the window; where no record tells
    // the loss, the cell is empty.
    let losses: Vec<f64> = plan[1..].iter().map(|row| row[18].parse().unwrap_or(0.0)).collect();
    assert!(losses.is_sorted_by(|a, b| a >= b) && losses[0] > 0.0);
    assert_eq!(young[18], "");
    spreadsheet_opens(&dir);
    calendar_parses(&dir, plan[1..].iter().filter(|row| !row[8].is_empty()).count());
}

/// LibreOffice, where it is installed, converts the plan and says nothing.
fn spreadsheet_opens(dir: &Path) {
    let home = tempfile::tempdir().unwrap();
    let profile = format!("-env:UserInstallation=file://{}", home.path().display());
    let converted = Command::new("soffice")
        .args([&profile, "--headless", "--convert-to", "csv", "--outdir"])
        .arg(home.path())
        .arg(dir.join("workplan.xlsx"))
        .output();
    if let Ok(output) = converted {
        let said = String::from_utf8_lossy(&output.stderr).to_lowercase();
        assert!(output.status.success() && !said.contains("error"), "{said}");
        let text = fs::read_to_string(home.path().join("workplan.csv")).unwrap();
        assert_eq!(text.lines().count(), table(dir, "workplan.csv").len());
    }
}

/// Read back by the parser of Python's icalendar, where it is installed.
fn calendar_parses(dir: &Path, dated: usize) {
    let program = "import sys, icalendar\n\
        found = icalendar.Calendar.from_ical(open(sys.argv[1], 'rb').read())\n\
        events = found.walk('VEVENT')\n\
        assert all(e.decoded('dtend') > e.decoded('dtstart') for e in events)\n\
        assert all('Local rules' in str(e['description']) for e in events)\n\
        assert len({str(e['uid']) for e in events}) == len(events)\n\
        print(len(events))";
    let ran = Command::new("python3").args(["-c", program]).arg(dir.join("calendar.ics")).output();
    if let Ok(output) = ran {
        let said = String::from_utf8_lossy(&output.stderr);
        if !said.contains("ModuleNotFoundError") {
            assert!(output.status.success(), "{said}");
            assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), dated.to_string());
        }
    }
}

#[test]
fn a_product_without_strength_is_refused_not_dosed() {
    let book = planned(
        "[work]\ncrew_size = 2\n\n[products.guard]\nkind = \"insect_protection\"\n\
         target_pct = 0.003\nusual_pct = 0.003\nvolume_l_per_tree = 5\n\n\
         [products.strong]\nkind = \"insect_protection\"\nstrength_pct = 5\n\
         target_pct = 0.2\nusual_pct = 0.003\nvolume_l_per_tree = 5\n",
    );
    let out = tempfile::tempdir().unwrap();
    let dir = out.path().join("plan");
    let ran = anacurve(&["plan", book.arg(), "--out", dir.to_str().unwrap()]);
    assert!(ran.code < 2, "{}", ran.stderr);
    assert!(ran.stdout.contains("[products.guard] strength_pct: not stated"), "{}", ran.stdout);
    assert!(ran.stdout.contains("= 66.67 times the usual concentration"), "{}", ran.stdout);
    assert_eq!(table(&dir, "materials.csv").len(), 1, "no amounts");
    assert_eq!(table(&dir, "shopping.csv").len(), 1, "nothing to buy");
    let sheets = fs::read_to_string(dir.join("crew_sheets.html")).unwrap();
    assert!(!sheets.contains("guard") && !sheets.contains("mL of product"));
}

/// A column of the plan by its name, per line with the block.
fn column(plan: &[Vec<String>], name: &str) -> Vec<(String, String)> {
    let at = plan[0].iter().position(|head| head == name).unwrap();
    plan[1..].iter().map(|row| (row[2].clone(), row[at].clone())).collect()
}

fn planned_in(book: &Book, out: &Path) -> Vec<Vec<String>> {
    let ran = anacurve(&["plan", book.arg(), "--out", out.to_str().unwrap()]);
    assert!(ran.code < 2, "{}", ran.stderr);
    table(out, "workplan.csv")
}

/// A book of one season, which cannot carry advice, with five of B1's trees and all of B2's in a
/// trial of these seasons.
fn with_trial(seasons: &str) -> Book {
    let book = Book::of(support::Plan { seasons: &[2024], ..support::TIDY });
    let settings = format!(
        "[work]\ncrew_size = 2\n\n[products.guard]\nkind = \"insect_protection\"\ntreats = \"all\"\n\
         strength_pct = 5\ntarget_pct = 0.003\nusual_pct = 0.003\nvolume_l_per_tree = 5\n\n\
         [trials.depth]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\n\
         amounts = {{ level = \"fraction\" }}\n{seasons}\n"
    );
    book.put("book.toml", book.text("book.toml") + &settings);
    let mut rows = "trial,tree,replicate,level\n".to_owned();
    for tree in 1..=11 {
        let level = [0.0, 0.15, 0.3, 0.45][tree % 4];
        rows += &format!("depth,T{tree:02},R{},{level}\n", 1 + tree / 4);
    }
    book.put("trials.csv", rows);
    book
}

/// Crews that prune trees of a trial alike have pruned the trial away: its trees are in no line of
/// work, and the sheet of their block says whose they are.
#[test]
fn trees_of_a_trial_that_waits_are_left_to_its_field_sheet() {
    let out = tempfile::tempdir().unwrap();
    let free = planned_in(&with_trial("seasons = [2019]"), &out.path().join("over"));
    let trees = |plan: &[Vec<String>]| column(plan, "trees");
    let line = |block: &str, trees: &str| (block.to_owned(), trees.to_owned());
    let mut all = trees(&free);
    all.sort();
    assert_eq!(all, [line("B1", "6"), line("B2", "6")]);
    // Blocks B1 and B2 hold the trees of even and of odd numbers; T12 alone is in no trial.
    for seasons in ["seasons = [2025]", "seasons = [2025, 2026]", ""] {
        let book = with_trial(seasons);
        let dir = out.path().join("held");
        let plan = planned_in(&book, &dir);
        let mut held = trees(&plan);
        held.sort();
        assert_eq!(held, [line("B1", "1"), line("B2", "0")], "{seasons}");
        let of = |name: &str, block: &str| {
            let found = column(&plan, name).into_iter().find(|(own, _)| own == block);
            found.unwrap().1
        };
        assert_eq!([of("trial_trees", "B1"), of("trial_trees", "B2")], ["5", "6"]);
        assert_eq!([of("trials", "B1"), of("action", "B2")], ["depth", "of_trials"]);
        for empty in ["intensity", "hours", "work_from", "cost_after_wood", "wages"] {
            assert_eq!(of(empty, "B2"), "", "{empty}");
        }
        let materials = table(&dir, "materials.csv");
        assert!(materials[1..].iter().all(|row| row[2] == "B1"), "{materials:?}");
        // Five litres on one tree, and one application.
        assert_eq!(materials[1][4], "5");
        let sheets = fs::read_to_string(dir.join("crew_sheets.html")).unwrap();
        assert!(sheets.contains("5 trees of this block: part of trial depth."));
        assert!(sheets.contains("6 trees of this block: part of trial depth."));
        let missing = fs::read_to_string(dir.join("missing.csv")).unwrap();
        assert_eq!(missing.contains("[trials.depth] seasons"), seasons.is_empty(), "{missing}");
        let ran = anacurve(&["run", book.arg(), "--out", out.path().to_str().unwrap()]);
        assert!(ran.stdout.contains("Trial depth waits for harvest 2025"), "{}", ran.stdout);
        assert!(!ran.stdout.to_lowercase().contains("lay out a trial"), "{}", ran.stdout);
    }
}

/// A trial whose id is mistyped, and a region that no block knows, are told by the plan itself: who works
/// by it reads nothing else.
#[test]
fn a_plan_tells_of_trials_and_blocks_that_it_lost() {
    let out = tempfile::tempdir().unwrap();
    let dir = out.path().join("plan");
    let plan = |book: &Book| anacurve(&["plan", book.arg(), "--out", dir.to_str().unwrap()]);
    let book = with_trial("seasons = [2025]");
    let sound = plan(&book).stdout;
    assert!(!sound.contains("[trials") && !sound.contains("Not in this plan"), "{sound}");
    book.replace("book.toml", "[trials.depth]", "[trials.dept]");
    let typo = plan(&book).stdout;
    assert!(typo.contains("[trials.dept]") && typo.contains("table name 'depth'"), "{typo}");
    let book = planned("[work]\ncrew_size = 2\n");
    book.replace("blocks.csv", "B2,Farm,plain", "B2,Farm,plains");
    let lost = plan(&book);
    assert_eq!(lost.code, 1);
    let said = "Not in this plan: 7 rows of blocks and trees set aside, first blocks.csv:3:";
    assert!(lost.stdout.contains(said), "{}", lost.stdout);
}

/// Adds `trees` with the year they were planted to a book whose trees have none.
fn plant(book: &Book, trees: &[&str]) {
    let rows = book.text("trees.csv");
    let rows = rows.lines().skip(1).map(|row| format!("{row},\n"));
    let planted = trees.iter().map(|tree| format!("{tree}\n"));
    let all: String = rows.chain(planted).collect();
    book.put("trees.csv", format!("tree,block,planted\n{all}"));
}

/// Two lines of a block are two entries: a calendar keeps one of each id.
#[test]
fn entries_of_the_calendar_have_ids_of_their_own() {
    let book = planned(
        "[work]\ncrew_size = 2\nminutes_per_young_tree = 6\n\n[options]\ntraining_age_years = 3\n",
    );
    plant(&book, &["Y1,B1,2024", "Y2,B1,2020"]);
    let out = tempfile::tempdir().unwrap();
    planned_in(&book, out.path());
    let calendar = fs::read_to_string(out.path().join("calendar.ics")).unwrap();
    let ids: Vec<&str> = calendar.lines().filter(|line| line.starts_with("UID")).collect();
    let distinct: std::collections::BTreeSet<&&str> = ids.iter().collect();
    assert!(ids.len() >= 3 && distinct.len() == ids.len(), "{ids:?}");
}

/// Records of trees of ten years and more say nothing of trees of four: these are cut no harder than
/// at present, whatever the advice, and everybody is told.
#[test]
fn trees_younger_than_any_recorded_are_cut_no_harder_than_at_present() {
    let book = planned("[work]\ncrew_size = 2\n\n[options]\ntraining_age_years = 3\n");
    book.append("blocks.csv", "B3,Farm,plain,8,8,2020");
    for tree in 1..=10 {
        book.append("trees.csv", &format!("Y{tree:02},B3"));
    }
    let out = tempfile::tempdir().unwrap();
    let plan = planned_in(&book, &out.path().join("plan"));
    let of = |name: &str, block: &str| {
        column(&plan, name).into_iter().find(|(own, _)| own == block).unwrap().1
    };
    let ran =
        anacurve(&["run", book.arg(), "--out", out.path().to_str().unwrap(), "--format", "json"]);
    let advice: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
    let present = &advice["regions"][0]["present"];
    let as_now = present["intensity"].as_f64().unwrap() / present["share_pruned"].as_f64().unwrap();
    // So much younger than every record, they are left alone.
    let cut: f64 = of("intensity", "B3").parse().unwrap();
    assert!(cut <= as_now && cut == 0.0, "{cut} {as_now}");
    // The youngest recorded: block B2 of 2012 in the harvest of 2022.
    let youngest: f64 = of("youngest_recorded_years", "B3").parse().unwrap();
    assert!((youngest - 10.0).abs() < 1.0, "{youngest}");
    assert_eq!([of("youngest_recorded_years", "B1"), of("delay_loss_per_day", "B3")], ["", ""]);
    let said = "was tried on hardly a tree so young in the records of this region";
    let page = fs::read_to_string(out.path().join("small-book/2025/index.html")).unwrap();
    assert!(page.contains(said));
}

/// Trees whose cut for the harvest advised for is in the records are no work any more; where all of a block
/// are, the plan says why it has no line of it.
#[test]
fn trees_pruned_for_the_harvest_advised_for_are_no_work_any_more() {
    let book = planned("[work]\ncrew_size = 2\n");
    let prunings = |trees: &[u32]| {
        for tree in trees {
            book.append("prunings.csv", &format!("T{tree:02},2024-07-12,0.25,canopy_fraction"));
        }
    };
    let trees = |out: &Path| -> std::collections::BTreeMap<String, String> {
        column(&planned_in(&book, out), "trees").into_iter().collect()
    };
    let out = tempfile::tempdir().unwrap();
    let before = trees(&out.path().join("before"));
    // Every second tree stands in B1.
    prunings(&[2, 4]);
    let after = trees(&out.path().join("after"));
    let number = |of: &std::collections::BTreeMap<String, String>, block: &str| -> u32 {
        of[block].parse().unwrap()
    };
    assert_eq!(number(&after, "B1"), number(&before, "B1") - 2);
    let sheets = fs::read_to_string(out.path().join("after/crew_sheets.html")).unwrap();
    assert!(sheets.contains("2 trees of this block: pruned for this harvest already"));
    prunings(&[6, 8, 10, 12]);
    let none = trees(&out.path().join("none"));
    assert!(!none.contains_key("B1") && none.contains_key("B2"), "{none:?}");
    let missing = fs::read_to_string(out.path().join("none/missing.csv")).unwrap();
    assert!(missing.contains("every tree of the block was pruned for the harvest of 2025"));
}

/// A sheet names the trees of its block that it is not for: young ones beside grown ones, and grown ones pruned
/// already, which a line of training alone tells of.
#[test]
fn sheets_name_trees_of_the_block_that_they_are_not_for() {
    let book = planned("[work]\ncrew_size = 2\n");
    plant(&book, &["Y1,B1,2024"]);
    let done = |trees: &[u32]| {
        for tree in trees {
            book.append("prunings.csv", &format!("T{tree:02},2024-07-12,0.25,canopy_fraction"));
        }
    };
    let out = tempfile::tempdir().unwrap();
    let sheets = |name: &str| {
        planned_in(&book, &out.path().join(name));
        fs::read_to_string(out.path().join(name).join("crew_sheets.html")).unwrap()
    };
    // Before, the sheet of the grown trees names the young one, which it is not for.
    let before = sheets("before");
    assert!(before.contains("1 tree of this block: younger than those of this sheet"), "{before}");
    let alone = "which is not for it. It is not counted here: leave it alone";
    assert!(before.contains(alone) && !before.contains("They are not counted"), "{before}");
    assert!(before.contains("Younger: Y1."));
    done(&[2, 4, 6, 8, 10, 12]);
    let after = sheets("after");
    assert!(after.contains("6 trees of this block: pruned for this harvest already"), "{after}");
    assert!(after.contains("by the records. They are not counted here: leave them alone."));
    assert!(after.contains("Pruned already: T02, T04, T06, T08, T10, T12."));
}

/// The two trees of twelve that were left unlike the kept advice are no present practice; of half the trees
/// it would be one.
#[test]
fn trees_left_to_compare_are_not_what_a_region_does() {
    let changed =
        r#""verdict": "prune", "practice": {"intensity": 0.3, "window": null}, "blocks": []"#;
    // Where present practice was to go on, its plan tells what was to be done.
    let stayed = r#""verdict": "keep", "practice": null, "blocks": [{"block": "B1", "intensity": 0.3,
        "trees": 12, "trees_worked": 12, "days": null}]"#;
    let told = |unlike: usize, advice: &str| {
        let book = Book::tidy();
        let cut = |row: &str| {
            let (tree, rest) = row.split_once(",2023-").unwrap();
            let number: usize = tree.trim_start_matches('T').parse().unwrap();
            let day = rest.split(',').next().unwrap();
            let intensity = if number <= unlike { "0.1" } else { "0.3" };
            format!("{tree},2023-{day},{intensity},canopy_fraction")
        };
        let rows = book.text("prunings.csv");
        let rows: Vec<String> = rows
            .lines()
            .map(|row| if row.contains(",2023-") { cut(row) } else { row.to_owned() })
            .collect();
        book.put("prunings.csv", rows.join("\n") + "\n");
        let kept = format!(
            r#"{{"format": 1, "book": "Small book", "version": "0.1.0", "seed": 1,
            "season": 2024, "regions": [{{"region": "plain", "season": 2024, {advice},
            "present_intensity": 0.2, "predicted": []}}]}}"#
        );
        std::fs::create_dir(book.file("kept")).unwrap();
        book.put("kept/advice-2024.json", kept);
        anacurve(&["check", book.arg()]).stdout
    };
    for advice in [changed, stayed] {
        let few = told(2, advice);
        assert!(
            few.contains("present practice (season 2024): 100 % of the trees pruned, 30 %"),
            "{few}"
        );
        assert!(few.contains("without 2 trees left unlike the advice to compare with"), "{few}");
    }
    // A crew that was to choose its trees left none to compare with.
    let chosen = stayed.replace("\"trees_worked\": 12", "\"trees_worked\": 10");
    assert!(!told(2, &chosen).contains("unlike the advice"));
    let half = told(6, changed);
    assert!(
        half.contains("100 % of the trees pruned, 20 %")
            && !half.contains("left unlike the advice"),
        "{half}"
    );
    // So many are told, as they may be controls or blocks that were not reached.
    let said = "50 % of the trees were treated unlike the advice kept for 2024";
    assert!(half.contains(said) && half.contains("[controls-many]"), "{half}");
    assert!(!told(2, changed).contains("[controls-many]"));
}

/// A tree is trained by its age when it would be cut, not by that at the harvest after.
#[test]
fn training_goes_by_the_age_at_the_cut() {
    // Flush from September: of these two, one is three years old then, the other at the harvest alone.
    for (planted, trained) in [("2021-08-01", false), ("2021-12-01", true)] {
        let book = planned("[work]\ncrew_size = 2\n\n[options]\ntraining_age_years = 3\n");
        book.append("blocks.csv", &format!("B3,Farm,plain,8,8,{planted}"));
        for tree in 1..=10 {
            book.append("trees.csv", &format!("Y{tree:02},B3"));
        }
        let out = tempfile::tempdir().unwrap();
        let plan = planned_in(&book, out.path());
        let found = column(&plan, "action").into_iter().find(|(block, _)| block == "B3").unwrap();
        assert_eq!(found.1 == "train", trained, "{planted}: {}", found.1);
    }
}

/// A season of picking young trees unpruned, or of cutting them lightly, tells nothing of harder cuts:
/// the caution stays until some were cut about as hard as grown trees are to be.
#[test]
fn the_caution_for_young_trees_outlives_a_cautious_season() {
    for (cut, told) in [("", true), ("0.10", true), ("0.30", false)] {
        let book = planned("[work]\ncrew_size = 2\n\n[options]\ntraining_age_years = 3\n");
        book.append("blocks.csv", "B3,Farm,plain,8,8,2020");
        for tree in 1..=10 {
            book.append("trees.csv", &format!("Y{tree:02},B3"));
            book.append("harvests.csv", &format!("Y{tree:02},2024-03-12,{}.5", 2 + tree % 3));
            if !cut.is_empty() {
                let row = format!("Y{tree:02},2023-07-12,{cut},canopy_fraction");
                book.append("prunings.csv", &row);
            }
        }
        let out = tempfile::tempdir().unwrap();
        let plan = planned_in(&book, out.path());
        let of = |name: &str, block: &str| {
            column(&plan, name).into_iter().find(|(own, _)| own == block).unwrap().1
        };
        let asked: f64 = of("intensity", "B1").parse().unwrap();
        assert!((0.16..0.34).contains(&asked), "{asked}");
        let youngest = of("youngest_recorded_years", "B3");
        // The others are of ten years and more.
        assert_eq!(!youngest.is_empty(), told, "{cut}: {youngest}");
        assert!(!told || youngest.parse::<f64>().unwrap() > 9.0, "{cut}: {youngest}");
        // However much the others' practice has risen, no harder than any of their age was cut.
        let own: f64 = of("intensity", "B3").parse().unwrap();
        let cap = cut.parse().unwrap_or(0.0);
        assert!(if told { own == cap } else { own == asked }, "{cut}: {own} {asked}");
        // Trees that are left unpruned need no sheet.
        let sheets = fs::read_to_string(out.path().join("crew_sheets.html")).unwrap();
        assert_eq!(
            sheets.contains("was tried on hardly a tree so young"),
            told && own > 0.0,
            "{cut}"
        );
    }
}

#[test]
fn what_if_refuses_what_cannot_be_and_names_the_range() {
    let book = planned("");
    let asked = |args: &[&str]| anacurve(&[&["whatif", book.arg()], args].concat());
    asked(&["--region", "nowhere"]).fails_saying(&["nowhere", "plain"]);
    asked(&["--seasons", "9"]).fails_saying(&["--seasons", "1 to 3"]);
    asked(&["--seasons", "0"]).fails_saying(&["--seasons", "1 to 3"]);
    // Refused before any book is read, with what was meant.
    let refused = asked(&["--price", "2,5"]);
    assert_eq!(refused.code, 2);
    assert!(refused.stderr.contains("did you mean 2.5?"), "{}", refused.stderr);
    for (option, value, range) in [
        ("--price", "1e15", "from 0 to 1000000000"),
        ("--wage", "1e10", "from 0 to 1000000000"),
        ("--yield-level", "1e6", "from 0 to 100"),
        ("--yield-level", "-0.5", "from 0 to 100"),
        ("--yield-level", "nan", "from 0 to 100"),
        ("--price", "NaN", "no amount of money"),
        ("--wage", "nan", "no amount of money"),
        ("--wage", "inf", "from 0 to 1000000000"),
        ("--wage", "-1", "zero or more"),
        ("--wage", "", "no number"),
    ] {
        let refused = asked(&[option, value]);
        assert_eq!((refused.code, refused.stdout.as_str()), (2, ""), "{option}");
        assert!(refused.stderr.contains(option), "{}", refused.stderr);
        assert!(refused.stderr.contains(range), "{}", refused.stderr);
    }
    // What is taken is shown, in columns that stand apart.
    let most = asked(&["--price", "1e9", "--yield-level", "100", "--seasons", "3"]);
    assert_eq!(most.code, 0, "{}", most.stderr);
    let row = most.stdout.lines().find(|line| line.starts_with("plain")).unwrap();
    let cells: Vec<&str> = row.split("  ").filter(|cell| !cell.is_empty()).collect();
    assert!(cells.len() >= 5 && !row.contains("NaN"), "{}", most.stdout);
    let told = asked(&["--price", "2.5", "--format", "json"]);
    assert_eq!(told.code, 0, "{}", told.stderr);
    let rows: serde_json::Value = serde_json::from_str(&told.stdout).unwrap();
    assert_eq!(rows[0]["scenario"]["price_per_kg"], 2.5);
    assert_eq!(rows[0]["scenario"]["wage_per_hour"], 0.9);
    // Net return = price x kg - cost: doubling price from 2.5 adds 2.5 x kg, so gains move alike.
    let gain = |price: &str| {
        let told = asked(&["--price", price, "--format", "json"]);
        let rows: serde_json::Value = serde_json::from_str(&told.stdout).unwrap();
        rows[0]["outcome"]["gain_per_tree"].as_f64().unwrap()
    };
    assert!((gain("0") + gain("5") - 2.0 * gain("2.5")).abs() < 1e-9, "linear in the price");
}

/// One region, one page, one gain and one chance: the what-if that supposes nothing is the advice.
#[test]
fn what_if_without_a_supposition_is_the_advice() {
    let book = planned("");
    let out = tempfile::tempdir().unwrap();
    let ran =
        anacurve(&["run", book.arg(), "--out", out.path().to_str().unwrap(), "--format", "json"]);
    assert!(ran.code < 2, "{}", ran.stderr);
    let advice: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
    let told = anacurve(&["whatif", book.arg(), "--format", "json"]);
    let rows: serde_json::Value = serde_json::from_str(&told.stdout).unwrap();
    let mut compared = 0;
    for row in rows.as_array().unwrap() {
        let regions = advice["regions"].as_array().unwrap();
        let region = regions.iter().find(|own| own["region"] == row["region"]).unwrap();
        let gain = region["net_gain_over_present"]["median"].as_f64().unwrap();
        let odds = region["returns"]["odds_of_loss"].as_f64().unwrap();
        // The advice is written with six digits.
        let told = |name: &str| row["outcome"][name].as_f64().unwrap();
        assert!(
            (told("gain_per_tree") - gain).abs() <= 1e-5 * gain.abs().max(1e-3),
            "{row} {gain}"
        );
        assert!((told("odds_of_loss") - odds).abs() <= 1e-5, "{row} {odds}");
        compared += 1;
    }
    assert!(compared > 0);
}

#[test]
fn settings_of_work_are_refused_with_their_line() {
    let book = planned("[work]\ncrew_size = -3\n");
    let line = book.text("book.toml").lines().count();
    book.check().fails(&format!("book.toml:{line}"), "setting-impossible");
}

/// The crew is there under another name of its site; to ask for a crew alone would lead astray.
#[test]
fn a_crew_of_a_mistyped_site_is_told_with_its_name() {
    let book = planned("[work.sites.farm]\ncrew_size = 2\n");
    let dir = book.file("plan");
    let ran = anacurve(&["plan", book.arg(), "--out", dir.to_str().unwrap()]);
    let told = ran.stdout.find("[work.sites.farm]: [work.sites] names 'farm'");
    let crew = ran.stdout.find("[work] crew_size: no crew is stated");
    assert!(told.is_some() && told < crew, "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stdout.contains("did you mean") && ran.stdout.contains("'Farm'"), "{}", ran.stdout);
    let correct = "correct the name of the site under [work.sites] first";
    assert!(ran.stdout.contains(correct), "{}", ran.stdout);
}

/// One block pruned for the harvests of even years and the other for those of odd ones: what goes on is a cut
/// of the block whose turn it is, and none of the other, one tree of which was pruned out of turn.
#[test]
fn of_trees_pruned_in_turn_those_whose_turn_it_is_are_work() {
    let book = planned("[work]\ncrew_size = 2\n");
    let turn = |row: &str| {
        let mut cells = row.split(',');
        let number: i32 = cells.next()?.trim_start_matches('T').parse().ok()?;
        let year: i32 = cells.next()?.get(..4)?.parse().ok()?;
        // Even numbers stand in B1, which was pruned in 2021 and 2023, for the harvests after.
        let is_odd = (number + year) % 2 == 1;
        Some(if number == 3 { year == 2023 } else { is_odd })
    };
    let rows = book.text("prunings.csv");
    let rows: Vec<&str> = rows.lines().filter(|row| turn(row).unwrap_or(true)).collect();
    book.put("prunings.csv", rows.join("\n") + "\n");
    let told = anacurve(&["check", book.arg()]).stdout;
    assert!(told.contains("present practice (seasons 2023 to 2024, in turn)"), "{told}");
    let out = tempfile::tempdir().unwrap();
    let plan = planned_in(&book, out.path());
    let mut lines: Vec<String> = column(&plan, "trees")
        .into_iter()
        .zip(column(&plan, "trees_worked"))
        .zip(column(&plan, "action"))
        .map(|(((block, trees), (_, worked)), (_, action))| {
            format!("{block} {worked}/{trees} {action}")
        })
        .collect();
    lines.sort();
    assert_eq!(lines, ["B1 0/6 leave", "B2 0/1 leave", "B2 5/5 trial"]);
}
