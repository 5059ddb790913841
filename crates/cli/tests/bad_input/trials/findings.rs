//! Trials that are analysed, and what is told of their rows beside.

use super::{SECTION, book, outcome, plain, refused, told};
use crate::support::{Book, anacurve};
use serde_json::Value;

#[test]
fn check_tells_rows_that_contradict_the_design() {
    // Randomised blocks declared as a Latin square: rows and columns are counted by replicate.
    let section = "[trials.A]\ndesign = \"latin_square\"\nfactors = [\"level\"]\n\
                   roles = { row = \"other\", column = \"plot\" }\n";
    let square = book(section, |tree| {
        let (block, place) = (tree / 4, tree % 4);
        format!("A,T{:02},R{block},P{place},{place},row {block}", tree + 1)
    });
    let ran = square.check();
    ran.finds("trials.csv:2", "trial-not-analysed");
    let what =
        "replicate R0, read as one square, has 1 row and 4 columns for 4 treatments (trials.csv:";
    let found = ran.stdout.lines().find(|line| line.contains(what)).unwrap_or_default();
    // Four lines of the table, three seasons each: every line once, beside the place.
    assert_eq!(found.matches("trials.csv:").count(), 5, "{}", ran.stdout);
    refused(&square, &[what]);
    // A level changed in one row of a plot of two trees.
    let section = format!("{SECTION}roles = {{ plot = \"plot\" }}\n");
    let changed = book(&section, |tree| {
        let level = if tree == 1 { 1 } else { tree / 2 % 2 };
        format!("A,T{:02},R{},P{},{level},x", tree + 1, tree / 4, tree / 2)
    });
    changed.check().finds("trials.csv:2", "trial-not-analysed");
    let ran = anacurve(&["trial", changed.arg()]);
    assert_eq!(ran.code, 1);
    assert_eq!(ran.stdout.matches("plot P0 holds two treatments").count(), 1, "{}", ran.stdout);
    assert!(!ran.stdout.contains("plot plot"), "{}", ran.stdout);
    assert!(ran.stdout.contains("hint: correct the treatment"), "{}", ran.stdout);
}

#[test]
fn values_left_out_are_named_by_tree_and_season() {
    let lost = book(SECTION, plain);
    let kept: Vec<String> = lost
        .text("harvests.csv")
        .lines()
        .filter(|line| !line.starts_with("T03,2023") && !line.starts_with("T03,2024"))
        .map(str::to_owned)
        .collect();
    lost.put("harvests.csv", kept.join("\n") + "\n");
    let trees = lost.text("trees.csv").replace("tree,block", "tree,block,status");
    let trees = trees.replace("T03,B2", "T03,B2,dead");
    let trees: Vec<String> = trees
        .lines()
        .map(
            |line| if line.matches(',').count() < 2 { format!("{line},") } else { line.to_owned() },
        )
        .collect();
    lost.put("trees.csv", trees.join("\n") + "\n");
    let ran = anacurve(&["trial", lost.arg(), "--format", "json"]);
    let found: Value = serde_json::from_str(&ran.stdout).unwrap();
    let plan = found[0]["parts"][0]["analysis"]["plan"]["notes"].to_string();
    let named = "2 of 36 values (12 trees in 3 seasons) missing and left out: T03 in 2023, 2024 \
                 (trials.csv:4)";
    assert!(plan.contains(named), "{plan}");
    let notes = found[0]["notes"].to_string();
    assert!(notes.contains("T03 (dead, no harvest of 2023, 2024)"), "{notes}");
}

