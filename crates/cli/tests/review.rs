//! The season review through the program: parts, kept advice, scores.

#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "helpers of tests fail by panicking"
)]

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

#[allow(dead_code, reason = "shared with the tests of bad input")]
mod support;

use support::Book;

fn demo(dir: &Path) -> PathBuf {
    let book = dir.join("book");
    fs::create_dir(&book).unwrap();
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data-demo");
    for entry in fs::read_dir(source).unwrap() {
        let entry = entry.unwrap();
        if entry.file_type().unwrap().is_file() {
            fs::copy(entry.path(), book.join(entry.file_name())).unwrap();
        }
    }
    book
}

fn anacurve(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_anacurve")).args(arguments).output().unwrap()
}

fn done(arguments: &[&str]) -> String {
    let output = anacurve(arguments);
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {message}");
    String::from_utf8(output.stdout).unwrap()
}

/// The records of a year without a harvest did not stand at its close: the seasons there are, are told.
#[test]
fn through_a_year_without_a_harvest_names_the_seasons_there_are() {
    let book = concat!(env!("CARGO_MANIFEST_DIR"), "/../../data-demo");
    let dir = tempfile::tempdir().unwrap();
    for (command, year) in [("run", "1990"), ("run", "2099"), ("review", "1990")] {
        let out = dir.path().join("out");
        let refused = anacurve(&[command, book, "--through", year, "--out", out.to_str().unwrap()]);
        let message = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert_eq!(refused.status.code(), Some(2), "{message}");
        assert!(message.contains(&format!("no harvest of season {year} is recorded")), "{message}");
        assert!(message.contains("seasons with harvests: 2021, 2022"), "{message}");
        assert!(message.contains("2025, 2026"), "{message}");
        assert!(!out.exists());
    }
}

