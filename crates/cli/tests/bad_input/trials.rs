//! Trials that contradict their design, their table or themselves.

mod findings;
mod newcomers;

use crate::support::{Book, anacurve};
use serde_json::Value;
use std::fmt::Write as _;

const SECTION: &str = "[trials.A]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\n";

/// A tidy book with a trial of its twelve trees: four levels in three replicates, single-tree plots.
fn book(section: &str, row: impl Fn(usize) -> String) -> Book {
    let book = Book::tidy();
    let mut trials = "trial,tree,replicate,plot,level,other\n".to_owned();
    for tree in 0..12 {
        writeln!(trials, "{}", row(tree)).unwrap();
    }
    book.put("trials.csv", trials);
    book.put("book.toml", format!("{}\n{section}", book.text("book.toml")));
    book
}

fn plain(tree: usize) -> String {
    format!("A,T{:02},R{},P{tree},{},x", tree + 1, tree / 4, tree % 4)
}

/// What became of the only trait: `Ok` of the analysis or `Err` of what and remedy.
fn outcome(book: &Book) -> Result<Value, String> {
    let ran = anacurve(&["trial", book.arg(), "--format", "json"]);
    assert!([0, 1].contains(&ran.code), "{}", ran.stderr);
    assert!(!ran.stdout.contains("NaN") && !ran.stdout.contains("null,\n  null"), "{}", ran.stdout);
    let found: Value = serde_json::from_str(&ran.stdout).expect("one JSON document");
    let part = &found[0]["parts"][0];
    match &part["analysis"] {
        Value::Null => {
            let refused = &part["refused"];
            assert!(refused["remedy"].as_str().unwrap().len() > 10, "{refused}");
            assert_eq!(ran.code, 1);
            Err(refused["what"].as_str().unwrap().to_owned())
        }
        analysis => Ok(analysis.clone()),
    }
}

fn refused(book: &Book, words: &[&str]) {
    let what = outcome(book).expect_err("refused");
    for word in words {
        assert!(what.contains(word), "no '{word}' in {what}");
    }
}

#[test]
fn a_tidy_trial_is_analysed() {
    let analysis = outcome(&book(SECTION, plain)).unwrap();
    assert_eq!(analysis["plan"]["plots"], 12);
    assert!(analysis["anova"].as_array().unwrap().len() > 3);
}

#[test]
fn a_missing_cell_and_a_lost_plot_are_answered_with_what_can_be_estimated() {
    // A plot without a harvest: its tree is known and was never picked.
    let lost = book(SECTION, plain);
    let kept: Vec<String> = lost
        .text("harvests.csv")
        .lines()
        .filter(|line| !line.starts_with("T03"))
        .map(str::to_owned)
        .collect();
    lost.put("harvests.csv", kept.join("\n") + "\n");
    let analysis = outcome(&lost).unwrap();
    assert_eq!(analysis["plan"]["plots"], 11);
    // A combination that no plot has.
    let section =
        "[trials.A]\ndesign = \"completely_randomised\"\nfactors = [\"level\", \"other\"]\n";
    let holed = book(section, |tree| {
        let other = if tree % 4 == 3 { "x" } else { ["x", "y"][tree / 4 % 2] };
        format!("A,T{:02},R{},P{tree},{},{other}", tree + 1, tree / 4, tree % 4)
    });
    match outcome(&holed) {
        Ok(analysis) => {
            let text = analysis.to_string();
            assert!(text.contains("not") || text.contains("no plot"), "{text}");
        }
        Err(what) => assert!(what.contains("level") || what.contains("other"), "{what}"),
    }
}