#[test]
fn a_mistyped_level_and_a_mistyped_replicate_are_findings() {
    let level = |tree: usize| format!("L{}", tree % 4);
    let row = |tree: usize, level: String, replicate: String| {
        format!("A,T{:02},{replicate},P{tree},{level},x", tree + 1)
    };
    let plain = |tree: usize| row(tree, level(tree), format!("R{}", tree / 4));
    let (text, _) = told(&book(SECTION, plain));
    assert!(!text.contains("Look at the trial table"), "{text}");
    let typed = book(SECTION, |tree| match tree {
        5 => row(tree, "l 1".to_owned(), "R1".to_owned()),
        _ => plain(tree),
    });
    let (text, code) = told(&typed);
    assert_eq!(code, 1, "{text}");
    for says in [
        "level 'l 1' looks like 'L1' and counts as another (trials.csv:7)",
        "level l 1 stands in one of 3 complete blocks only, replicate R1 (trials.csv:7)",
    ] {
        assert!(text.contains(says), "no '{says}' in {text}");
    }
    typed.check().finds("trials.csv:7", "trial-slip");
    // Reading tells levels that differ in case alone; `check` does not say it twice.
    let cased = book(SECTION, |tree| match tree {
        5 => row(tree, "l1".to_owned(), "R1".to_owned()),
        _ => plain(tree),
    });
    let ran = cased.check();
    ran.finds("trials.csv:7:5", "ids-alike").finds("trials.csv:7", "trial-slip");
    assert_eq!(ran.stdout.matches("looks like").count(), 1, "{}", ran.stdout);
    assert!(told(&cased).0.contains("level 'l1' looks like 'L1'"));
    let typed = book(SECTION, |tree| match tree {
        5 => row(tree, level(tree), "R 1".to_owned()),
        _ => plain(tree),
    });
    let (text, code) = told(&typed);
    assert_eq!(code, 1, "{text}");
    assert!(text.contains("replicate R 1 holds 1 of the 4 treatments"), "{text}");
    assert!(text.contains("replicate 'R 1' looks like 'R1'"), "{text}");
}

#[test]
fn amounts_may_be_per_cent_with_the_sign_and_no_more_than_a_hundred() {
    let section = format!("{SECTION}amounts = {{ level = \"fraction\" }}\n");
    let of = |third: &'static str| {
        book(&section, move |tree| {
            let level = ["0", "15%", "30 %", third][tree % 4];
            format!("A,T{:02},R{},P{tree},{level},x", tree + 1, tree / 4)
        })
    };
    let analysis = outcome(&of("0.45")).unwrap();
    let levels = &analysis["plan"]["factors"][0]["levels"];
    assert_eq!(*levels, serde_json::json!(["0", "0.15", "0.3", "0.45"]));
    refused(&of("3"), &["level 3 of level is no fraction", "trials.csv:5"]);
    // What is declared in per cent may bear the sign; another unit may not, and is told what to write.
    let declared = |unit: &str| {
        let section = format!("{SECTION}amounts = {{ level = \"{unit}\" }}\n");
        book(&section, |tree| {
            let level = ["0", "15%", "30 %", "45"][tree % 4];
            format!("A,T{:02},R{},P{tree},{level},x", tree + 1, tree / 4)
        })
    };
    for unit in ["percent", "%"] {
        let analysis = outcome(&declared(unit)).unwrap();
        let levels = &analysis["plan"]["factors"][0]["levels"];
        assert_eq!(*levels, serde_json::json!(["0", "15", "30", "45"]), "{unit}");
    }
    let ran = declared("kg").check();
    ran.finds("trials.csv:3:5", "number-unreadable");
    let hint = "amounts = { level = \"fraction\" } for a share of the canopy, \"percent\" for any";
    assert!(ran.stdout.contains(hint), "{}", ran.stdout);
}