#[test]
fn advice_kept_one_season_is_scored_the_next_and_never_changes() {
    let dir = tempfile::tempdir().unwrap();
    let book = demo(dir.path());
    let at = |path: &Path| path.to_str().unwrap().to_owned();
    let (name, out) = (at(&book), at(&dir.path().join("out")));

    let told = done(&["run", &name, "--through", "2025", "--keep", "--out", &out]);
    assert!(told.contains("are kept: ") && told.contains("kept/advice-2026.json"), "{told}");
    // A season in which every tree follows leaves nothing to compare with: told while it can be helped.
    assert!(told.contains("Leave at least five trees of each region unpruned"), "{told}");
    let kept = fs::read_to_string(book.join("kept/advice-2026.json")).unwrap();
    // Present practice is kept as the whole mixture that the gain was predicted over.
    let given: Value = serde_json::from_str(&kept).unwrap();
    for region in given["regions"].as_array().unwrap() {
        assert_eq!(region["present"].is_null(), region["practice"].is_null());
        if let Some(others) = region["present"]["others"].as_array() {
            let shares = others.iter().map(|own| own["share"].as_f64().unwrap());
            let all = shares.sum::<f64>() + region["present"]["as_advised"].as_f64().unwrap();
            assert!(others.len() > 1 && (all - 1.0).abs() < 1e-9, "{region}");
        }
    }
    // Advice of an earlier version lacks it, and is no other advice for that.
    let mut earlier = given.clone();
    for region in earlier["regions"].as_array_mut().unwrap() {
        region.as_object_mut().unwrap().remove("present");
    }
    let earlier = earlier.to_string();
    fs::write(book.join("kept/advice-2026.json"), &earlier).unwrap();
    done(&["run", &name, "--through", "2025", "--keep", "--out", &out]);
    assert_eq!(fs::read_to_string(book.join("kept/advice-2026.json")).unwrap(), earlier);
    fs::write(book.join("kept/advice-2026.json"), &kept).unwrap();
    // Later records do not change what was advised: refused, naming the file, and left as it is.
    let edited = kept.replacen("\"intensity\": 0.", "\"intensity\": 0.1", 1);
    fs::write(book.join("kept/advice-2026.json"), &edited).unwrap();
    let refused = anacurve(&["run", &name, "--through", "2025", "--keep", "--out", &out]);
    let message = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert_eq!(refused.status.code(), Some(2));
    assert!(message.contains("advice-2026.json") && message.contains("hint"), "{message}");
    assert_eq!(fs::read_to_string(book.join("kept/advice-2026.json")).unwrap(), edited);
    fs::write(book.join("kept/advice-2026.json"), &kept).unwrap();

    // A region that was kept for another season, as its harvest is at another time of the year, joins in a
    // file of its own, and what stands for the others stays, be it other than what would be advised now.
    let mut parted: Value = serde_json::from_str(&edited).unwrap();
    let last = parted["regions"].as_array_mut().unwrap().pop().unwrap();
    fs::write(book.join("kept/advice-2026.json"), parted.to_string()).unwrap();
    let told = done(&["run", &name, "--through", "2025", "--keep", "--out", &out]);
    assert!(told.contains("advice-2026-2.json"), "{told}");
    assert!(told.contains("stand as they were kept before"), "{told}");
    assert_eq!(fs::read_to_string(book.join("kept/advice-2026.json")).unwrap(), parted.to_string());
    let joined = fs::read_to_string(book.join("kept/advice-2026-2.json")).unwrap();
    let joined: Value = serde_json::from_str(&joined).unwrap();
    assert_eq!(joined["regions"].as_array().unwrap().len(), 1);
    assert_eq!(joined["regions"][0]["region"], last["region"]);
    fs::remove_file(book.join("kept/advice-2026-2.json")).unwrap();
    fs::write(book.join("kept/advice-2026.json"), &kept).unwrap();

    // Advice that no tree followed has no score, and the terminal says why, region by region.
    let mut unfollowed: Value = serde_json::from_str(&kept).unwrap();
    for region in unfollowed["regions"].as_array_mut().unwrap() {
        if !region["practice"].is_null() {
            region["practice"]["intensity"] = 0.97.into();
        }
    }
    fs::write(book.join("kept/advice-2026.json"), unfollowed.to_string()).unwrap();
    let told = done(&["review", &name]);
    assert!(told.contains("No prediction has been scored yet."), "{told}");
    assert!(told.contains("not scored; 0 trees followed it and"), "{told}");
    fs::write(book.join("kept/advice-2026.json"), &kept).unwrap();
    let told = done(&["review", &name]);

    let page = at(&dir.path().join("page"));
    let json = done(&["review", &name, "--keep", "--out", &page, "--format", "json"]);
    let review: Value = serde_json::from_str(&json).unwrap();
    let rows = review["scored"].as_array().unwrap();
    assert!(!rows.is_empty());
    for row in rows {
        assert_eq!(row["season"], 2026);
        // The terminal says of every region what was predicted, what came, and whether it held.
        let quantity = row["quantity"].as_str().unwrap();
        let what =
            if quantity == "gain_over_present" { "present practice" } else { "unpruned trees" };
        let realised = row["realised"].as_f64().unwrap();
        let sign = if realised < 0.0 { '−' } else { '+' };
        let line = told
            .lines()
            .filter(|line| line.contains(&format!(", 2026, gain over {what}: predicted ")))
            .find(|line| {
                let said = format!(
                    "realised {sign}{:.2} at the yields of an average season (",
                    realised.abs()
                );
                line.contains(&said)
            })
            .unwrap_or_else(|| panic!("{row}: {told}"));
        let held = match (row["hit"].as_bool().unwrap(), row["telling"].as_bool().unwrap()) {
            (true, true) => ": a hit.",
            (false, true) => ": a miss.",
            (true, false) => ": within the limits, which tells little.",
            (false, false) => ": outside the limits, which tells little.",
        };
        assert!(line.contains(held), "{line}");
        // The season's own kilograms stand beside, larger or smaller as the season was better or worse.
        let own = &row["in_season"];
        let [gain, otherwise] = ["gain_kg", "otherwise_kg"].map(|name| own[name].as_f64().unwrap());
        assert!(
            line.contains(&format!("else have given these trees {otherwise:.2} kg)")),
            "{line}"
        );
        let over = row["over_kg"].as_f64().unwrap();
        assert!((gain / realised - otherwise / over).abs() < 0.02 * otherwise / over, "{row}");
        let [low, high] = [0, 1].map(|end| row["limits"][end].as_f64().unwrap());
        let realised = row["realised"].as_f64().unwrap();
        assert_eq!(row["hit"], low <= realised && realised <= high);
        // Limits that allow for the error of the realised value are wider than those predicted.
        assert!(low <= row["low"].as_f64().unwrap() && row["high"].as_f64().unwrap() <= high);
    }
    // The parts of every group of every grouping add up to the difference.
    for groups in review["groups"].as_object().unwrap().values() {
        for group in groups.as_array().unwrap() {
            let parts = group["parts"].as_array().unwrap().iter();
            let sum: f64 = parts.map(|part| part["kg"].as_f64().unwrap()).sum();
            assert!((sum - group["difference_kg"].as_f64().unwrap()).abs() < 1e-9);
        }
    }
    let scores = fs::read_to_string(book.join("kept/scores.json")).unwrap();
    let scores: Value = serde_json::from_str(&scores).unwrap();
    assert_eq!(&scores["rows"], &review["scored"]);
    for file in ["review.html", "review.xlsx", "review.json", "review/by-region.csv"] {
        assert!(dir.path().join("page").join(file).exists(), "{file}");
    }

    // A file of a newer program is refused, not half understood.
    let newer = kept.replacen("\"format\": 1", "\"format\": 2", 1);
    fs::write(book.join("kept/advice-2026.json"), newer).unwrap();
    let refused = anacurve(&["review", &name]);
    let message = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert_eq!(refused.status.code(), Some(2));
    assert!(message.contains("newer anacurve"), "{message}");
}