#[test]
fn designs_that_the_rows_contradict_are_refused_with_the_rows() {
    // One replicate.
    let one = book(SECTION, |tree| format!("A,T{:02},R0,P{tree},{tree},x", tree + 1));
    assert!(outcome(&one).is_err());
    // One level.
    let flat = book(SECTION, |tree| format!("A,T{:02},R{},P{tree},0,x", tree + 1, tree / 4));
    refused(&flat, &["level"]);
    // A treatment twice in a block.
    let twice = book(SECTION, |tree| {
        let level = if tree == 5 { 0 } else { tree % 4 };
        format!("A,T{:02},R{},P{tree},{level},x", tree + 1, tree / 4)
    });
    refused(&twice, &["trials.csv:"]);
    // A plot in two blocks.
    let section = format!("{SECTION}roles = {{ plot = \"plot\" }}\n");
    let split = book(&section, |tree| {
        let plot = if tree == 8 { 0 } else { tree };
        format!("A,T{:02},R{},P{plot},{},x", tree + 1, tree / 4, tree % 4)
    });
    refused(&split, &["P0", "trials.csv:"]);
    // A factor that is the blocks.
    let section =
        "[trials.A]\ndesign = \"completely_randomised\"\nfactors = [\"level\", \"other\"]\n";
    let confounded = book(section, |tree| {
        format!("A,T{:02},R{},P{tree},{},{}", tree + 1, tree / 4, tree % 4, tree % 4)
    });
    refused(&confounded, &["level", "other"]);
    // No Latin square.
    let section = "[trials.A]\ndesign = \"latin_square\"\nfactors = [\"level\"]\n\
                   roles = { row = \"replicate2\", column = \"plot\" }\n";
    let ran = anacurve(&["trial", book(section, plain).arg()]);
    ran.fails("book.toml:21", "column-missing");
}

#[test]
fn all_equal_responses_and_no_error_left() {
    let equal = book(SECTION, plain);
    let same = equal.text("harvests.csv");
    let same: Vec<String> = same
        .lines()
        .map(|line| match line.rsplit_once(',') {
            Some((start, kg)) if kg != "nut_kg" => format!("{start},5.00"),
            _ => line.to_owned(),
        })
        .collect();
    equal.put("harvests.csv", same.join("\n") + "\n");
    refused(&equal, &["same"]);
    let section =
        "[trials.A]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\nseasons = [2024]\n";
    let spent = book(section, |tree| {
        format!("A,T{:02},R{},P{tree},{},x", tree + 1, tree / 6, tree % 6 + 6 * (tree / 6))
    });
    assert!(outcome(&spent).is_err());
}

#[test]
fn text_in_a_number_column_sets_the_row_aside() {
    let section = format!("{SECTION}amounts = {{ level = \"fraction\" }}\n");
    let book = book(&section, |tree| {
        let level = if tree == 4 { "much".to_owned() } else { format!("0,{}", tree % 4) };
        format!("A;T{:02};R{};P{tree};{level};x", tree + 1, tree / 4)
    });
    let text = book.text("trials.csv").replacen(',', ";", 5);
    book.put("trials.csv", text);
    book.check().finds("trials.csv:6:5", "number-unreadable");
    let (_, json, quarantine) = book.check_json();
    assert!(quarantine.contains("A;T05;R1;P4;much;x"), "{quarantine}");
    let links = json["linked"]["tables"].as_array().unwrap();
    let trials = links.iter().find(|links| links["table"] == "trials").unwrap();
    assert_eq!((&trials["kept"], &trials["linked"]), (&12.into(), &11.into()));
    // A decimal comma is a decimal point: the levels are numbers.
    let analysis = outcome(&book).unwrap();
    assert_eq!(analysis["plan"]["factors"][0]["levels"][1], "0.1");
}

/// A row entered twice with another yield beside it is one row of the trial: its tree stays.
#[test]
fn a_row_entered_twice_is_one_row_of_the_trial() {
    let book = book(SECTION, plain);
    let rows = book.text("trials.csv");
    let (head, rows) = rows.split_once('\n').unwrap();
    let rows = rows.lines().map(|row| format!("{row},1.0\n")).collect::<String>();
    book.put("trials.csv", format!("{head},seen_kg\n{rows}"));
    let again = book.append("trials.csv", "A,T12,R2,P11,2,x,2.4");
    let text = book.text("trials.csv");
    let first = text.lines().find(|line| line.starts_with("A,T12,")).unwrap().to_owned();
    book.put("trials.csv", text.replace("A,T12,R2,P11,2,x,2.4", &first.replace(",1.0", ",2.4")));
    let ran = book.check();
    ran.finds(&format!("trials.csv:{again}:2"), "row-duplicate");
    assert_eq!(outcome(&book).unwrap()["plan"]["plots"], 12);
}

#[test]
fn trees_absent_from_the_book_and_trees_in_two_plots() {
    let book = book(SECTION, plain);
    let absent = book.append("trials.csv", "A,T99,R0,P12,0,x");
    let second = book.append("trials.csv", "A,T12,R0,P13,1,x");
    let repeated = book.append("trials.csv", "A,T01,R0,P0,0,x");
    let ran = book.check();
    ran.finds(&format!("trials.csv:{absent}:2"), "tree-unknown");
    ran.finds(&format!("trials.csv:{second}:2"), "tree-in-two-plots");
    ran.finds("trials.csv:13:2", "tree-in-two-plots");
    ran.finds(&format!("trials.csv:{repeated}:2"), "row-duplicate");
    // Both rows of the tree are set aside, so eleven plots are left.
    assert_eq!(outcome(&book).unwrap()["plan"]["plots"], 11);
}

