//! Books with too little to learn from: said in words, never a panic, never a confident advice.

use crate::support::{Book, Plan, Ran, TIDY};
use serde_json::Value;

/// Runs a book that must end in a report advising a trial of its one region; `why` stands in its reason.
fn ends_in_trial(book: &Book, why: &str) {
    let out = tempfile::tempdir().unwrap();
    let ran: Ran = book.run(out.path());
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{}", ran.stdout);
    let folder = out.path().join("small-book").join("2025");
    for file in ["index.html", "fit.json", "quarantine.csv", "advice.csv", "workplan.xlsx"] {
        assert!(folder.join(file).is_file(), "{file}");
    }
    let advice = std::fs::read_to_string(folder.join("advice.json")).unwrap();
    let advice: Value = serde_json::from_str(&advice).unwrap();
    let regions = advice["regions"].as_array().unwrap();
    assert_eq!(regions.len(), 1);
    assert_eq!(regions[0]["verdict"], "trial", "{regions:?}");
    let reason = regions[0]["reason"].as_str().unwrap();
    assert!(reason.contains(why), "{reason}");
    // What stands on the screen is the same plain sentence, wrapped.
    let screen: Vec<&str> = ran.stdout.split_whitespace().collect();
    assert!(screen.join(" ").contains(reason), "{}", ran.stdout);
}

#[test]
fn fewer_than_two_seasons() {
    let book = Book::of(Plan { seasons: &[2024], ..TIDY });
    book.check().finds("harvests.csv", "seasons-too-few");
    ends_in_trial(&book, "only 1 season is recorded");
}

#[test]
fn no_pruning_variation_at_all() {
    let book = Book::of(Plan { varied: false, ..TIDY });
    book.check().finds("prunings.csv", "pruning-constant");
    ends_in_trial(&book, "ntensity hardly varies");
}

/// No tree was ever cut: the pruning table must have a row, so one says that nothing was removed.
#[test]
fn no_pruning_at_all() {
    let book = Book::tidy();
    book.put("prunings.csv", "tree,date,intensity,measured_as\nT01,2023-07-15,0,canopy_fraction\n");
    book.check().finds("prunings.csv", "pruning-constant");
    ends_in_trial(&book, "nly 0 pruned tree-seasons");
}

#[test]
fn a_single_tree() {
    let book = Book::of(Plan { trees: 1, ..TIDY });
    book.check().finds("trees.csv", "trees-too-few");
    ends_in_trial(&book, "Only 3 tree-seasons of 1 tree in 3 seasons are recorded, too few");
}

#[test]
fn a_single_tree_of_one_season() {
    let book = Book::of(Plan { trees: 1, seasons: &[2024], ..TIDY });
    book.check().finds("trees.csv", "trees-too-few").finds("harvests.csv", "seasons-too-few");
    ends_in_trial(&book, "Only 1 tree-season of 1 tree in 1 season is recorded, too few");
}

#[test]
fn two_trees() {
    let book = Book::of(Plan { trees: 2, seasons: &[2020, 2021, 2022, 2023, 2024], ..TIDY });
    ends_in_trial(&book, "nly 2 trees are recorded");
}