#[test]
fn a_tree_that_fails_is_found_where_it_stands() {
    let dir = tempfile::tempdir().unwrap();
    let book = demo(dir.path());
    // Tree 7 of block VR03 bears next to nothing in the last season.
    let path = book.join("harvests_vesk_ridge.csv");
    let text = fs::read_to_string(&path).unwrap();
    let header = text.lines().next().unwrap().to_owned();
    let tree = text
        .lines()
        .find_map(|line| line.split([',', ';']).find(|cell| cell.starts_with("VR03")))
        .unwrap()
        .to_owned();
    let weight =
        header.split([',', ';']).position(|cell| cell.to_lowercase().starts_with("nut")).unwrap();
    let poor: Vec<String> = text
        .lines()
        .map(|line| {
            let separator = if line.contains(';') { ';' } else { ',' };
            let mut cells: Vec<&str> = line.split(separator).collect();
            let of_season = cells.iter().any(|cell| cell.contains("2026"));
            if of_season && cells.contains(&tree.as_str()) {
                cells[weight] = "0";
            }
            cells.join(&separator.to_string())
        })
        .collect();
    fs::write(&path, poor.join("\n") + "\n").unwrap();
    let json = done(&["review", book.to_str().unwrap(), "--format", "json"]);
    let review: Value = serde_json::from_str(&json).unwrap();
    // Nothing was kept for this book: nothing is scored, and nothing written into it.
    assert!(review["plan"].is_null() && review["scored"].as_array().unwrap().is_empty());
    assert!(!book.join("kept").exists());
    let failing = review["watch"]["sudden"].as_array().unwrap();
    let found = failing.iter().find(|own| own["place"]["tree"] == tree.as_str());
    let place = &found.expect("the tree is listed")["place"];
    assert_eq!(place["block"], "VR03");
    assert!(place["row"].is_u64() && place["column"].is_u64());
}

/// A yield that looks like a slip of the pen is named where it is told of.
#[test]
fn yields_to_check_are_named_on_the_terminal() {
    let book =
        Book::of(support::Plan { trees: 40, seasons: &[2021, 2022, 2023, 2024], varied: true });
    let rows: Vec<String> = book
        .text("harvests.csv")
        .lines()
        .map(|row| match row.strip_prefix("T07,2024") {
            Some(rest) => {
                let (date, kg) = rest.split_once(',').unwrap();
                format!("T07,2024{date},{:.2}", 10.0 * kg.parse::<f64>().unwrap())
            }
            None => row.to_owned(),
        })
        .collect();
    book.put("harvests.csv", rows.join("\n") + "\n");
    let told = done(&["review", book.arg()]);
    let named = told.lines().find(|line| line.trim_start().starts_with("T07 (block B"));
    assert!(named.is_some_and(|line| line.contains(", 2024, ") && line.contains(" kg)")), "{told}");
}

/// Who reads the terminal of a run alone is told the kinds of what `check` tells, and of a clean book nothing.
#[test]
fn a_run_names_the_kinds_of_its_findings() {
    let plan = || support::Plan { trees: 40, seasons: &[2021, 2022, 2023, 2024], varied: true };
    let run = |book: &Book| {
        let out = book.file("out");
        done(&["run", book.arg(), "--out", out.to_str().unwrap()])
    };
    let clean = Book::of(plan());
    assert!(!run(&clean).contains("To look at"));
    let book = Book::of(plan());
    // A pruning twice before one harvest, and rows of no known tree.
    book.append("prunings.csv", "T01,2022-08-29,0.3,shoots");
    book.append("harvests.csv", "T99,2023-03-15,4.0");
    book.append("harvests.csv", "T01,2023-03-40,4.0");
    let checked = anacurve(&["check", book.arg()]);
    let kinds: Vec<String> = String::from_utf8(checked.stdout)
        .unwrap()
        .lines()
        .filter_map(|line| Some(line.split_once(" to look at: ")?.1.to_owned()))
        .collect();
    let told = run(&book);
    let line = told.lines().find(|line| line.starts_with("To look at before")).expect(&told);
    let (_, named) = line.split_once(": ").unwrap();
    let named: Vec<&str> = named.split_once(';').unwrap().0.split(", ").collect();
    assert_eq!(named, kinds, "{told}");
    assert!(named.len() > 1 && told.contains("2 rows were set aside"), "{told}");
    // The file that is named has its columns in the dictionary.
    let rows = book.text("out/small-book/2025/quarantine.csv");
    let columns = report::quarantine_fields().iter().map(|field| field.column);
    let heads: Vec<&str> = columns.chain(["inputs_fingerprint"]).collect();
    assert_eq!(rows.lines().next().unwrap(), heads.join(","));
}