#[test]
fn a_declaration_that_is_wrong_is_refused_with_its_line() {
    // Lines after that of the section.
    for (section, after, code) in [
        ("[trials.A]\ndesign = \"randomised_blocks\"\n", 1, "setting-missing"),
        ("[trials.A]\ndesign = \"rows\"\nfactors = [\"level\"]\n", 1, "book-unreadable"),
        (
            "[trials.A]\ndesign = \"randomised_blocks\"\nfactors = [\"depth\"]\n",
            2,
            "column-missing",
        ),
        (
            "[trials.A]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\n\
             control = { factor = \"level\", level = \"none\" }\n",
            3,
            "setting-impossible",
        ),
    ] {
        let book = book(section, plain);
        let at = 1 + book.text("book.toml").lines().position(|line| line == "[trials.A]").unwrap();
        book.check().fails(&format!("book.toml:{}", at + after), code);
    }
}

#[test]
fn trials_that_are_not_there() {
    let ran = anacurve(&["trial", Book::tidy().arg()]);
    ran.fails_saying(&["declares no trial"]);
    let book = book(SECTION, plain);
    anacurve(&["trial", book.arg(), "B"]).fails_saying(&["'B'", "declared are A"]);
    book.remove("trials.csv");
    book.check().finds("book.toml:18", "trial-without-rows");
    let undeclared = Book::tidy();
    undeclared.put("trials.csv", "trial,tree,replicate,level\nA,T01,1,0.1\nA,T02,1,0.2\n");
    let ran = undeclared.check();
    assert_eq!(ran.code, 0, "{}", ran.stdout);
    assert!(ran.stdout.contains("[trials.A]") && ran.stdout.contains("factors = [\"level\"]"));
}

#[test]
fn layouts_and_sizes_that_cannot_be() {
    let book = Book::tidy();
    let request = |text: &str| {
        book.put("request.toml", text);
        let (path, out) = (book.file("request.toml"), book.file("out"));
        let (path, out) = (path.to_str().unwrap(), out.to_str().unwrap());
        anacurve(&["layout", path, "--book", book.arg(), "--out", out, "--seed", "1"])
    };
    let factor = "[[factors]]\nname = \"x\"\nlevels = [\"1\", \"2\", \"3\"]\n";
    let blocks = "[field]\nblocks = [\"B1\"]\n";
    let start = "trial = \"A\"\ndesign = \"randomised_blocks\"\n";
    request(&format!("{start}replicates = 9\n{factor}{blocks}"))
        .fails_saying(&["9 replicates", "6 plots"]);
    request(&format!("{start}replicates = 2\n{factor}[field]\nblocks = [\"Z\"]\n"))
        .fails_saying(&["'Z'"]);
    request(&format!("{start}replicates = 2\nshape = 1\n{factor}{blocks}"))
        .fails_saying(&["request.toml:4", "shape"]);
    request("trial = ").fails_saying(&["request.toml:1"]);
    assert!(!book.file("out").exists());
    anacurve(&["layout", "absent.toml", "--out", "x", "--seed", "1"])
        .fails_saying(&["absent.toml"]);
    anacurve(&["size", "--difference", "20"]).fails_saying(&["--components"]);
    book.put("cv.toml", "trees = 30\n");
    let cv = book.file("cv.toml");
    let cv = cv.to_str().unwrap();
    let size = |more: &[&str]| {
        anacurve(&[&["size", "--components", cv, "--difference", "20"], more].concat())
    };
    size(&["--treatments", "4"]).fails_saying(&["trees"]);
    book.put("cv.toml", "tree = 30\n");
    size(&[]).fails_saying(&["--treatments"]);
    size(&["--design", "split_plot"]).fails_saying(&["--main"]);
    assert_eq!(size(&["--treatments", "4"]).code, 0);
    for nothing in ["0", "-5", "inf", "NaN"] {
        let args = ["size", "--components", cv, "--treatments", "4", "--difference", nothing];
        anacurve(&args).fails_saying(&["--difference", "no difference to be found"]);
    }
}