/// Ten tree-seasons pass the count, but leave the engine without a hold: found by mutating books.
#[test]
fn two_trees_of_one_block() {
    let book = Book::of(Plan { trees: 2, seasons: &[2020, 2021, 2022, 2023, 2024], ..TIDY });
    book.put("blocks.csv", "block,site,region,planted\nB1,Farm,plain,2010\n");
    book.put("trees.csv", "tree,block\nT01,B1\nT02,B1\n");
    let (mut prunings, mut harvests) =
        ("tree,date,intensity,measured_as\n".to_owned(), "tree,date,nut_kg\n".to_owned());
    let levels = [[0.1, 0.2], [0.2, 0.3], [0.3, 0.4], [0.4, 0.1], [0.1, 0.2]];
    let kg = [[5.36, 6.04], [7.14, 7.54], [6.94, 7.06], [6.46, 6.46], [7.56, 8.24]];
    for (season, (levels, kg)) in (2020..).zip(levels.into_iter().zip(kg)) {
        for (tree, (level, kg)) in (1..).zip(levels.into_iter().zip(kg)) {
            let (before, day) = (season - 1, 9 + tree);
            prunings += &format!("T0{tree},{before}-07-{day},{level},canopy_fraction\n");
            harvests += &format!("T0{tree},{season}-03-{day},{kg}\n");
        }
    }
    book.put("prunings.csv", prunings);
    book.put("harvests.csv", harvests);
    // Rounding decides whether the engine finds a hold; either end must be an honest one.
    ends_in_trial(&book, "nly ");
}

/// Tiny books end in a report that advises a trial and says why, whether or not the engine finds a
/// hold in them.
#[test]
fn tiny_books_end_in_a_trial() {
    for trees in 2..=5 {
        for seasons in [&[2024][..], &[2023, 2024], &[2022, 2023, 2024]] {
            for varied in [true, false] {
                let book = Book::of(Plan { trees, seasons, varied });
                assert!(book.check().code < 2);
                ends_in_trial(&book, ".");
            }
        }
    }
}

/// Without a fit the report stands on its own: no curve, no gain, and the reason in the method.
#[test]
fn a_report_without_a_fit_says_so() {
    let book = Book::of(Plan { trees: 1, ..TIDY });
    let out = tempfile::tempdir().unwrap();
    assert_eq!(book.run(out.path()).code, 0);
    let folder = out.path().join("small-book").join("2025");
    let text = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let page = text("index.html");
    for words in ["No yield model", "not fitted", "lay out a trial"] {
        assert!(page.contains(words), "{words}");
    }
    let fit: Value = serde_json::from_str(&text("fit.json")).unwrap();
    assert_eq!(fit["status"], "not fitted");
    let advice: Value = serde_json::from_str(&text("advice.json")).unwrap();
    let region = &advice["regions"][0];
    assert_eq!((&region["rows"], &region["trees"]), (&3.into(), &1.into()));
    assert!(region["advised"].is_null() && region["net_optimum"].is_null());
    assert!(!folder.join("draws.arrow").exists());
}

/// Numbers of the advice carry no floating-point noise.
#[test]
fn advice_is_written_with_six_digits() {
    let book = Book::tidy();
    let ran = crate::support::anacurve(&[
        "run",
        book.arg(),
        "--format",
        "json",
        "--out",
        book.file("reports").to_str().unwrap(),
    ]);
    let numbers = ran.stdout.split(|c: char| !c.is_ascii_digit() && c != '.');
    let digits = |number: &&str| number.trim_start_matches(['0', '.']).replace('.', "").len();
    let noisy: Vec<&str> = numbers.filter(|number| digits(number) > 7).collect();
    assert_eq!(noisy, Vec::<&str>::new());
}

#[test]
fn every_tree_with_the_same_yield() {
    let book = Book::tidy();
    let text = book.text("harvests.csv");
    let text = text.lines().map(|line| match line.rsplit_once(',') {
        Some((row, cell)) if cell.parse::<f64>().is_ok() => format!("{row},5\n"),
        _ => format!("{line}\n"),
    });
    book.put("harvests.csv", text.collect::<String>());
    let out = tempfile::tempdir().unwrap();
    book.run(out.path()).fails_saying(&["do not vary", "weighed"]);
}

#[test]
fn only_young_trees() {
    let book = Book::of(Plan { seasons: &[2022, 2023], ..TIDY });
    book.put("blocks.csv", book.text("blocks.csv").replace("2008", "2021").replace("2012", "2021"));
    let out = tempfile::tempdir().unwrap();
    book.run(out.path()).fails_saying(&["tree under the training age", "training_age_years"]);
}