#[test]
fn rows_of_a_trial_set_aside_are_told_where_it_is_analysed() {
    let section = format!("{SECTION}amounts = {{ level = \"kg\" }}\n");
    let level = |tree: usize| if tree == 5 { "much".to_owned() } else { (tree % 4).to_string() };
    let book = book(&section, |tree| {
        format!("A,T{:02},R{},P{tree},{},x", tree + 1, tree / 4, level(tree))
    });
    // A result without one of its plots is a finding, as for `check`.
    let (text, code) = told(&book);
    assert_eq!(code, 1, "{text}");
    let says = "1 row of this trial and its trees was set aside (first trials.csv:7: level 'much' is no number";
    assert!(text.contains(says), "{text}");
    // A pick of a tree of the trial too.
    let harvests = book.text("harvests.csv");
    let first = harvests.lines().find(|line| line.starts_with("T01,")).unwrap().to_owned();
    let (start, _) = first.rsplit_once(',').unwrap();
    book.put("harvests.csv", harvests.replacen(&first, &format!("{start},4000"), 1));
    let (text, _) = told(&book);
    // The row of the trial table comes first, as it takes a tree out of its plot.
    assert!(
        text.contains("2 rows of this trial and its trees were set aside (first trials.csv:7"),
        "{text}"
    );
    // And one that linking rejects: it lies outside every harvest window.
    book.append("harvests.csv", "T02,2024-09-20,3.1");
    let (text, code) = told(&book);
    assert_eq!(code, 1, "{text}");
    assert!(text.contains("3 rows of this trial and its trees were set aside"), "{text}");
    // And a frame with more flowering laterals than laterals.
    let frame = "tree,date,frame_m2,laterals,flowering_laterals\nT03,2023-10-01,1,20,31\n";
    book.put("laterals.csv", frame);
    let (text, _) = told(&book);
    assert!(text.contains("4 rows of this trial and its trees were set aside"), "{text}");
    book.remove("laterals.csv");
    // Where the one harvest after a pruning cannot be read, the rows are the reason, not the season.
    let last = |line: &&str| !line.starts_with('T') || line.contains(",2023-");
    let prunings = book.text("prunings.csv");
    let prunings = prunings.lines().filter(last).collect::<Vec<_>>();
    book.put("prunings.csv", prunings.join("\n") + "\n");
    let harvests = harvests.lines().map(|line| match line.rsplit_once(',') {
        Some((start, _)) if start.contains(",2024-") => format!("{start},much"),
        _ => line.to_owned(),
    });
    book.put("harvests.csv", harvests.collect::<Vec<_>>().join("\n") + "\n");
    let (text, code) = told(&book);
    assert_eq!(code, 1, "{text}");
    let says = "has a harvest after a pruning left to analyse; 12 rows of this trial and its trees were set aside";
    assert!(text.contains(says), "{text}");
    assert!(text.contains("hint: mend the rows set aside"), "{text}");
}

/// Rows that `every_row` makes a trial's are its own when they are set aside.
#[test]
fn rows_of_a_trial_by_every_row_are_told_when_set_aside() {
    let book = book(SECTION, plain);
    let trials = book.text("trials.csv").replace("\nA,", "\n").replace("trial,tree", "tree");
    book.put("trials.csv", trials.replace("T03,", "T99,"));
    let stanza = "[[files.trials]]\npath = \"trials.csv\"\nevery_row = { trial = \"A\" }\n";
    // A second trial: the rows are not those of the only one.
    let other = "[[files.trials]]\npath = \"other.csv\"\n";
    book.put("other.csv", "trial,tree,replicate,level\nB,T01,R0,0\nB,T02,R0,1\n");
    book.put("book.toml", format!("{}\n{stanza}{other}", book.text("book.toml")));
    let (text, code) = told(&book);
    assert_eq!(code, 1, "{text}");
    assert!(text.contains("1 row of this trial and its trees was set aside"), "{text}");
}

