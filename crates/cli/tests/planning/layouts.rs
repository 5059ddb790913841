//! Where its treatments stand: `layout`.

use crate::support::{Book, Ran, anacurve};

const REQUEST: &str = "\
trial = \"N-1\"
design = \"randomised_blocks\"
replicates = 2

[[factors]]
name = \"intensity_level\"
levels = [\"0\", \"0.15\", \"0.30\"]
unit = \"fraction\"

";

/// `layout` of a request beside the book, into its folder `laid`.
fn layout(book: &Book, request: &str, more: &[&str]) -> Ran {
    book.put("next.toml", request);
    let (path, out) = (book.file("next.toml"), book.file("laid"));
    let fixed = ["layout", path.to_str().unwrap(), "--out", out.to_str().unwrap(), "--seed", "1"];
    anacurve(&[&fixed[..], more].concat())
}

fn in_block(block: &str) -> String {
    format!("{REQUEST}[field]\nblocks = [\"{block}\"]\n")
}

/// A new plantation: nothing pruned, nothing picked.
#[test]
fn a_layout_on_a_book_without_visits() {
    let recorded = Book::tidy();
    assert_eq!(layout(&recorded, &in_block("B1"), &["--book", recorded.arg()]).code, 0);
    // An id that every table would read as an empty cell.
    let lost = format!("site = \"NA\"\n{}", in_block("B1"));
    layout(&recorded, &lost, &["--book", recorded.arg()])
        .fails_saying(&[":1: site: 'NA' is read as an empty cell"]);
    let drawn = recorded.text("laid/trials.csv");
    for (prunings, harvests) in [
        (None, None),
        (Some("tree,date,intensity,measured_as\n"), Some("tree,date,nut_kg\n")),
        (Some(""), None),
        // Picks without prunings are linked: trees that nobody pruned.
        (None, Some("tree,date,nut_kg\nT02,2024-03-12,5.5\n")),
    ] {
        let book = Book::tidy();
        for (name, text) in [("prunings.csv", prunings), ("harvests.csv", harvests)] {
            match text {
                Some(text) => book.put(name, text),
                None => book.remove(name),
            }
        }
        let ran = layout(&book, &in_block("B1"), &["--book", book.arg()]);
        assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{prunings:?} {harvests:?}");
        assert_eq!(book.text("laid/trials.csv"), drawn);
        // What needs visits refuses the book as before.
        assert_eq!(book.check().code, 2);
    }
}

/// Rows without places in them make a map in an order that nobody planted: said in output and page.
#[test]
fn trees_with_a_row_and_no_place_in_it_are_told_and_drawn() {
    let placed = |columns: &str, of: &dyn Fn(usize) -> String| {
        let book = Book::tidy();
        let rows: String =
            (1..=12).map(|tree| format!("T{tree:02},B{}{}\n", 1 + tree % 2, of(tree))).collect();
        book.put("trees.csv", format!("tree,block{columns}\n{rows}"));
        let ran = layout(&book, &in_block("B1"), &["--book", book.arg()]);
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        (ran.stdout, book.text("laid/field-sheets.html"))
    };
    let what = "Block B1: 6 trees with a row and without a place in it.";
    let (text, page) = placed(",row", &|tree| format!(",{}", (tree - 1) / 6 + 1));
    assert!(text.contains(what) && page.contains(what), "{text}");
    assert!(text.contains("header = { \"Tree\" = \"column\" } under [[files.trees]]"), "{text}");
    let (text, _) = placed(",row,column", &|tree| format!(",{},{}", (tree - 1) / 6 + 1, tree % 6));
    assert!(!text.contains("without a place"), "{text}");
    let (text, _) = placed("", &|_| String::new());
    assert!(!text.contains("without a place"), "{text}");
}

/// Trees of a trial whose seasons are all over are free, which is said; those of one that goes on are not.
#[test]
fn trees_of_a_trial_that_is_over_are_free_again() {
    let book = Book::tidy();
    book.put("trials.csv", "trial,tree,replicate,x\nOld,T02,R1,a\nOld,T04,R1,b\n");
    let settings = book.text("book.toml");
    let declared = |seasons: &str| {
        let section = "[trials.Old]\ndesign = \"randomised_blocks\"\nfactors = [\"x\"]\n";
        book.put("book.toml", format!("{settings}\n{section}{seasons}\n"));
        layout(&book, &in_block("B1"), &["--book", book.arg()])
    };
    let over = declared("seasons = [2023]");
    assert_eq!(over.code, 0, "{}", over.stderr);
    let said = "Trees to draw from that stood in a trial which is over: 2 trees in trial Old.";
    assert!(over.stdout.contains(said), "{}", over.stdout);
    for goes_on in ["", "seasons = [2023, 2031]"] {
        let words = "2 trees are in a trial already, first T02 in trial Old";
        declared(goes_on).fails_saying(&[words, "free once its section names its harvests"]);
    }
}

/// Without visits, too, a tree belongs to one trial and stands in a known block.
#[test]
fn trials_and_blocks_of_a_book_without_visits() {
    let book = Book::tidy();
    book.remove("prunings.csv");
    book.remove("harvests.csv");
    book.append("trees.csv", "T90,B9");
    let with = ["--book", book.arg()];
    let lost = layout(&book, &in_block("B9"), &with);
    lost.fails_saying(&["next.toml:11: field.blocks: block 'B9'", "has trees in B1, B2;"]);
    lost.fails_saying(&["1 row of blocks and trees was set aside, first trees.csv:14"]);
    assert!(!lost.stderr.contains("and so on"), "{}", lost.stderr);
    book.put("trials.csv", "trial,tree,replicate,x\nOld,T02,R1,a\nOld,T04,R1,b\n");
    layout(&book, &in_block("B1"), &with)
        .fails_saying(&["2 trees are in a trial already, first T02 in trial Old"]);
    assert_eq!(layout(&book, &in_block("B2"), &with).code, 0);
}

#[test]
fn a_required_table_without_rows_is_not_to_be_removed() {
    for text in ["tree,date,intensity,measured_as\n", ""] {
        let book = Book::tidy();
        book.put("prunings.csv", text);
        let ran = book.check();
        assert_eq!(ran.code, 2);
        assert!(ran.stderr.contains("every book needs the table prunings"), "{}", ran.stderr);
        assert!(!ran.stderr.contains("or remove"), "{}", ran.stderr);
    }
}

#[test]
fn blocks_of_a_request_need_their_book() {
    let book = Book::tidy();
    layout(&book, &in_block("B1"), &[])
        .fails_saying(&["next.toml:11: field.blocks", "--book BOOK"]);
}

#[test]
fn faults_of_a_request_have_their_place() {
    let book = Book::tidy();
    let grid = "[field]\nrows = 2\ncolumns = 3\n";
    let refused = |request: &str, words: &[&str]| layout(&book, request, &[]).fails_saying(words);
    let split = REQUEST.replace("randomised_blocks", "split_plot");
    refused(&format!("{split}{grid}"), &["next.toml:5: factors: no factor is on main plots"]);
    let control = "control = { factor = \"intensity_level\", level = \"none\" }\n";
    refused(&format!("{control}{REQUEST}{grid}"), &["next.toml:1: control: `none` is no level of"]);
    let named = REQUEST.replace("\"0.15\"", "\"light\"");
    let second =
        "[[factors]]\nname = \"dressing\"\nlevels = [\"none\", \"heavy\"]\nunit = \"kg\"\n";
    refused(&format!("{named}{grid}"), &["next.toml:6: factors: level `light`"]);
    refused(&format!("{REQUEST}{second}{grid}"), &["next.toml:11: factors: level `none`"]);
    refused(&format!("{REQUEST}[field]\nrows = 2\ncolumns = 2\n"), &["next.toml: ", "6 plots"]);
    let standing = format!("{}region = \"plain\"\n", in_block("B1"));
    layout(&book, &standing, &["--book", book.arg()])
        .fails_saying(&["next.toml:12: field.region", "rows"]);
}

#[test]
fn a_record_book_is_no_folder_to_write_into() {
    let book = Book::tidy();
    book.put("next.toml", format!("{REQUEST}[field]\nrows = 2\ncolumns = 3\n"));
    let request = book.file("next.toml");
    let ran = anacurve(&["layout", request.to_str().unwrap(), "--out", book.arg(), "--seed", "1"]);
    ran.fails_saying(&["is a record book", "--out", "new, empty or written by this command"]);
    assert!(!ran.stderr.contains("permissions"), "{}", ran.stderr);
    assert!(book.file("trees.csv").is_file() && !book.file("map.svg").exists());
}

/// The next check would take what the last one wrote for tables of the book.
#[test]
fn a_check_does_not_write_into_a_book() {
    let book = Book::tidy();
    let other = Book::tidy();
    for folder in [book.arg(), other.arg()] {
        let ran = anacurve(&["check", book.arg(), "--out", folder]);
        ran.fails_saying(&[folder, "is a record book", "nothing was written", "--out"]);
        assert!(!book.file("quarantine.csv").exists() && !other.file("quarantine.csv").exists());
    }
    let own = book.file("checked");
    assert_eq!(anacurve(&["check", book.arg(), "--out", own.to_str().unwrap()]).code, 0);
    assert!(own.join("tree_seasons.parquet").is_file());
}

/// The trees of a new field, put into the book, are those that the trial's rows name.
#[test]
fn the_tables_of_a_new_field_complete_the_book() {
    let book = Book::tidy();
    let guards = "guards = { around_trial = 1 }\n";
    let grid = "[field]\nrows = 2\ncolumns = 3\n";
    let unstated = layout(&book, &format!("{guards}{REQUEST}{grid}"), &[]);
    assert_eq!(unstated.code, 0, "{}", unstated.stderr);
    for words in ["trees-n-1.csv", "'N-1' needs a row in the block table", "site and region under"]
    {
        assert!(unstated.stdout.contains(words), "no '{words}' in {}", unstated.stdout);
    }
    assert!(!book.file("laid/blocks.csv").exists());
    let stated = format!("{guards}{REQUEST}{grid}site = \"Farm\"\nregion = \"plain\"\n");
    let ran = layout(&book, &stated, &[]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(ran.stdout.contains("blocks-n-1.csv"), "{}", ran.stdout);
    let trees = book.text("laid/trees.csv");
    // Two by three plots of a tree within one line of guards: four by five trees.
    assert_eq!(trees.lines().count(), 1 + 20, "{trees}");
    assert_eq!(
        book.text("laid/blocks.csv"),
        "block,site,region,row_spacing_m,tree_spacing_m,variety,planted\nN-1,Farm,plain,,,,\n"
    );
    let section = book.text("laid/book-section.toml");
    assert!(section.contains("# The trees of the new field are in trees.csv"), "{section}");
    book.put("book.toml", format!("{}\n{section}", book.text("book.toml")));
    book.put("trials.csv", book.text("laid/trials.csv"));
    let set_aside = |book: &Book| {
        let (ran, _, quarantine) = book.check_json();
        assert_ne!(ran.code, 2, "{}", ran.stderr);
        quarantine.lines().count() - 1
    };
    assert_eq!(set_aside(&book), 6, "rows of trees that the book does not know");
    book.put("trees-n-1.csv", trees);
    book.put("blocks-n-1.csv", book.text("laid/blocks.csv"));
    assert_eq!(set_aside(&book), 0);
}

/// Levels in per cent under the unit `fraction` would be cuts of fifteen canopies: refused with the
/// remedy; a cut of nearly all of it is drawn, with a caution.
#[test]
fn intensities_beyond_the_whole_canopy_are_refused_and_hard_cuts_named() {
    let book = Book::tidy();
    let levels = |levels: &str| in_block("B1").replace("\"0\", \"0.15\", \"0.30\"", levels);
    let laid =
        |levels_written: &str| layout(&book, &levels(levels_written), &["--book", book.arg()]);
    laid("\"0\", \"15\", \"30\"").fails_saying(&[
        "next.toml:6",
        "level 15",
        "write 0.15 for 15 per cent",
    ]);
    laid("\"-0.1\", \"0.15\", \"0.3\"").fails_saying(&["level -0.1", "write 0.15"]);
    let hard = laid("\"0\", \"0.15\", \"0.85\"");
    assert_eq!(hard.code, 0, "{}", hard.stderr);
    let caution = "Caution: more than 80 % of the canopy is removed at intensity level 0.85.";
    assert!(hard.stdout.contains(caution), "{}", hard.stdout);
    assert!(
        book.text("laid/field-sheets.html").contains("more than 80\u{a0}% of the canopy")
            || book.text("laid/field-sheets.html").contains("more than 80 % of the canopy")
    );
    // Four fifths themselves are not beyond them.
    let usual = laid("\"0\", \"0.15\", \"0.8\"");
    assert!(usual.code == 0 && !usual.stdout.contains("Caution"), "{}", usual.stdout);
    // Days are no fractions.
    let days = levels("\"0\", \"15\", \"30\"").replace("fraction", "days");
    assert_eq!(layout(&book, &days, &["--book", book.arg()]).code, 0);
}

/// One amount in two spellings would be two treatments that are one.
#[test]
fn an_amount_is_a_level_once_however_it_is_written() {
    let book = Book::tidy();
    let laid = |levels: &str, more: &str| {
        let request = in_block("B1").replace("\"0\", \"0.15\", \"0.30\"", levels);
        layout(&book, &format!("{more}{request}"), &["--book", book.arg()])
    };
    laid("\"0.15\", \"0.30\", \"0.300\"", "").fails_saying(&[
        "next.toml:6",
        "levels 0.30 and 0.300",
        "the same amount",
    ]);
    let control =
        "control = { factor = \"intensity_level\", level = \"0\", beside_factorial = true }\n";
    laid("\"0.0\", \"0.15\"", control).fails_saying(&["levels 0.0 and 0", "the same amount"]);
    assert_eq!(laid("\"0\", \"0.15\", \"0.30\"", control).code, 0);
    // What was typed in per cent is told as it has to be typed.
    laid("\"0\", \"1.45\", \"2\"", "").fails_saying(&["write 0.0145 for 1.45 per cent"]);
    laid("\"0\", \"30\", \"100\"", "").fails_saying(&["write 0.3 for 30 per cent"]);
}

/// A lead of most of a year lies before the harvest before, and no sheet could give its day.
#[test]
fn leads_stay_within_the_year_of_the_crop() {
    let book = Book::tidy();
    let laid = |levels: &str| {
        let request = in_block("B1").replace("intensity_level", "lead_days");
        let request = request.replace("\"0\", \"0.15\", \"0.30\"", levels);
        layout(&book, &request.replace("fraction", "days"), &["--book", book.arg()])
    };
    laid("\"20\", \"50\", \"400\"").fails_saying(&["next.toml:6", "level 400", "300 at most"]);
    laid("\"20\", \"50\", \"-301\"").fails_saying(&["level -301", "days after its start"]);
    let laid = laid("\"-10\", \"50\", \"300\"");
    assert_eq!(laid.code, 0, "{}", laid.stderr);
}

/// A second draw under an id that the book has would be rows of two trials under one name.
#[test]
fn the_id_of_a_trial_of_the_book_is_not_drawn_again() {
    let book = Book::tidy();
    let with = ["--book", book.arg()];
    assert_eq!(layout(&book, &in_block("B1"), &with).code, 0);
    let (section, rows) = (book.text("laid/book-section.toml"), book.text("laid/trials.csv"));
    let drawn = book.file("laid.json");
    std::fs::copy(book.file("laid/layout.json"), &drawn).unwrap();
    book.put("trials.csv", rows);
    let refused = ["next.toml:1: trial: trial 'N-1'", "an id of its own", "layout.json"];
    let other = in_block("B2");
    layout(&book, &other, &with).fails_saying(&[&refused[..], &["in the trial table"]].concat());
    book.append("book.toml", &section);
    layout(&book, &other, &with).fails_saying(&[&refused[..], &["in book.toml"]].concat());
    assert_eq!(layout(&book, &other.replace("N-1", "N-2"), &with).code, 0);
    // Its sheets for a further season.
    let out = book.file("again");
    let again = ["layout", drawn.to_str().unwrap(), "--out", out.to_str().unwrap()];
    let ran = anacurve(&[&again[..], &with].concat());
    assert_eq!(ran.code, 0, "{}", ran.stderr);
}

/// Trees in training are cut to no intensity: a block of them is refused by name, some among others
/// are left out and told; a trial without intensities may have them.
#[test]
fn trees_in_training_stay_out_of_a_trial_of_intensities() {
    let book = Book::tidy();
    book.append("blocks.csv", "B3,Farm,plain,8,8,2023");
    for tree in 1..=6 {
        book.append("trees.csv", &format!("Y{tree:02},B3"));
    }
    let named = format!("{REQUEST}[field]\nblocks = [\"B1\", \"B3\"]\n");
    let laid = |request: &str| layout(&book, request, &["--book", book.arg()]);
    laid(&named).fails_saying(&[
        "field.blocks",
        "6 trees of block 'B3'",
        "training age of 3 years",
    ]);
    let dressing = named.replace("\"0\", \"0.15\", \"0.30\"", "\"none\", \"paste\", \"lime\"");
    assert_eq!(laid(&dressing.replace("unit = \"fraction\"\n", "")).code, 0);
    // Replants in a grown block.
    book.put("trees.csv", book.text("trees.csv").replace("tree,block\n", "tree,block,planted\n"));
    let text = book.text("trees.csv");
    let rows = text.lines().enumerate().map(|(at, row)| match at {
        0 => row.to_owned(),
        _ => format!("{row},{}", if row.starts_with("Y") { "2009" } else { "" }),
    });
    book.put("trees.csv", rows.collect::<Vec<_>>().join("\n") + "\n");
    book.append("trees.csv", "N99,B1,2024");
    let some = laid(&in_block("B1"));
    assert_eq!(some.code, 0, "{}", some.stderr);
    let told = "Left out of block B1: 1 tree under the training age of 3 years at harvest 2025.";
    assert!(some.stdout.contains(told), "{}", some.stdout);
    assert!(!book.text("laid/trials.csv").contains("N99"));
}

/// Whoever cuts reads what to do; whoever pays reads the hours and wages.
#[test]
fn sheets_say_what_to_cut_and_what_it_takes() {
    let book = Book::tidy();
    let ran = layout(&book, &in_block("B1"), &["--book", book.arg()]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let sheets = book.text("laid/field-sheets.html");
    for words in ["do not prune", "cut 15 % of the canopy", "cut 30 % of the canopy"] {
        let unbroken = words.replace(" %", "\u{a0}%");
        assert!(sheets.contains(words) || sheets.contains(&unbroken), "{words}");
    }
    // Two trees each of (4 + 30 x 0.15) and (4 + 30 x 0.30) minutes: 43 minutes at 0.9 an hour.
    let told = "pruning it once takes 0.7 hours for 4 trees and 1 coins of wages.";
    assert!(ran.stdout.contains(told), "{}", ran.stdout);
    assert!(!ran.stdout.contains("No plot stands in"), "{}", ran.stdout);
    // Two blocks are named, and the first holds all plots.
    let two = in_block("B1").replace("[\"B1\"]", "[\"B1\", \"B2\"]");
    let ran = layout(&book, &two, &["--book", book.arg()]);
    assert!(ran.stdout.contains("No plot stands in B2, as the other"), "{}", ran.stdout);
    let bare = in_block("B1").replace("unit = \"fraction\"\n", "");
    layout(&book, &bare, &["--book", book.arg()]).fails_saying(&[
        "next.toml:6",
        "numbers without a unit",
        "unit = \"fraction\"",
    ]);
}

/// A trial across regions, and trees younger than any that records tell of, are drawn and told.
#[test]
fn layouts_tell_of_two_regions_and_of_untried_ages() {
    let book = Book::tidy();
    book.append(
        "book.toml",
        "[regions.hill]\nname = \"High Hill\"\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]",
    );
    book.replace("blocks.csv", "B2,Farm,plain", "B2,Hill,hill");
    book.append("blocks.csv", "B3,Farm,plain,8,8,2020");
    for tree in 1..=6 {
        book.append("trees.csv", &format!("Y{tree:02},B3"));
    }
    let across = |blocks: &str| {
        let ran = layout(
            &book,
            &format!("{REQUEST}[field]\nblocks = [{blocks}]\n"),
            &["--book", book.arg()],
        );
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        ran.stdout
    };
    let two = across("\"B1\", \"B2\"");
    // Six trees are taken of twelve: those of one block may do.
    let wide = REQUEST.replace("replicates = 2", "replicates = 4");
    let ran = layout(
        &book,
        &format!("{wide}[field]\nblocks = [\"B1\", \"B2\"]\n"),
        &["--book", book.arg()],
    );
    assert!(ran.stdout.contains("stand in 2 regions (High Hill, plain)"), "{two} {}", ran.stdout);
    let young = across("\"B3\"");
    let said = "Block B3: 6 trees younger than the trees that the records of the region show cut";
    assert!(young.contains(said), "{young}");
    // A light cut at that age tells nothing of the hardest level.
    for tree in 1..=6 {
        book.append("prunings.csv", &format!("Y{tree:02},2023-07-12,0.05,canopy_fraction"));
        book.append("harvests.csv", &format!("Y{tree:02},2024-03-12,2.{tree}"));
    }
    let young = across("\"B3\"");
    assert!(young.contains(said), "{young}");
    let old = across("\"B1\"");
    assert!(!old.contains("younger") && !old.contains("regions"), "{old}");
}

/// What was picked before the trial was pruned is no result of it: the section names the first
/// harvest that is, and the analysis keeps to it.
#[test]
fn the_section_of_a_layout_names_its_first_harvest() {
    let book = Book::tidy();
    let ran = layout(&book, &in_block("B1"), &["--book", book.arg()]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let section = book.text("laid/book-section.toml");
    assert!(section.contains("\nseasons = [2025]\n"), "{section}");
    assert!(section.contains("for example seasons = [2025, 2026]"), "{section}");
    for line in [
        "# [[files.harvests]]",
        "# path = \"sheets-n-1.xlsx\"",
        "# sheet = \"Harvest\"",
        "# under [book] not_tables = [\"sheets-n-1.xlsx#Plots\", \"sheets-n-1.xlsx#Labels\", \"sheets-n-1.xlsx#trials\", \"sheets-n-1.xlsx#Before anyone prunes\"]",
        "# not_columns = [\"where\", \"plot\", \"treatment\", \"observed\", \"remarks\"]",
    ] {
        assert!(section.lines().any(|own| own == line), "{line} in {section}");
    }
    book.put("book.toml", format!("{}\n{section}", book.text("book.toml")));
    book.put("trials.csv", book.text("laid/trials.csv"));
    let ran = anacurve(&["trial", book.arg(), "--format", "json"]);
    let found: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(found[0]["seasons"], serde_json::json!([]), "{}", ran.stdout);
    // The book's own season goes first.
    book.replace("book.toml", "[regions.plain]", "[options]\nseason = 2027\n\n[regions.plain]");
    let second = in_block("B2").replace("N-1", "N-2");
    let other = layout(&book, &second, &["--book", book.arg()]);
    assert_eq!(other.code, 0, "{}", other.stderr);
    assert!(book.text("laid/book-section.toml").contains("\nseasons = [2027]\n"));
    // A new plantation tells no season: a remark takes its place.
    let new = Book::tidy();
    new.remove("prunings.csv");
    new.remove("harvests.csv");
    assert_eq!(layout(&new, &in_block("B1"), &["--book", new.arg()]).code, 0);
    let section = new.text("laid/book-section.toml");
    assert!(!section.contains("\nseasons") && section.contains("# Name the harvests"), "{section}");
}

/// A running trial keeps its draw: another season prints the sheets of what was drawn, without trees
/// that died since.
#[test]
fn the_sheets_of_a_trial_are_printed_again() {
    let book = Book::tidy();
    assert_eq!(layout(&book, &in_block("B1"), &["--book", book.arg()]).code, 0);
    let drawn = book.text("laid/field-sheets.html");
    assert!(drawn.contains("book-section") || drawn.contains("[trials."), "no lines for book.toml");
    let (json, out) = (book.file("laid/layout.json"), book.file("again"));
    let print = |more: &[&str]| {
        let fixed = ["layout", json.to_str().unwrap(), "--out", out.to_str().unwrap()];
        anacurve(&[&fixed[..], more].concat())
    };
    let ran = print(&[]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    // Without a book everything is as drawn, but for the lines that book.toml has.
    assert_eq!(book.text("again/map.svg"), book.text("laid/map.svg"));
    assert_eq!(book.text("again/layout.json"), book.text("laid/layout.json"));
    let page = book.text("again/field-sheets.html");
    assert!(!page.contains("[trials.") && page.contains("T02"), "{page}");
    assert!(!book.file("again/trials.csv").exists());
    // The trees of the trial are in the book's trial table by now, and one of them is gone.
    book.put(
        "book.toml",
        format!("{}\n{}", book.text("book.toml"), book.text("laid/book-section.toml")),
    );
    book.put("trials.csv", book.text("laid/trials.csv"));
    let header = book.text("trees.csv").lines().next().unwrap().to_owned();
    let rows: Vec<String> = book
        .text("trees.csv")
        .lines()
        .skip(1)
        .map(|row| format!("{row},{}", if row.starts_with("T02,") { "dead" } else { "alive" }))
        .collect();
    book.put("trees.csv", format!("{header},status\n{}\n", rows.join("\n")));
    let ran = print(&["--book", book.arg()]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(ran.stdout.contains("no longer stand: 1 tree of the layout (T02)"), "{}", ran.stdout);
    let layout: serde_json::Value = serde_json::from_str(&book.text("again/layout.json")).unwrap();
    assert_eq!(layout["gone"], serde_json::json!(["T02"]));
    print(&["--seed", "1"]).fails_saying(&["--seed would draw anew"]);
    book.put("laid/layout.json", "{}");
    print(&[]).fails_saying(&["layout.json:1: no layout of a trial"]);
    let request = book.file("next.toml");
    anacurve(&["layout", request.to_str().unwrap(), "--out", out.to_str().unwrap()])
        .fails_saying(&["a draw needs --seed N"]);
}
