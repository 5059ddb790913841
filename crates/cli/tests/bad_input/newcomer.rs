//! Obstacles that somebody met who made a first book from files of his own with the messages alone.

use crate::support::{Book, anacurve};

fn says(book: &Book, words: &[&str]) {
    let ran = book.check();
    assert_eq!((ran.code, ran.stdout.as_str()), (2, ""));
    let text = ran.stderr.split_whitespace().collect::<Vec<_>>().join(" ");
    for word in words {
        assert!(text.contains(word), "no '{word}' in {}", ran.stderr);
    }
}

#[test]
fn a_folder_without_settings_says_where_to_copy_some_from() {
    let book = Book::tidy();
    book.remove("book.toml");
    says(&book, &["`anacurve demo DIR --kind first`"]);
    // What the hint names works.
    let new = book.file("copied");
    let ran = anacurve(&["demo", new.to_str().unwrap(), "--kind", "first"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(new.join("book.toml").is_file());
}

#[test]
fn every_absent_section_is_named_with_its_keys() {
    let book = Book::tidy();
    book.put("book.toml", "");
    says(&book, &["add a section [book] with name"]);
    book.put("book.toml", "[book]\nname = \"Own\"\n");
    says(&book, &["missing field `regions`", "add a section [regions.NAME] with harvest"]);
    book.put("book.toml", "[book]\nname = \"Own\"\n[regions.a]\n");
    says(&book, &["missing field `economics`", "currency", "price_per_kg and wage_per_hour"]);
}

#[test]
fn a_decimal_comma_in_the_settings() {
    let book = Book::tidy();
    let line = book.replace("book.toml", "price_per_kg = 1.2", "price_per_kg = 1,2");
    says(&book, &[&format!("book.toml:{line}"), "numbers take a decimal point"]);
}

#[test]
fn files_under_names_of_their_own_are_listed_where_a_table_is_missing() {
    let book = Book::tidy();
    let harvests = book.text("harvests.csv");
    book.remove("harvests.csv");
    book.put("picking list.csv", harvests);
    says(&book, &["(nothing names picking list.csv yet)", "`anacurve schema` lists the columns"]);
    let settings = book.text("book.toml") + "\n[[files.harvests]]\npath = \"picking list.csv\"\n";
    book.put("book.toml", settings);
    assert_eq!(book.check().code, 0);
}

/// A day that can only come first is still not guessed for the file, and the message says what is true of the value.
#[test]
fn a_date_that_reads_only_one_way() {
    let book = Book::tidy();
    let line = book.append("harvests.csv", "T01,25/03/2024,5.5");
    let ran = book.check();
    ran.finds(&format!("harvests.csv:{line}:2"), "date-ambiguous");
    let told =
        "date '25/03/2024' reads with dates = \"day_first\" alone, and book.toml does not say";
    assert!(ran.stdout.contains(told), "{}", ran.stdout);
    assert!(ran.stdout.contains("hint: set dates = \"day_first\" under [[files.harvests]]"));
    let line = book.append("harvests.csv", "T02,05/03/2024,5.5");
    let ran = book.check();
    ran.finds(&format!("harvests.csv:{line}:2"), "date-ambiguous");
    assert!(ran.stdout.contains("nothing says whether the day or the month comes first"));
}

/// A file whose every date is set aside leaves nothing to link: the order of its dates comes before that.
#[test]
fn the_cause_comes_before_what_it_leads_to() {
    let book = Book::tidy();
    let harvests = book.text("harvests.csv");
    let day_first = harvests.lines().map(|line| match line.split(',').collect::<Vec<_>>()[..] {
        [tree, date, kg] if date.len() == 10 => {
            format!("{tree},{}/{}/{},{kg}\n", &date[8..], &date[5..7], &date[..4])
        }
        _ => format!("{line}\n"),
    });
    book.put("harvests.csv", day_first.collect::<String>());
    let ran = book.check();
    assert_eq!(ran.code, 2);
    let at = |code: &str| ran.stderr.find(code).unwrap_or_else(|| panic!("{code}: {}", ran.stderr));
    assert!(at("[date-order]") < at("[nothing-linked]"), "{}", ran.stderr);
}

/// Picks under ids without the zeros of the tree table: the hint names what mends them all.
#[test]
fn ids_without_the_zeros_of_the_tree_table() {
    let book = Book::tidy();
    book.put("harvests.csv", book.text("harvests.csv").replace("T0", "T"));
    let ran = book.check();
    ran.finds("harvests.csv:2:1", "tree-unknown");
    assert!(ran.stdout.contains("write drop_zeros = [\"tree\"] under"), "{}", ran.stdout);
    let stanza = |table: &str| {
        format!("\n[[files.{table}]]\npath = \"{table}.csv\"\ndrop_zeros = [\"tree\"]\n")
    };
    let stanzas = ["trees", "prunings", "harvests"].map(stanza).concat();
    book.put("book.toml", book.text("book.toml") + &stanzas);
    let ran = book.check();
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(!ran.stdout.contains("tree-unknown"), "{}", ran.stdout);
}

/// What a run would refuse is said by `check` before.
#[test]
fn a_book_that_cannot_cost_pruning() {
    let book = Book::tidy();
    let rate = "\n[economics.pruning_time]\nminutes_per_tree = 4.0\nminutes_full_canopy = 30.0\n";
    book.replace("book.toml", rate, "");
    book.check().finds("book.toml", "setting-missing");
    let out = tempfile::tempdir().unwrap();
    assert_eq!(book.run(out.path()).code, 2);
    let prunings = book.text("prunings.csv").replace("measured_as\n", "measured_as,minutes\n");
    book.put("prunings.csv", prunings.replace("canopy_fraction\n", "canopy_fraction,12\n"));
    assert_eq!(book.check().code, 0);
}

/// Per cents as fractions: every visit is set aside. The book is refused rather than read as one
/// in which no tree was ever pruned.
#[test]
fn a_book_whose_every_visit_is_set_aside_is_refused() {
    let book = Book::tidy();
    let text = book.text("prunings.csv");
    let lines = text
        .lines()
        .enumerate()
        .map(|(at, line)| if at == 0 { line.to_owned() } else { line.replace(",0.", ",4") });
    book.put("prunings.csv", lines.collect::<Vec<_>>().join("\n") + "\n");
    let ran = book.check();
    ran.fails("prunings.csv", "nothing-linked").fails("prunings.csv:2:3", "unit-suspect");
    assert!(ran.stderr.contains("never pruned"), "{}", ran.stderr);
}

/// What the author of the book stated himself is counted once for a file, and is not called a repair.
#[test]
fn what_is_stated_is_counted_apart_from_repairs() {
    let book = Book::tidy();
    let mut picks = "tree,feb,mar\n".to_owned();
    for tree in 1..=12 {
        picks += &format!("T{tree:02},2.5,3.5\n");
    }
    book.put("picks.csv", picks);
    let mut settings = book.text("book.toml");
    settings += "\n[[files.harvests]]\npath = \"harvests.csv\"\n";
    for (column, day) in [("feb", "2025-02-20"), ("mar", "2025-03-17")] {
        settings += &format!(
            "\n[[files.harvests]]\npath = \"picks.csv\"\nheader = {{ {column} = \"nut_kg\" }}\nevery_row = {{ date = \"{day}\" }}\n"
        );
    }
    book.put("book.toml", settings);
    let ran = book.check();
    assert!(!ran.stdout.contains("repaired"), "{}", ran.stdout);
    let told = "stated in book.toml: picks.csv: 24 x value-stated in date\n";
    assert_eq!(ran.stdout.matches(told).count(), 1, "{}", ran.stdout);
}