/// A level without a value, an id in other capitals, a dead tree with a yield, cuts off the treatment.
#[test]
fn doubts_about_a_trial_are_findings_of_check_and_trial() {
    let doubt = |book: &Book, what: &str| {
        let (text, code) = told(book);
        assert!(code == 1 && text.contains(what), "{what}: {text}");
        let ran = book.check();
        assert!(ran.code == 1 && ran.stdout.contains("[trial-slip]"), "{}", ran.stdout);
        assert!(ran.stdout.contains(what), "{what}: {}", ran.stdout);
    };
    let lost = book(SECTION, plain);
    let is_of_level = |line: &&str| !["T04,", "T08,", "T12,"].iter().any(|t| line.starts_with(t));
    let harvests = lost.text("harvests.csv");
    let kept: Vec<&str> = harvests.lines().filter(is_of_level).collect();
    lost.put("harvests.csv", kept.join("\n") + "\n");
    doubt(&lost, "No tree of level 3 (3 trees) has a value");
    let small = book(SECTION, |tree| plain(tree).replace("A,T05", "a,T05"));
    doubt(&small, "1 row of the trial table under 'a', an id that looks like this one");
    let dead = book(SECTION, plain);
    let trees =
        dead.text("trees.csv").replace("T06,B1", "T06,B1,dead").replace("block", "block,status");
    let trees: Vec<String> = trees
        .lines()
        .map(
            |row| {
                if row.matches(',').count() < 2 { format!("{row},alive") } else { row.to_owned() }
            },
        )
        .collect();
    dead.put("trees.csv", trees.join("\n") + "\n");
    let harvests: Vec<String> = dead
        .text("harvests.csv")
        .lines()
        .map(|row| match row.rsplit_once(',') {
            Some((start, _)) if row.starts_with("T06,") => format!("{start},0"),
            _ => row.to_owned(),
        })
        .collect();
    dead.put("harvests.csv", harvests.join("\n") + "\n");
    doubt(&dead, "1 tree of the trial, first T06, by the tree table no longer there, with 0 kg");
    // Every tree was picked twice but those of one plot, of two trees.
    let short = book(SECTION, |tree| {
        format!("A,T{:02},R{},P{tree},{},x", tree + 1, tree / 6, tree % 6 / 2)
    });
    let twice: Vec<String> = short
        .text("harvests.csv")
        .lines()
        .skip(1)
        .filter(|row| !row.starts_with("T03,") && !row.starts_with("T04,"))
        .map(|row| row.replace("-03-", "-04-"))
        .collect();
    short.put("harvests.csv", format!("{}{}\n", short.text("harvests.csv"), twice.join("\n")));
    doubt(&short, "No tree of the plot of tree T03 has a pick of the round of ");
    // Recorded cuts and days are those of the book, not of these treatments.
    let section = "[trials.A]\ndesign = \"randomised_blocks\"\nfactors = [\"lead_days\", \"cut\"]\n\
         amounts = { lead_days = \"days\", cut = \"fraction\" }\n";
    let off = book(section, plain);
    let rows: Vec<String> = (0..12)
        .map(|tree| {
            let (lead, cut) = (5 * (tree % 2), 0.6 + 0.3 * ((tree / 2 % 2) as f64));
            format!("A,T{:02},R{},{lead},{cut}", tree + 1, tree / 4)
        })
        .collect();
    off.put("trials.csv", format!("trial,tree,replicate,lead_days,cut\n{}\n", rows.join("\n")));
    doubt(&off, "pruned more than 10 days off the treatment's lead days");
    doubt(&off, "pruned more than 10 % of the canopy off the treatment's cut");
}

#[test]
fn a_control_beside_a_factorial_that_is_not_declared_is_told_with_the_line_to_write() {
    // Three plots of the control in blocks of five treatments need fifteen trees; twelve trees make
    // two blocks of six, one level twice as a third date.
    let section = SECTION.replace("[\"level\"]", "[\"level\", \"other\"]");
    let plots = [("0", "-"), ("1", "a"), ("1", "b"), ("2", "a"), ("2", "b"), ("3", "a")];
    let book = book(&section, |tree| {
        let (level, other) = plots[tree % 6];
        format!("A,T{:02},R{},P{tree},{level},{other}", tree + 1, tree / 6)
    });
    let (text, code) = told(&book);
    assert_eq!(code, 1, "{text}");
    let says = "write control = { factor = \"level\", level = \"0\", beside_factorial = true }";
    assert!(text.contains(says), "{text}");
}

/// A book of six plots of two trees, of which every tree is picked on the 5th of the months of 2024
/// that `months` gives for its plot and its place in it.
fn picked(months: impl Fn(usize, usize) -> Vec<usize>) -> Book {
    let section = format!("{SECTION}roles = {{ plot = \"plot\" }}\nseasons = [2024]\n");
    let book = book(&section, |tree| {
        format!("A,T{:02},R{},P{},{},x", tree + 1, tree / 6, tree / 2, tree % 6 / 2)
    });
    let earlier = book.text("harvests.csv");
    let mut rows: Vec<String> =
        earlier.lines().filter(|row| !row.contains(",2024-")).map(str::to_owned).collect();
    for tree in 0..12 {
        for month in months(tree / 2, tree % 2) {
            let kg = 2.0 + ((tree * 7 + month * 5) % 11) as f64 / 10.0;
            rows.push(format!("T{:02},2024-{month:02}-05,{kg:.1}", tree + 1));
        }
    }
    book.put("harvests.csv", rows.join("\n") + "\n");
    book
}

