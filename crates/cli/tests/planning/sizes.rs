//! How many trees a trial needs: `size`.

use crate::support::{Book, Ran, anacurve};

/// `size` from coefficients of variation, with the options for the best of some levels.
fn locate(options: &str) -> Ran {
    let book = Book::tidy();
    book.put("cv.toml", "tree = 30\ntree_season = 25\n");
    let cv = book.file("cv.toml");
    let fixed = ["size", "--components", cv.to_str().unwrap(), "--difference", "20"];
    let own: Vec<&str> = options.split_whitespace().collect();
    anacurve(&[&fixed[..], &["--treatments", "4"], &own].concat())
}

#[test]
fn a_tolerance_in_another_unit_than_the_levels_is_refused() {
    let fractions = "--levels 0,0.15,0.30,0.45 --optimum 0.3 --gain 20";
    locate(&format!("{fractions} --within 5")).fails_saying(&["--within 5", "0 to 0.45", "0.05"]);
    // Half the range about its middle holds every estimate; a little less does not.
    locate(&format!("{fractions} --within 0.225")).fails_saying(&["below 0.225"]);
    assert_eq!(locate(&format!("{fractions} --within 0.22")).code, 0);
    locate(&format!("{fractions} --within 0")).fails_saying(&["--within 0"]);
    let mixed = "--levels 0,0.15,0.30,0.45 --optimum 30 --gain 20";
    locate(mixed).fails_saying(&["--optimum 30", "up to 0.45", "per cent in both"]);
    let lowest = "--levels 0,0.15,0.30,0.45 --optimum 0 --gain 20";
    locate(lowest).fails_saying(&["--optimum 0", "above 0"]);
    locate("--levels 0,0.3 --optimum 0.3 --gain 20").fails_saying(&["three different levels"]);
}

/// The same question in fractions and in per cent has the same answer.
#[test]
fn the_tolerance_follows_the_levels() {
    let asked = |text: &str| {
        let ran = locate(text);
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        let (_, located) = ran.stdout.split_once("Locating the optimum\n").unwrap();
        located.to_owned()
    };
    let fractions = asked("--levels 0,0.15,0.30,0.45 --optimum 0.3 --gain 20");
    let percents = asked("--levels 0,15,30,45 --optimum 30 --gain 20");
    assert!(fractions.contains("locate the optimum within 0.05 with 80 %"), "{fractions}");
    assert!(percents.contains("locate the optimum within 5 with 80 %"), "{percents}");
    let answers = |text: &str, within: &str| -> Vec<String> {
        let lines = text.lines().filter(|line| line.starts_with("  seasons "));
        lines.map(|line| line.replace(within, "W")).collect()
    };
    assert_eq!(answers(&fractions, "within 0.05"), answers(&percents, "within 5"));
    assert_eq!(answers(&fractions, "within 0.05").len(), 12);
}

#[test]
fn only_replicates_to_try_are_answers_and_the_fewest_are_named() {
    let easy = locate(
        "--levels 0,0.15,0.30,0.45 --optimum 0.3 --gain 90 --within 0.2 --seasons 3 --trees 6 \
         --replicates 5,4",
    );
    assert_eq!(easy.code, 0, "{}", easy.stderr);
    let line = "seasons 3, trees per plot 6: 4 replicates (the fewest tried: fewer may do), ";
    assert!(easy.stdout.contains(line), "{}", easy.stdout);
    assert!(easy.stdout.contains(" % of estimates within 0.2\n"), "{}", easy.stdout);
    let hard = locate(
        "--levels 0,0.15,0.30,0.45 --optimum 0.3 --gain 2 --seasons 1 --trees 1 --replicates 3,4",
    );
    let line = "seasons 1, trees per plot 1: more than 4 replicates, the most tried\n";
    assert!(hard.stdout.contains(line), "{}", hard.stdout);
    for text in [&easy.stdout, &hard.stdout] {
        assert!(!text.contains("within in") && !text.contains(" 2 replicates"), "{text}");
    }
}

