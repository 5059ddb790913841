//! What a trial of intensities says beside the advice for its region, on both pages.
#![allow(clippy::unwrap_used, reason = "helpers of a test may fail as loudly as the test itself")]

#[path = "support/simulated.rs"]
mod simulated;

use serde_json::Value;
use std::path::Path;

fn json(report: &Path, name: &str) -> Value {
    serde_json::from_str(&std::fs::read_to_string(report.join(name)).unwrap()).unwrap()
}

/// What is said of a region, on the page of the advice and on that of the trials.
fn said(report: &Path, region: &str) -> [Option<String>; 2] {
    ["index.html", "trials.html"].map(|page| {
        let page = std::fs::read_to_string(report.join(page)).unwrap();
        // Spaces that keep a number with its unit are spaces to a reader.
        let page = page.replace(['\u{a0}', '\u{202f}'], " ");
        let (_, said) = page.split_once(&format!("For {region} "))?;
        Some(said.split_once("</p>").unwrap().0.to_owned())
    })
}

fn percent(value: &Value) -> f64 {
    (100.0 * value.as_f64().unwrap()).round()
}

/// Analysis of yield, and the curve over its intensities.
fn yields(trials: &Value) -> (Value, Value) {
    let parts = trials[0]["parts"].as_array().unwrap();
    let part = parts.iter().find(|part| part["trait"]["id"] == "nut-yield").unwrap();
    let curves = part["analysis"]["curves"].as_array().unwrap();
    let curve = curves.iter().find(|curve| curve["within"].is_null()).unwrap();
    (part["analysis"].clone(), curve["maximum"].clone())
}

/// The example book with a trial.
fn put_example(book: &Path) {
    let demo = std::process::Command::new(env!("CARGO_BIN_EXE_anacurve"))
        .args(["demo", book.to_str().unwrap(), "--kind", "trial"])
        .output()
        .unwrap();
    assert!(demo.status.success(), "{}", String::from_utf8_lossy(&demo.stderr));
}

/// Witness: distance and overlap computed here from `advice.json` and `trials.json`.
#[test]
fn advice_and_trial_are_held_against_each_other_on_both_pages() {
    let temporary = tempfile::tempdir().unwrap();
    let (book, out) = (temporary.path().join("book"), temporary.path().join("out"));
    put_example(&book);
    simulated::run(&book, &out, &[], &[]);
    let report = out.join("ombra-terrace-trial-field-invented").join("2027");
    let region = json(&report, "advice.json")["regions"][0].clone();
    let (_, maximum) = yields(&json(&report, "trials.json"));
    let (advised, best) = (&region["advised"]["intensity"], &region["yield_optimum"]);
    let (peak, set) = (&maximum["peak"]["inside"]["amount"], &maximum["set"]["interval"]);
    let number = |value: &Value| value.as_f64().unwrap();
    let points = percent(peak) - percent(advised);
    assert!(points > 1.0, "a book whose trial and advice differ: {points}");
    let overlap = number(&best["low"]) <= number(&set["high"])
        && number(&set["low"]) <= number(&best["high"]);
    let overlap = if overlap { "intervals overlap" } else { "intervals do not overlap" };
    for said in said(&report, "Ombra Terrace").map(Option::unwrap) {
        for part in [
            format!("the advice of {} %", percent(advised)),
            format!("({} tree-seasons)", region["rows"]),
            format!("highest at {} %", percent(&best["median"])),
            format!("puts the highest yield at {} %", percent(peak)),
            format!("{points} percentage points above it; the two {overlap}."),
            "the rows of randomised trials alone".to_owned(),
        ] {
            assert!(said.contains(&part), "{part:?} in {said}");
        }
    }
}