/// A sum over fewer rounds looks like a smaller crop: plots that lack a round are told by check and
/// trial; trees that had nothing to pick, plots picked on days of their own and treatments of which no
/// plot has the round are not.
#[test]
fn plots_that_lack_a_round_of_picks_are_told() {
    let told_by_both = |book: &Book, what: &str| {
        let (text, _) = told(book);
        assert!(text.contains(what), "{what}: {text}");
        let ran = book.check();
        assert!(ran.stdout.contains(what), "{what}: {}", ran.stdout);
    };
    let one = picked(|plot, _| if plot == 3 { vec![2, 3] } else { vec![2, 3, 4] });
    told_by_both(
        &one,
        "No tree of plot P3 has a pick of the round of 5 April 2024, which 5 of 6 plots have",
    );
    let half = picked(|plot, _| if plot < 3 { vec![2] } else { vec![2, 4] });
    told_by_both(&half, "3 of 6 plots, first plot P0, have no pick of the round of 5 April 2024");
    for book in [
        picked(|_, _| vec![2, 3, 4]),
        picked(|plot, tree| if plot == 3 && tree == 0 { vec![2, 3] } else { vec![2, 3, 4] }),
        picked(|plot, _| if plot < 3 { vec![2, 4] } else { vec![3, 5] }),
        picked(|plot, _| if plot % 3 == 1 { vec![3, 4] } else { vec![2, 3, 4] }),
    ] {
        let (text, _) = told(&book);
        assert!(!text.contains("round"), "{text}");
    }
}

/// Fewer rounds than in every season before, while the harvest goes on: said, and no finding.
#[test]
fn a_crop_that_may_not_be_whole_is_told() {
    let book = picked(|_, _| vec![2]);
    let harvests = book.text("harvests.csv");
    let again = |row: &&str| row.contains("-03-");
    let again: Vec<String> =
        harvests.lines().filter(again).map(|row| row.replace("-03-", "-04-")).collect();
    book.put("harvests.csv", format!("{harvests}{}\n", again.join("\n")));
    let (text, _) = told(&book);
    let says = "The harvest of 2024 has 1 round of picks so far, the last on 5 February 2024, where earlier seasons had 2 or more";
    assert!(text.contains(says), "{text}");
    assert!(!book.check().stdout.contains("[trial-slip]"));
    // A book that goes on after the window is over: the crop is in, whatever the number of its rows.
    let tree =
        book.text("harvests.csv").lines().last().unwrap().split(',').next().unwrap().to_owned();
    book.append("harvests.csv", &format!("{tree},2025-03-01,1.0"));
    let (text, _) = told(&book);
    assert!(!text.contains("so far"), "{text}");
}

/// Place of every plot by its name.
fn places(book: &Book) -> Vec<(String, String)> {
    let found = outcome(book).unwrap();
    let units = found["plan"]["units"].as_array().unwrap();
    let of = |unit: &Value| (unit["plot"].to_string(), unit["position"].to_string());
    let mut places: Vec<(String, String)> = units.iter().map(of).collect();
    places.sort();
    places
}

/// Plots of two trees in rows of the tree table, and a field check that finds them.
fn placed(number: impl Fn(usize) -> String) -> Book {
    let book = picked(|_, _| vec![3]);
    let rename = |text: String| {
        (1..=12).rev().fold(text, |text, tree| {
            text.replace(&format!("T{tree:02},"), &format!("{},", number(tree)))
        })
    };
    for file in ["harvests.csv", "prunings.csv", "trials.csv"] {
        book.put(file, rename(book.text(file)));
    }
    let trees = (1..=12)
        .map(|tree| format!("{},B1,{},{}\n", number(tree), 1 + (tree - 1) / 4, 1 + (tree - 1) % 4));
    book.put("trees.csv", format!("tree,block,row,column\n{}", trees.collect::<String>()));
    book
}

/// The middle of a plot does not hang on which of its ids comes first in the alphabet.
#[test]
fn a_plot_stands_in_the_middle_of_its_trees_whatever_their_ids() {
    // Trees 9 and 10 share a plot, and T10 comes before T9 as text.
    let padded = places(&placed(|tree| format!("X{tree:02}")));
    let plain = places(&placed(|tree| format!("X{tree}")));
    assert!(padded.iter().any(|(_, place)| place == "[\"3\",\"1.5\"]"), "{padded:?}");
    assert_eq!(padded, plain);
    // Another trial with rows and columns of its own in the same table takes nothing from this one.
    let book = placed(|tree| format!("X{tree:02}"));
    let table = book.text("trials.csv");
    let mut rows: Vec<String> = table.lines().map(|row| format!("{row},,")).collect();
    rows[0] = format!("{},row,column", table.lines().next().unwrap());
    rows.push("B,X01,R0,P0,0,x,7,9".to_owned());
    book.put("trials.csv", rows.join("\n") + "\n");
    assert_eq!(places(&book), padded);
}