/// Programs read the answer that people read.
#[test]
fn json_holds_the_located_optimum() {
    let asked = "--levels 0,0.15,0.30,0.45 --optimum 0.3 --gain 20 --seasons 1 --trees 1,6 \
                 --replicates 4,12";
    let (text, json) = (locate(asked).stdout, locate(&format!("{asked} --format json")).stdout);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    // The trade-off stands as before.
    assert_eq!(json["cells"].as_array().unwrap().len(), 4);
    let optimum = &json["optimum"];
    assert_eq!((optimum["within"].as_f64(), optimum["target"].as_f64()), (Some(0.05), Some(0.8)));
    let sizes = optimum["sizes"].as_array().unwrap();
    assert_eq!(sizes.len(), 2);
    for size in sizes {
        let begin = format!("  seasons 1, trees per plot {}: ", size["trees_per_plot"]);
        let (_, line) = text.split_once(&begin).unwrap();
        let line = line.lines().next().unwrap();
        match size["replicates"].as_u64() {
            Some(replicates) => {
                let share = 100.0 * size["precision"]["within_tolerance"].as_f64().unwrap();
                assert!(line.starts_with(&format!("{replicates} replicates")), "{line}");
                assert!(line.contains(&format!(", {share:.0} % of estimates")), "{line}");
            }
            None => {
                assert!(size["precision"].is_null() && line.starts_with("more than 12"), "{line}");
            }
        }
    }
    let plain = locate("--format json").stdout;
    let plain: serde_json::Value = serde_json::from_str(&plain).unwrap();
    assert!(plain.get("optimum").is_none() && plain["cells"].is_array());
}

/// Numbers in another unit than per cent would plan a trial of a handful of trees.
#[test]
fn fractions_in_the_place_of_per_cents_are_refused_or_told() {
    let book = Book::tidy();
    let size = |components: &str, options: &str| {
        book.put("cv.toml", components);
        let cv = book.file("cv.toml");
        let own: Vec<&str> = options.split_whitespace().collect();
        anacurve(&[&["size", "--components", cv.to_str().unwrap()][..], &own].concat())
    };
    let usual = "--treatments 4 --difference 20";
    let refused = |components: &str, words: &[&str]| size(components, usual).fails_saying(words);
    refused("tree = 30\nplot = -5\n", &["cv.toml: plot = -5", "0 or more"]);
    refused("tree = nan\n", &["cv.toml: tree = NaN"]);
    refused("tree = 30\nplot_limit = -1\n", &["plot_limit = -1"]);
    refused("tree = 0.35\ntree_season = 0.25\n", &["tree = 0.35", "write tree = 35"]);
    let told = size("tree = 35\nplot = 0.4\n", usual);
    let words = "Read as less than one per cent: plot = 0.4.";
    assert!(told.code == 0 && told.stdout.contains(words), "{}{}", told.stdout, told.stderr);
    let plain = size("tree = 35\nplot = 4\n", usual);
    assert!(plain.code == 0 && !plain.stdout.contains("less than one per cent"));
    let refused = |options: &str, words: &[&str]| size("tree = 35\n", options).fails_saying(words);
    refused(&format!("{usual} --power 0.8"), &["--power 0.8", "write --power 80 for 80 per cent"]);
    let located = "--treatments 4 --difference 20 --levels 0,15,30,45";
    refused(&format!("{located} --optimum 0.3 --gain 20"), &["--optimum 0.3", "per cent in both"]);
    refused(&format!("{located} --optimum 30 --gain 0.2"), &["--gain 0.2", "write --gain 20"]);
    let few = "--treatments 4 --difference 20 --levels 0,15,30 --optimum 20 --gain 20";
    refused(few, &["3 levels and 4 means to compare"]);
    let words = ["--difference 0.2", "write --difference 20 for 20 per cent"];
    refused("--treatments 4 --difference 0.2", &words);
    refused(&format!("{usual} --power 100"), &["--power 100", "below 100", "--power 80"]);
    refused(&format!("{usual} --alpha 0.05"), &["--alpha 0.05", "write --alpha 5"]);
    refused("--treatments 1", &["--treatments 1 leaves nothing to compare", "two or more"]);
    refused("", &["--treatments is missing"]);
    refused("--design split_plot --main 1 --sub 4", &["needs --main and --sub", "two or more"]);
}

/// Power needs no cost of pruning: a book that states none tells how much trees vary all the same.
#[test]
fn sizes_of_a_book_that_cannot_cost_pruning() {
    let book = Book::tidy();
    let rate = "\n[economics.pruning_time]\nminutes_per_tree = 4.0\nminutes_full_canopy = 30.0\n";
    let size = || anacurve(&["size", book.arg(), "--treatments", "4", "--difference", "20"]);
    let costed = size();
    book.replace("book.toml", rate, "");
    let uncosted = size();
    assert_eq!((uncosted.code, costed.code), (0, 0), "{}", uncosted.stderr);
    assert_eq!(uncosted.stdout, costed.stdout);
    // What does need the cost names region, file and remedy.
    let out = book.file("out");
    anacurve(&["run", book.arg(), "--out", out.to_str().unwrap()]).fails_saying(&[
        "book.toml",
        "'plain'",
        "[economics.pruning_time]",
    ]);
}