/// Trees that a trial treats in a season are in neither the plan nor the review of it; when it is
/// over they are in both. Advice that changes nothing is kept and told as well.
#[test]
fn plan_and_review_leave_out_the_same_trees_of_trials() {
    for (seasons, planned) in [("[2024]", [1, 0]), ("[2024, 2025]", [1, 0]), ("[2023]", [6, 6])] {
        let book = Book::tidy();
        let section = format!(
            "[trials.depth]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\n\
             amounts = {{ level = \"fraction\" }}\nseasons = {seasons}\n"
        );
        book.put("book.toml", book.text("book.toml") + &section);
        let mut rows = "trial,tree,replicate,level\n".to_owned();
        for tree in 1..=11 {
            rows += &format!("depth,T{tree:02},R{},0.{}\n", 1 + tree / 4, tree % 4);
        }
        book.put("trials.csv", rows);
        let out = tempfile::tempdir().unwrap();
        let out = out.path().to_str().unwrap();
        let told = done(&["run", book.arg(), "--through", "2023", "--keep", "--out", out]);
        assert!(told.contains("kept/advice-2024.json"), "{told}");
        let kept: Value = serde_json::from_str(&book.text("kept/advice-2024.json")).unwrap();
        let blocks = kept["regions"][0]["blocks"].as_array().unwrap();
        let trees = |block: &str| {
            let own = blocks.iter().find(|own| own["block"] == block);
            own.map_or(0, |own| own["trees"].as_u64().unwrap())
        };
        assert_eq!([trees("B1"), trees("B2")], planned, "{seasons}");
        let review: Value =
            serde_json::from_str(&done(&["review", book.arg(), "--format", "json"])).unwrap();
        let all = &review["plan"]["all"]["planned"];
        assert_eq!(all.as_u64().unwrap(), planned.iter().sum::<u64>(), "{seasons}: {review}");
    }
}

/// Two blocks of six and five trees; then the first tree moves, and the second block gets another name.
#[test]
fn a_tree_that_moved_is_found_and_a_block_of_another_name_is_told() {
    let book = Book::tidy();
    let out = tempfile::tempdir().unwrap();
    let out = out.path().to_str().unwrap();
    done(&["run", book.arg(), "--through", "2023", "--keep", "--out", out]);
    let reviewed = || -> Value {
        serde_json::from_str(&done(&["review", book.arg(), "--format", "json"])).unwrap()
    };
    let before = reviewed();
    assert_eq!(before["planned_unseen"].as_array().unwrap().len(), 0);
    let planned = |review: &Value| review["plan"]["all"]["planned"].as_u64().unwrap();

    let mut kept: Value = serde_json::from_str(&book.text("kept/advice-2024.json")).unwrap();
    let blocks = kept["regions"][0]["blocks"].as_array_mut().unwrap();
    let names: Vec<String> =
        blocks.iter().map(|own| own["block"].as_str().unwrap().to_owned()).collect();
    assert_eq!(names, ["B1", "B2"]);
    let trees = book.text("trees.csv");
    let of_first: Vec<&str> = trees
        .lines()
        .filter(|line| line.split(',').any(|cell| cell == "B1"))
        .filter_map(|line| line.split(',').find(|cell| cell.starts_with('T')))
        .collect();
    blocks[0]["ids"] = of_first.clone().into();
    let (first, second) = (of_first.len() as u64, blocks[1]["trees"].as_u64().unwrap());
    assert_eq!(planned(&before), first + second);
    book.put("kept/advice-2024.json", kept.to_string());
    let moved: Vec<String> = trees
        .lines()
        .map(|line| {
            let line = line.replace(",B2", ",B9");
            if line.starts_with(of_first[0]) { line.replace(",B1", ",B9") } else { line }
        })
        .collect();
    book.put("trees.csv", moved.join("\n"));
    book.put("blocks.csv", book.text("blocks.csv").replace("B2,", "B9,"));
    let after = reviewed();
    assert_eq!(planned(&after), first, "every tree of the first block, the moved one too");
    let unseen = &after["planned_unseen"][0];
    assert_eq!((unseen["block"].as_str(), unseen["trees"].as_u64()), (Some("B2"), Some(second)));
    let told = done(&["review", book.arg()]);
    assert!(told.contains("without a harvested tree on record") && told.contains("B2 ("), "{told}");
}