#[test]
fn a_trial_without_an_effect_is_not_read_as_a_best_level() {
    let temporary = tempfile::tempdir().unwrap();
    let (book, out) = (temporary.path().join("book"), temporary.path().join("out"));
    simulated::write(&book);
    let settings = book.join("book.toml");
    let text = std::fs::read_to_string(&settings).unwrap();
    let declared = "[trials.depth]\ndesign = \"randomised_blocks\"\nfactors = [\"intensity_level\"]\n\
                    amounts = { intensity_level = \"fraction\" }\n";
    std::fs::write(&settings, format!("{text}\n{declared}")).unwrap();
    simulated::run(&book, &out, &[], &[]);
    let report = simulated::report(&out);
    let (analysis, _) = yields(&json(&report, "trials.json"));
    let rows = analysis["anova"].as_array().unwrap();
    let row = rows.iter().find(|row| row["source"] == "intensity_level").unwrap();
    let p = row["p"].as_f64().unwrap();
    assert!(p > 0.05, "a book whose trial finds nothing: {p}");
    for said in said(&report, "Hill Side").map(Option::unwrap) {
        assert!(said.contains("found no difference in yield"), "{said}");
        assert!(said.contains(&format!("from 0 % to 60 % (p = {p:.3})")), "{said}");
        assert!(said.contains("already count as evidence in the yield model"), "{said}");
        assert!(!said.contains("puts the highest yield"), "{said}");
    }
    // The other region has no trial, and nothing is said there.
    assert_eq!(said(&report, "Low Land"), [None, None]);
}

/// A trial at sites of two regions stands beside the advice of both, each site by itself; one of dates speaks of these.
#[test]
fn each_site_stands_beside_the_advice_of_its_region() {
    let temporary = tempfile::tempdir().unwrap();
    let (book, out) = (temporary.path().join("book"), temporary.path().join("out"));
    simulated::write(&book);
    let read = |name: &str| std::fs::read_to_string(book.join(name)).unwrap();
    let table = |name: &str| -> Vec<Vec<String>> {
        let cells = |line: &str| line.split(',').map(str::to_owned).collect();
        read(name).lines().map(cells).collect()
    };
    let column = |rows: &[Vec<String>], name: &str| {
        rows[0].iter().position(|own| own == name).unwrap_or_else(|| panic!("{name}"))
    };
    let (blocks, trees, trials) = (table("blocks.csv"), table("trees.csv"), table("trials.csv"));
    let (block, region) = (column(&blocks, "block"), column(&blocks, "region"));
    let is_low = |id: &str| blocks.iter().any(|own| own[block] == id && own[region] == "low_land");
    let (tree, of_block) = (column(&trees, "tree"), column(&trees, "block"));
    let low: Vec<&String> =
        trees.iter().filter(|own| is_low(&own[of_block])).map(|own| &own[tree]).collect();
    let at = |name: &str| column(&trials, name);
    let (trial, of_tree, replicate, level) =
        (at("trial"), at("tree"), at("replicate"), at("intensity_level"));
    let mut text = "trial,tree,replicate,intensity_level,lead_days,place\n".to_owned();
    for row in &trials[1..] {
        text += &format!("{},{},{},{},,up\n", row[trial], row[of_tree], row[replicate], row[level]);
    }
    for (number, tree) in low.iter().enumerate().take(22) {
        let level = ["0", "0.15", "0.3", "0.45", "0.6"][number % 5];
        if number < 10 {
            text += &format!("depth,{tree},L{},{level},,down\n", number / 5);
        } else {
            text += &format!("dates,{tree},D{},,{},down\n", number / 2, 20 + 40 * (number % 2));
        }
    }
    std::fs::write(book.join("trials.csv"), text).unwrap();
    let declared = "[trials.depth]\ndesign = \"randomised_blocks\"\nfactors = [\"intensity_level\"]\n\
                    amounts = { intensity_level = \"fraction\" }\nroles = { site = \"place\" }\n\
                    [trials.dates]\ndesign = \"randomised_blocks\"\nfactors = [\"lead_days\"]\n\
                    amounts = { lead_days = \"days\" }\n";
    std::fs::write(book.join("book.toml"), format!("{}\n{declared}", read("book.toml"))).unwrap();
    simulated::run(&book, &out, &[], &[]);
    let page = std::fs::read_to_string(simulated::report(&out).join("index.html")).unwrap();
    let page = page.replace(['\u{a0}', '\u{202f}'], " ");
    // The paragraph of a trial among those of the region's section.
    let of = |region: &str, trial: &str| {
        let section = page.split(&format!("For {region} ")).nth(1).unwrap_or_default();
        let section = section.split("</section>").next().unwrap_or_default();
        let own = section.split("</p>").find(|said| said.contains(trial));
        own.unwrap_or_default().to_owned()
    };
    let (up, down) = (of("Hill Side", "trial depth"), of("Low Land", "trial depth"));
    assert!(up.contains("trial depth at up (") && !up.contains("at down"), "{up}");
    assert!(down.contains("trial depth at down (10 trees)") && !down.contains("at up"), "{down}");
    let dates = of("Low Land", "trial dates");
    assert!(dates.contains("Of dates trial dates (12 trees) by itself"), "{dates}");
    assert!(of("Hill Side", "trial dates").is_empty());
    // What the advice rests on, and how its records hang together with the trials', is said once for both.
    for once in ["For Low Land ", "so that the two are not independent"] {
        let own = page.split("For Low Land ").nth(1).unwrap().split("</section>").next().unwrap();
        let own = format!("For Low Land {own}");
        assert_eq!(own.matches(once).count(), 1, "{once}");
    }
}