/// One sheet that holds everything: it is read for four tables and two dates.
#[test]
fn rows_of_a_sheet_that_is_read_several_times_are_counted_once() {
    let book = book(SECTION, plain);
    let (mut sheet, mut days) =
        ("Tree,Field,Expt,Rep,Level,Day 1,kg 1,Day 2,kg 2,Seen by\n".to_owned(), 1);
    for tree in 0..12 {
        days = days % 28 + 1;
        let kg = 5 + (tree * 7) % 5;
        writeln!(
            sheet,
            "T{:02},B{},A,R{},L{},2023-03-{days:02},{kg},2024-03-{days:02},{}.5,me",
            tree + 1,
            tree / 6 + 1,
            tree / 4,
            tree % 4,
            kg + tree % 3,
        )
        .unwrap();
    }
    // A sum below, which belongs to no tree.
    sheet.push_str(",,,,,,60,,70,\n");
    book.put("sheet.csv", sheet);
    for old in ["trials.csv", "harvests.csv"] {
        book.remove(old);
    }
    let stanza = |table: &str, header: &str| {
        format!("[[files.{table}]]\npath = \"sheet.csv\"\nheader = {{ {header} }}\n")
    };
    let files = [
        stanza("trials", "Expt = \"trial\", Rep = \"replicate\""),
        stanza("harvests", "\"Day 1\" = \"date\", \"kg 1\" = \"nut_kg\""),
        stanza("harvests", "\"Day 2\" = \"date\", \"kg 2\" = \"nut_kg\""),
    ];
    book.put("book.toml", book.text("book.toml") + &files.concat());
    let (text, code) = told(&book);
    assert_eq!(code, 1, "{text}");
    let says = "1 row of this trial and its trees was set aside (first sheet.csv:14";
    assert!(text.contains(says), "{text}");
    // Of its columns, that which nothing reads is told, and once.
    let ran = book.check();
    let told: Vec<&str> =
        ran.stdout.lines().filter(|line| line.contains("[column-unknown]")).collect();
    let [field, seen] = told.as_slice() else { panic!("{told:#?}") };
    assert!(field.contains("the column 'Field' is not one of the table harvests"), "{field}");
    assert!(seen.contains("the column 'Seen by' is not one of the table harvests"), "{seen}");
    book.replace(
        "book.toml",
        "header = { \"Day 1\"",
        "not_columns = [\"Seen by\", \"field\"]\nheader = { \"Day 1\"",
    );
    let ran = book.check();
    assert!(!ran.stdout.contains("[column-unknown]"), "{}", ran.stdout);
}