/// Without a difference the answer is what can be found: by every size tried, and by the trees that
/// the book has. Those in training and in trials are not at hand.
#[test]
fn the_trees_at_hand_find_what_they_can() {
    let book = Book::tidy();
    book.append("blocks.csv", "B3,Farm,plain,8,8,2023");
    for tree in 1..=6 {
        book.append("trees.csv", &format!("Y{tree:02},B3"));
    }
    let asked = ["size", book.arg(), "--treatments", "4", "--format", "json"];
    let size = |more: &[&str]| -> serde_json::Value {
        let ran = anacurve(&[&asked[..], more].concat());
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        serde_json::from_str(&ran.stdout).unwrap()
    };
    let found = size(&[]);
    assert!(found["cells"][0]["power"].is_null() && found["least_trees"].is_null());
    let at_hand = found["at_hand"].as_array().unwrap();
    assert_eq!(at_hand.len(), 3, "one region, three numbers of seasons");
    let one = &at_hand[0];
    assert_eq!(
        (one["trees_at_hand"].as_u64(), one["size"]["trees"].as_u64()),
        (Some(12), Some(12))
    );
    // What is found in that way is found with the power asked for.
    let least = 100.0 * one["size"]["detectable"].as_f64().unwrap();
    let again = size(&["--difference", &least.to_string()]);
    let power = again["at_hand"][0]["size"]["power"].as_f64().unwrap();
    assert!((power - 0.8).abs() < 1e-9, "{power}");
    let text = anacurve(&["size", book.arg(), "--treatments", "4"]).stdout;
    assert!(
        text.contains(&format!("  plain, 12 trees, 1 season: {least:.0} % (3 replicates, ")),
        "{text}"
    );
    // The power beside it is of another question, and says so.
    let asked = ["size", book.arg(), "--treatments", "4", "--difference", "20"];
    let text = anacurve(&asked).stdout;
    assert!(
        text.contains("; the 20 % asked for are found with ") && !text.contains("), power"),
        "{text}"
    );
    book.put("trials.csv", "trial,tree,replicate,x\nOld,T02,R1,a\nOld,T04,R1,b\n");
    let fewer = &size(&[])["at_hand"][0];
    assert_eq!(fewer["trees_at_hand"].as_u64(), Some(10));
    assert!(fewer["size"].is_null(), "ten trees are too few for four treatments three times");
}

#[test]
fn sizes_of_a_book_with_one_pruning() {
    let book = Book::tidy();
    let first = |name: &str, rows: usize| {
        let text = book.text(name);
        let kept: Vec<&str> = text.lines().take(1 + rows).collect();
        book.put(name, kept.join("\n") + "\n");
    };
    first("prunings.csv", 1);
    first("harvests.csv", 2);
    let ran = anacurve(&["size", book.arg(), "--treatments", "4", "--difference", "20"]);
    ran.fails_saying(&["too few", "--components"]);
    assert!(!ran.stderr.contains('{') && ran.stderr.contains(book.arg()), "{}", ran.stderr);
}

/// The page of `size` speaks the language of the run.
#[test]
fn the_page_of_a_size_is_in_portuguese() {
    let book = Book::tidy();
    let out = book.file("tamanho");
    let fixed = ["size", book.arg(), "--treatments", "4", "--difference", "20", "--language", "pt"];
    let located = ["--levels", "0,0.15,0.3,0.45", "--optimum", "0.3", "--gain", "20"];
    let to = ["--out", out.to_str().unwrap()];
    let ran = anacurve(&[&fixed[..], &located, &to].concat());
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let page = book.text("tamanho/size.html");
    // The language changes no number: factors of the model keep their names inside.
    let numbers = |language: &str| {
        let asked = ["size", book.arg(), "--treatments", "4", "--format", "json"];
        anacurve(&[&asked[..], &["--language", language]].concat()).stdout
    };
    assert_eq!(numbers("pt"), numbers("en"));
    for said in
        ["Tamanho do próximo ensaio", "Poder com 1 safra", "Repetições", "Localizar o ótimo"]
    {
        assert!(page.contains(said), "{said}");
    }
    for english in [
        "Size of the next",
        "Replicates",
        " replicates",
        "Seasons",
        "Power with",
        "trees per plot",
        "the fewest trees",
        "Supposing that",
        "simulated trials",
        "Probability of finding",
    ] {
        assert!(!page.contains(english), "{english}");
    }
}