/// Rows that the records contradict, and a plot that may have made the finding: both beside the advice, the first in the
/// terminal and under Data quality too.
#[test]
fn what_is_unsettled_of_a_trial_is_told_beside_the_advice() {
    let temporary = tempfile::tempdir().unwrap();
    let (book, out) = (temporary.path().join("book"), temporary.path().join("out"));
    put_example(&book);
    let read = |name: &str| std::fs::read_to_string(book.join(name)).unwrap();
    let prunings = read("prunings.csv");
    let row = prunings.lines().find(|row| row.starts_with("OT01-001,2024-")).unwrap();
    assert!(row.contains(",0.3,"), "a tree cut by 30 %: {row}");
    std::fs::write(
        book.join("prunings.csv"),
        prunings.replace(row, &row.replace(",0.3,", ",0.03,")),
    )
    .unwrap();
    let trials = read("trials.csv");
    let plot: Vec<&str> = trials
        .lines()
        .filter(|row| row.contains(",OT01-R02-P01,"))
        .map(|row| row.split(',').nth(1).unwrap())
        .collect();
    assert!(!plot.is_empty());
    let heavy = |row: &str| {
        let (start, kg) = row.rsplit_once(',').unwrap();
        let is_own = plot.iter().any(|tree| row.starts_with(&format!("{tree},")));
        let kg = kg.parse::<f64>().ok().filter(|_| is_own);
        kg.map_or_else(|| row.to_owned(), |kg| format!("{start},{:.2}", 2.0 * kg))
    };
    let harvests: Vec<String> = read("harvests.csv").lines().map(heavy).collect();
    std::fs::write(book.join("harvests.csv"), harvests.join("\n") + "\n").unwrap();
    let ran = simulated::run(&book, &out, &[], &[]);
    let terminal = String::from_utf8_lossy(&ran.stdout).into_owned();
    assert!(terminal.contains("trial-slip"), "{terminal}");
    let report = out.join("ombra-terrace-trial-field-invented").join("2027");
    for said in said(&report, "Ombra Terrace").map(Option::unwrap) {
        let unsettled = "1 finding on rows of trial OT-depth, listed under Data quality,";
        assert!(said.contains(unsettled), "{said}");
        assert!(said.contains("Look at the field book first: a plot stands out"), "{said}");
    }
    let page = std::fs::read_to_string(report.join("index.html")).unwrap();
    let (_, quality) = page.split_once("Data quality</h").unwrap();
    assert!(quality.contains("trial-slip") && quality.contains("OT01-001"), "under Data quality");
}