/// A trial tells the size of the next one: its report holds the file that `size` takes.
#[test]
fn the_report_of_a_trial_holds_components_for_the_size_of_the_next() {
    let book = book(SECTION, plain);
    let out = book.file("out");
    // The records of these trees leave no error between treatments, which is a finding.
    let ran = anacurve(&["trial", book.arg(), "--out", out.to_str().unwrap()]);
    assert_eq!(ran.code, 1, "{}{}", ran.stdout, ran.stderr);
    let file = out.join("trials/a-nut-yield-components.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let found: toml::Table = toml::from_str(&text).unwrap();
    // Single trees in three seasons: what lasts in a tree and its plot, and what does not.
    let told: Vec<&String> = found.keys().collect();
    assert!(told.iter().any(|name| *name == "tree_season"), "{text}");
    let args = ["size", "--components", file.to_str().unwrap(), "--treatments", "4"];
    let ran = anacurve(&args);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let page = std::fs::read_to_string(out.join("trials.html")).unwrap();
    assert!(page.contains("href=\"trials/a-nut-yield-components.toml\""));
}

/// The trial's text and what it ended with.
fn told(book: &Book) -> (String, i32) {
    let ran = anacurve(&["trial", book.arg()]);
    (ran.stdout, ran.code)
}

/// Trial A of 2022 and a trial B of other seasons on the same trees.
fn followed(first: &str, second: &str) -> Book {
    let section =
        format!("{SECTION}{first}\n{}{second}\n", SECTION.replace("[trials.A]", "[trials.B]"));
    let book = book(&section, plain);
    for tree in 0..12 {
        book.append("trials.csv", &format!("B{}", &plain(11 - tree)[1..]));
    }
    book
}

#[test]
fn a_trial_that_follows_another_on_the_same_trees_is_analysed_from_its_own_rows() {
    let book = followed("seasons = [2022]", "seasons = [2023, 2024]");
    // Every tree is in a trial, so that nothing shows present practice.
    let present = "present = { intensity = 0.2, lead_days = 40 }";
    book.replace("book.toml", "[regions.plain]", &format!("[regions.plain]\n{present}"));
    let ran = book.check();
    assert_eq!(ran.code, 0, "{}", ran.stdout);
    for says in
        ["A: randomised complete blocks, 12 trees; nut yield: 2022\n", "nut yield: 2023, 2024"]
    {
        assert!(ran.stdout.contains(says), "no '{says}' in {}", ran.stdout);
    }
    let ran = anacurve(&["trial", book.arg(), "--format", "json"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    let found: Value = serde_json::from_str(&ran.stdout).unwrap();
    for (trial, plots) in [(0, 12), (1, 12)] {
        assert_eq!(found[trial]["trees"], plots);
        assert_eq!(found[trial]["parts"][0]["analysis"]["plan"]["plots"], plots);
    }
    // Each is analysed as if the other were not there.
    let alone = outcome(&self::book(&format!("{SECTION}seasons = [2022]\n"), plain)).unwrap();
    assert_eq!(found[0]["parts"][0]["analysis"]["anova"], alone["anova"]);
    // What the yield model is given does not depend on the order of the rows.
    let lines = book.text("trials.csv");
    let mut turned: Vec<&str> = lines.lines().collect();
    turned[1..].reverse();
    book.put("trials.csv", turned.join("\n") + "\n");
    let again = anacurve(&["trial", book.arg(), "--format", "json"]);
    let again: Value = serde_json::from_str(&again.stdout).unwrap();
    assert_eq!(
        again[1]["parts"][0]["analysis"]["anova"],
        found[1]["parts"][0]["analysis"]["anova"]
    );
}

#[test]
fn trials_on_the_same_trees_that_do_not_share_out_their_seasons_are_told() {
    let unstated = followed("seasons = [2022]", "");
    let ran = unstated.check();
    ran.finds("trials.csv:14", "trials-overlap");
    for says in ["12 trees stand in the trials A and B", "no seasons of B", "[trials.B]"] {
        assert!(ran.stdout.contains(says), "no '{says}' in {}", ran.stdout);
    }
    assert!(!ran.stdout.contains("set aside:"), "{}", ran.stdout);
    let both = followed("seasons = [2022, 2023]", "seasons = [2023, 2024]").check();
    both.finds("trials.csv:14", "trials-overlap");
    assert!(both.stdout.contains("2023 is a season of both"), "{}", both.stdout);
}

/// Line of `book.toml` that is this.
fn line_of(book: &Book, line: &str) -> usize {
    1 + book.text("book.toml").lines().position(|own| own == line).unwrap()
}

#[test]
fn a_trial_that_is_not_analysed_ends_with_1_and_says_why() {
    let says = |book: &Book, words: &[&str]| {
        let ran = anacurve(&["trial", book.arg()]);
        assert_eq!(ran.code, 1, "{}{}", ran.stdout, ran.stderr);
        for word in words {
            assert!(ran.stdout.contains(word), "no '{word}' in {}", ran.stdout);
        }
    };
    // Declared seasons that nobody harvested.
    let later = book(&format!("{SECTION}seasons = [2028]\n"), plain);
    let what = "No tree of it has a harvest of 2028, the seasons that book.toml declares; its \
                harvests are of 2022, 2023, 2024.";
    says(&later, &[what, "hint: declare seasons that were harvested"]);
    let place = format!("book.toml:{}", line_of(&later, "seasons = [2028]"));
    later.check().finds(&place, "trial-not-analysed");
    // The season after the last harvest is no fault: the trial stands in the field.
    let next = book(&format!("{SECTION}seasons = [2025]\n"), plain);
    let ran = anacurve(&["trial", next.arg()]);
    assert_eq!(ran.code, 0, "{}", ran.stdout);
    assert!(ran.stdout.contains("It waits for the harvest of 2025."), "{}", ran.stdout);
    assert!(!next.check().stdout.contains("trial-not-analysed"));
    // A misspelt id, told once.
    let misspelt = book(&SECTION.replace(".A]", ".a]"), plain);
    says(&misspelt, &["The trial table has no row of it.", "ids must match letter by letter"]);
    let ran = misspelt.check();
    ran.finds(&format!("book.toml:{}", line_of(&misspelt, "[trials.a]")), "trial-without-rows");
    assert_eq!(ran.stdout.matches("[trial-without-rows]").count(), 1, "{}", ran.stdout);
    // Rows that are set aside are rows: by linking, and by reading.
    let unknown = book(SECTION, |tree| plain(tree).replace("A,T", "A,X"));
    let unreadable = book(SECTION, |tree| plain(tree) + ",one cell too many");
    for aside in [unknown, unreadable] {
        says(&aside, &["12 rows are set aside", "hint: mend the rows set aside"]);
        let ran = aside.check();
        ran.finds(&format!("book.toml:{}", line_of(&aside, "[trials.A]")), "trial-without-rows");
        assert!(!ran.stdout.contains("has no row of it"), "{}", ran.stdout);
        assert_eq!(ran.stdout.matches("[trial-without-rows]").count(), 1, "{}", ran.stdout);
    }
    // A trait that nobody recorded, beside one that is analysed.
    let traits = "traits = [\"nut_yield\", \"nut_count\"]";
    let uncounted = book(&format!("{SECTION}{traits}\n"), plain);
    says(&uncounted, &["No tree of the trial has a value of", "hint: record it"]);
    let place = format!("book.toml:{}", line_of(&uncounted, traits));
    uncounted.check().finds(&place, "trial-not-analysed");
    // A season of several that is yet to come is no fault, and is not passed over in silence.
    let begun = book(&format!("{SECTION}seasons = [2023, 2024, 2025]\n"), plain);
    let ran = anacurve(&["trial", begun.arg()]);
    assert_eq!(ran.code, 0, "{}", ran.stdout);
    assert!(
        ran.stdout.contains("has a harvest of 2025, which book.toml declares"),
        "{}",
        ran.stdout
    );
}

#[test]
fn a_file_that_is_named_as_a_table_and_left_out_is_told() {
    let book = book(SECTION, plain);
    let rows = book.text("trials.csv");
    book.remove("trials.csv");
    book.put("trials_a.csv", rows);
    book.put("trials_b.csv", "trial,tree,replicate,depth\nB,T01,1,20\nB,T02,1,40\n");
    let found = book.text("book.toml");
    let declared = "\n[[files.trials]]\npath = \"trials_a.csv\"\n";
    book.put("book.toml", format!("{found}{declared}"));
    let ran = book.check();
    ran.finds("trials_b.csv", "file-left-out");
    assert!(
        ran.stdout.contains("add a further [[files.trials]] with path = \"trials_b.csv\""),
        "{}",
        ran.stdout
    );
    // A column that stands in that file alone.
    let section = "[trials.B]\ndesign = \"completely_randomised\"\nfactors = [\"depth\"]\n";
    book.put("book.toml", format!("{found}{section}{declared}"));
    let place = format!("book.toml:{}", line_of(&book, "factors = [\"depth\"]"));
    let ran = book.check();
    ran.fails(&place, "column-missing");
    assert!(
        ran.stderr.contains("[[files.trials]] for trials_b.csv, which is not read"),
        "{}",
        ran.stderr
    );
    // With both declared, as with neither, nothing is left out.
    let both = format!("{declared}[[files.trials]]\npath = \"trials_b.csv\"\n");
    for declared in ["", &both] {
        book.put("book.toml", format!("{found}{declared}"));
        let ran = book.check();
        assert!(ran.stdout.contains("B: 2 trees"), "{}{}", ran.stdout, ran.stderr);
        assert!(!ran.stdout.contains("file-left-out"), "{}", ran.stdout);
    }
}

#[test]
fn a_factor_at_fault_is_told_without_what_follows_from_it() {
    let section = "[trials.A]\ndesign = \"randomised_blocks\"\nfactors = [\"depth\"]\n\
                   amounts = { level = \"fraction\" }\n";
    let misspelt = book(section, plain);
    let ran = misspelt.check();
    ran.fails(
        &format!("book.toml:{}", line_of(&misspelt, "factors = [\"depth\"]")),
        "column-missing",
    );
    assert!(ran.stderr.contains("level") && !ran.stderr.contains("is no factor"), "{}", ran.stderr);
    let unnamed = book(
        "[trials.A]\ndesign = \"split_plot\"\nsub_factors = [\"other\"]\n\
         amounts = { level = \"fraction\" }\n",
        plain,
    );
    let ran = unnamed.check();
    let place = format!("book.toml:{}", line_of(&unnamed, "design = \"split_plot\""));
    ran.fails(&place, "setting-missing");
    assert!(!ran.stderr.contains("is no factor"), "{}", ran.stderr);
    // An amount of what is no column either is a fault of its own.
    let other = book(&format!("{SECTION}amounts = {{ dose = \"days\" }}\n"), plain);
    let place = format!("book.toml:{}", line_of(&other, "amounts = { dose = \"days\" }"));
    other.check().fails(&place, "setting-impossible");
}