/// Checks and new entries are set apart in sentences that can be read.
#[test]
fn checks_of_an_augmented_trial_differ_among_themselves() {
    let section = "[trials.A]\ndesign = \"augmented_blocks\"\nfactors = [\"level\"]\nchecks = [\"a\", \"b\"]\n";
    let book = book(section, |tree| {
        let level = match tree % 4 {
            0 => "a".to_owned(),
            1 => "b".to_owned(),
            _ => format!("n{tree}"),
        };
        format!("A,T{:02},R{},P{tree},{level},x", tree + 1, tree / 4)
    });
    let (text, _) = told(&book);
    for what in ["between checks and new entries", "among checks", "among new entries"] {
        assert!(text.contains(&format!(" {what} ")), "{what}: {text}");
    }
    assert!(!text.contains("with among") && !text.contains("of among"), "{text}");
}

/// CSV files are for scripts: headings and words in English, whatever language the page has.
#[test]
fn csv_files_of_a_trial_are_the_same_in_every_language() {
    let book = book(&format!("{SECTION}amounts = {{ level = \"days\" }}\n"), plain);
    let files = |language: &str| -> Vec<(String, String)> {
        let out = book.file(language);
        let args = ["trial", book.arg(), "--language", language, "--out", out.to_str().unwrap()];
        anacurve(&args);
        let files = std::fs::read_dir(out.join("trials")).unwrap().map(|file| file.unwrap().path());
        let mut found: Vec<(String, String)> = files
            .filter(|file| file.extension().is_some_and(|ending| ending == "csv"))
            .map(|file| {
                let text = std::fs::read_to_string(&file).unwrap();
                let name = file.file_name().unwrap().to_string_lossy().into_owned();
                (name, text)
            })
            .collect();
        found.sort();
        found
    };
    let english = files("en");
    assert!(english.len() > 5, "{english:?}");
    for ((name, own), (_, english)) in files("pt").iter().zip(&english) {
        assert_eq!(own, english, "{name}");
    }
    let page = std::fs::read_to_string(book.file("pt").join("trials.html")).unwrap();
    assert!(page.contains("DMS 5"), "the page is in Portuguese");
}

/// What makes an earlier trial look more precise than the next one will be is told with its numbers.
#[test]
fn size_tells_what_components_were_adjusted_for_and_a_plot_variance_that_may_be_more() {
    let folder = tempfile::tempdir().unwrap();
    let size = |text: &str| {
        let file = folder.path().join("cv.toml");
        std::fs::write(&file, text).unwrap();
        let file = file.to_str().unwrap();
        let ran = anacurve(&[
            "size",
            "--components",
            file,
            "--treatments",
            "5",
            "--difference",
            "10",
            "--replicates",
            "2,3,4",
            "--trees",
            "4",
            "--seasons",
            "2",
        ]);
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        ran.stdout
    };
    let of_tree = "tree = 4.41\ntree_season = 10.1\n";
    let plain = size(of_tree);
    assert!(plain.contains("of one pair of means chosen in advance: no adjustment"), "{plain}");
    assert!(!plain.contains("adjusted for") && !plain.contains("estimated at 0"), "{plain}");
    let told = size(&format!("adjusted_for = \"earlier_crop\"\nplot_limit = 3.63\n{of_tree}"));
    assert!(told.contains("The components are of values adjusted for earlier crop"), "{told}");
    // The same size with the limit as the plots' own variation has the power that is told.
    let limit = size(&format!("plot = 3.63\n{of_tree}"));
    let power = |text: &str| {
        let line = text.lines().find(|line| line.contains(" 4 per plot")).unwrap();
        line.split_whitespace().last().unwrap().to_owned()
    };
    let says = format!(
        "may be as much as a coefficient of variation of 3.6 % (95 %): 4 replicates, 4 trees per plot, 2 seasons would then have a power of {} %.",
        power(&limit)
    );
    assert!(told.contains(&says), "{says}: {told}");
    assert!(power(&limit) < power(&plain));
}
