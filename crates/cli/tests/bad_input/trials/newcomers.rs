//! What people get wrong in the declaration and the tables of a first trial of their own.

use super::{SECTION, book, plain, refused, told};
use crate::support::{Book, anacurve};

/// Told by `check` with its remedy and by `trial`, with the code of doubts.
fn doubted(book: &Book, what: &str, remedy: &str) {
    let (text, code) = told(book);
    assert!(code == 1 && text.contains(what), "{what}: {text}");
    let ran = book.check();
    let out = &ran.stdout;
    assert!(out.contains("[trial-slip]") && out.contains(what), "{what}: {out}");
    assert!(out.contains(remedy), "{remedy}: {out}");
}

/// Said by nobody.
fn silent(book: &Book, what: &str) {
    let (text, out) = (told(book).0, book.check().stdout);
    assert!(!text.contains(what) && !out.contains(what), "{what}: {text}\n{out}");
}

#[test]
fn a_forgotten_role_of_the_site_is_told_with_the_line_to_write() {
    let at_two = |section: &str| {
        let book = book(section, plain);
        book.put("blocks.csv", book.text("blocks.csv").replace("B2,Farm", "B2,Hill"));
        book
    };
    doubted(
        &at_two(SECTION),
        "Its trees stand at 2 sites of the book (Farm, Hill), and no role names the site: replicate R0",
        "roles = { site = \"site\" }",
    );
    silent(&at_two(&format!("{SECTION}roles = {{ site = \"site\" }}\n")), "no role names the site");
    silent(&book(SECTION, plain), "no role names the site");
}

#[test]
fn a_row_at_another_site_than_its_tree_is_told() {
    let section = format!("{SECTION}roles = {{ site = \"site\" }}\n");
    let stated = |wrong: usize| {
        let book = book(&section, plain);
        book.put("blocks.csv", book.text("blocks.csv").replace("B2,Farm", "B2,Hill"));
        let rows = book.text("trials.csv");
        let rows = rows.lines().enumerate().map(|(at, row)| match at {
            0 => format!("{row},site\n"),
            _ if (at % 2 == 1) == (at == wrong) => format!("{row},Farm\n"),
            _ => format!("{row},Hill\n"),
        });
        let rows: String = rows.collect();
        book.put("trials.csv", rows);
        book
    };
    silent(&stated(99), "at another site than that of the tree's block");
    doubted(
        &stated(5),
        "1 row stands at another site than that of the tree's block, first T05: Farm here, Hill in the block table",
        "correct the site of the row",
    );
}

#[test]
fn levels_that_are_hundredths_of_the_recorded_cuts_are_told() {
    // The book's cuts are 10 to 40 %, by tree and year.
    let of = |unit: &str, levels: [&'static str; 4]| {
        let section = format!("{SECTION}amounts = {{ level = \"{unit}\" }}\nseasons = [2024]\n");
        book(&section, move |tree| {
            let level = levels[(tree + 1 + 2024) % 4];
            format!("A,T{:02},R{},P{tree},{level},x", tree + 1, tree / 4)
        })
    };
    let what = "The levels of level are a hundredth of the prunings on record: ";
    let cuts = ["0.1", "0.2", "0.3", "0.4"];
    doubted(&of("percent", cuts), what, "write amounts = { level = \"fraction\" }");
    silent(&of("fraction", cuts), what);
    silent(&of("percent", ["10", "20", "30", "40"]), what);
    let signed = ["0.1%", "0.2%", "0.3%", "0.4%"];
    doubted(&of("fraction", signed), what, "write the levels as 15 % or as 0.15");
}

#[test]
fn a_covariate_with_a_slipped_decimal_mark_is_told() {
    let of = |slipped: &'static str| {
        let section = format!("{SECTION}covariate = \"other\"\n");
        book(&section, move |tree| {
            let girth = if tree == 5 { slipped.to_owned() } else { format!("{}", 50 + 3 * tree) };
            plain(tree).replace(",x", &format!(",{girth}"))
        })
    };
    let what = "1 tree with a covariate that looks like the others with its decimal mark slipped, first T06: other";
    doubted(&of("650"), what, "correct the value in the trial table");
    doubted(&of("6.5"), what, "correct the value in the trial table");
    silent(&of("65"), "decimal mark slipped");
    silent(&of("110"), "decimal mark slipped");
}

#[test]
fn rows_that_a_replicate_lacks_are_told() {
    let without = |lost: &'static [&'static str]| {
        let section = format!("{SECTION}roles = {{ plot = \"plot\" }}\n");
        let book = book(&section, |tree| {
            format!("A,T{:02},R{},P{tree},{},x", tree + 1, tree / 3 + 1, tree % 3)
        });
        let rows = book.text("trials.csv");
        let rows = rows.lines().filter(|row| !lost.iter().any(|id| row.contains(id)));
        let rows: String = rows.map(|row| format!("{row}\n")).collect();
        book.put("trials.csv", rows);
        book
    };
    silent(&without(&[]), "has no row of");
    doubted(
        &without(&[",T05,"]),
        "replicate R2 has no row of level 1, which most of the 4 complete blocks hold",
        "add the rows",
    );
    doubted(
        &without(&[",T04,", ",T05,", ",T06,"]),
        "No row is of replicate R2, a number between those of the other replicates",
        "add the rows of that replicate",
    );
}

#[test]
fn a_season_entered_under_the_year_before_is_told() {
    let section = format!("{SECTION}seasons = [2023, 2024]\n");
    let book = book(&section, plain);
    let (harvests, what) =
        (book.text("harvests.csv"), "picks of 2024 may stand under the year before");
    silent(&book, what);
    book.put("harvests.csv", harvests.replace(",2024-03-", ",2023-04-"));
    doubted(
        &book,
        "No tree of it has a harvest of 2024, and a tree has 2 picks in 2023, where 1 are usual",
        "look for picks of that season under another year",
    );
    // A season that is still to come is waited for.
    let kept = harvests.lines().filter(|row| !row.contains(",2024-"));
    book.put("harvests.csv", kept.map(|row| format!("{row}\n")).collect::<String>());
    silent(&book, "under the year before");
    silent(&book, "its picks may stand under another year");
}

#[test]
fn a_split_plot_that_does_not_fit_its_rows_names_the_replicates_found() {
    // Three replicates of two main plots of two plots, in a table that knows two.
    let section = "[trials.A]\ndesign = \"split_plot\"\nmain_factors = [\"level\"]\n\
                   sub_factors = [\"other\"]\nroles = { plot = \"plot\" }\n";
    let book = book(section, |tree| {
        format!("A,T{:02},R{},P{tree},{},{}", tree + 1, tree / 6, tree / 2 % 2, tree % 2)
    });
    refused(&book, &["; the rows make 2 replicates"]);
}

/// Sites together tell the size of the next trial as each of them does: means of squares, in per cent of the
/// site's own mean.
#[test]
fn sites_together_give_the_components_of_the_next_trial() {
    let section = format!("{SECTION}roles = {{ site = \"site\" }}\nseasons = [2024]\n");
    let book = book(&section, |tree| {
        let own = tree / 2;
        format!("A,T{:02},R{},P{tree},{},x", tree + 1, own / 3, own % 3)
    });
    book.put("blocks.csv", book.text("blocks.csv").replace("B2,Farm", "B2,Hill"));
    let out = book.file("report");
    anacurve(&["trial", book.arg(), "--out", out.to_str().unwrap()]);
    let of_tree = |of: &str| -> f64 {
        let file = out.join(format!("trials/a-nut-yield-{of}-components.toml"));
        let text = std::fs::read_to_string(&file).unwrap_or_else(|error| panic!("{of}: {error}"));
        let line = text.lines().find_map(|line| line.strip_prefix("tree = ")).unwrap();
        line.parse().unwrap()
    };
    let together = ((of_tree("farm").powi(2) + of_tree("hill").powi(2)) / 2.0).sqrt();
    assert!((of_tree("all-sites") - together).abs() < 0.011, "{together}");
    let file = out.join("trials/a-nut-yield-all-sites-components.toml");
    let size = ["--treatments", "3", "--difference", "10", "--replicates", "4"];
    let ran = anacurve(&[&["size", "--components", file.to_str().unwrap()], &size[..]].concat());
    assert_eq!(ran.code, 0, "{}", ran.stderr);
}

#[test]
fn a_unit_of_a_column_that_the_trial_table_keeps_as_written_is_refused_with_the_remedy() {
    let of = |unit: &str| {
        let book = book(SECTION, plain);
        let stanza = format!("[[files.trials]]\npath = \"trials.csv\"\n{unit}");
        book.put("book.toml", format!("{}\n{stanza}", book.text("book.toml")));
        book.check()
    };
    for name in ["level", "nonsense"] {
        let ran = of(&format!("units = {{ {name} = \"pct\" }}\n"));
        let remedy = format!("amounts = {{ \"{name}\" = \"fraction\" }} under [trials.ID]");
        let told = "[setting-impossible]\n  hint: remove it from units";
        assert_eq!(ran.code, 2, "{}", ran.stdout);
        assert!(ran.stderr.contains(told) && ran.stderr.contains(&remedy), "{}", ran.stderr);
    }
    assert_eq!(of("").stderr, "");
}

/// A trial of the book's own cuts or days in 2024, of trees whose level is what `level` says of number and cut or
/// day, under an amount in a unit.
fn of_records(unit: &str, level: impl Fn(usize) -> String) -> Book {
    let section = format!("{SECTION}amounts = {{ level = \"{unit}\" }}\nseasons = [2024]\n");
    book(&section, move |tree| {
        format!("A,T{:02},R{},P{tree},{},x", tree + 1, tree / 4, level(tree))
    })
}

#[test]
fn whole_per_cents_under_a_fraction_are_told_what_works() {
    let (text, code) = told(&of_records("fraction", |tree| (15 * (tree % 4)).to_string()));
    assert_eq!(code, 1, "{text}");
    let hint = "write 15 % or 0.15 for 15 per cent, in the cells or by values = { \"HEADING\" = { \"15\" = 0.15 } }";
    assert!(text.contains(hint), "{text}");
    // As it says.
    let book = of_records("fraction", |tree| (15 * (tree % 4)).to_string());
    let stanza = "[[files.trials]]\npath = \"trials.csv\"\n\
                  values = { \"level\" = { \"15\" = 0.15, \"30\" = 0.3, \"45\" = 0.45 } }\n";
    book.put("book.toml", format!("{}\n{stanza}", book.text("book.toml")));
    assert!(!told(&book).0.contains("is no fraction"));
}

#[test]
fn cuts_in_per_cent_are_compared_where_the_prunings_are_plainly_those_levels() {
    // The cuts of the book in 2024; that of the first tree is another.
    let cut = |tree: usize| 10 * ((tree + 1 + 2024) % 4 + 1);
    let one_off = |tree: usize| if tree == 0 { 40 } else { cut(tree) }.to_string();
    let what = "1 tree-season of 12 with a harvest was pruned more than 10 % of the canopy off";
    assert_eq!(cut(0), 20);
    doubted(&of_records("percent", one_off), what, "compare trial table and prunings");
    silent(&of_records("percent", |tree| cut(tree).to_string()), "pruned more than");
    // Shares of something else, on trees cut by the manager.
    silent(&of_records("percent", |tree| (15 * (tree % 4)).to_string()), "pruned more than");
    silent(&of_records("percent", |tree| (tree % 4 + 1).to_string()), "pruned more than");
}

#[test]
fn days_of_any_name_are_compared_where_the_prunings_are_plainly_on_them() {
    // Of 2024 two dates, 45 and 75 days before the flush of 1 September; one tree has the other date.
    let of = |level: &'static str| {
        let book = of_records("days", move |tree| {
            if level == "other" {
                (7 * (tree % 4)).to_string()
            } else if tree == 0 {
                level.to_owned()
            } else {
                ["75", "45"][tree % 2].to_owned()
            }
        });
        let rows: Vec<String> = book
            .text("prunings.csv")
            .lines()
            .map(|row| match row.split(',').collect::<Vec<_>>().as_slice() {
                [tree, date, cut, basis] if date.starts_with("2023") => {
                    let is_odd = tree.trim_start_matches('T').parse::<usize>().unwrap() % 2 == 1;
                    let day = if is_odd { "2023-06-18" } else { "2023-07-18" };
                    format!("{tree},{day},{cut},{basis}")
                }
                _ => row.to_owned(),
            })
            .collect();
        book.put("prunings.csv", rows.join("\n") + "\n");
        book
    };
    let what = "1 tree-season of 12 with a harvest was pruned more than 10 days off";
    doubted(&of("45"), what, "compare trial table and prunings");
    silent(&of("75"), "pruned more than");
    silent(&of("other"), "pruned more than");
}

#[test]
fn seasons_before_the_trial_are_told_with_the_line_to_write() {
    // The cuts are those of the trial in the last season alone.
    let cut = |tree: usize| format!("0.{}", (tree + 1 + 2024) % 4 + 1);
    let section = format!("{SECTION}amounts = {{ level = \"fraction\" }}\n");
    let of = |section: &str| {
        let row = |tree: usize| format!("A,T{:02},R{},P{tree},{},x", tree + 1, tree / 4, cut(tree));
        let book = book(section, row);
        let pruned = book.text("prunings.csv");
        // Before the trial everything was cut 90 %.
        let rows = pruned.lines().map(|row| match row.split(',').collect::<Vec<_>>().as_slice() {
            [tree, date, _, basis] if !date.starts_with("2023") && *tree != "tree" => {
                format!("{tree},{date},0.9,{basis}\n")
            }
            _ => format!("{row}\n"),
        });
        let rows: String = rows.collect();
        book.put("prunings.csv", rows);
        book
    };
    doubted(&of(&section), "off the treatment's level", "write seasons = [2024]");
    silent(&of(&format!("{section}seasons = [2024]\n")), "pruned more than");
}

#[test]
fn a_pick_set_aside_before_the_seasons_of_a_trial_is_none_of_its_rows() {
    let of = |season: u16| {
        let book = book(&format!("{SECTION}seasons = [2024]\n"), plain);
        let picks = book.text("harvests.csv");
        let rows = picks.lines().map(|row| match row.rsplit_once(',') {
            Some((start, _)) if start.starts_with(&format!("T03,{season}")) => {
                format!("{start},6320\n")
            }
            _ => format!("{row}\n"),
        });
        let rows: String = rows.collect();
        // Another tree of the trial was not picked in 2024.
        let rows: String = rows
            .lines()
            .filter(|row| !row.starts_with("T06,2024"))
            .map(|row| format!("{row}\n"))
            .collect();
        book.put("harvests.csv", rows);
        // A pick of 2022 of no known tree, and one of 2024 twice: neither is one that T06 lacks.
        book.append("harvests.csv", "T99,2022-03-14,5.1");
        let last = book.text("harvests.csv");
        let last = last.lines().find(|row| row.starts_with("T02,2024")).unwrap();
        book.append("harvests.csv", last);
        told(&book).0
    };
    let (before, during) = (of(2022), of(2024));
    assert!(during.contains("Picks of the book were set aside and may be theirs"), "{during}");
    assert!(before.contains("Without a harvest on record: T06 in 2024."), "{before}");
    assert!(!before.contains("set aside"), "{before}");
    assert!(during.contains("1 row of this trial and its trees was set aside"), "{during}");
}

/// One file of the trial table is refused: what it holds is not called absent, and what it lacks is told first.
#[test]
fn columns_of_a_refused_file_are_not_called_absent() {
    let second = "[trials.B]\ndesign = \"latin_square\"\nfactors = [\"dose\"]\n\
                  roles = { row = \"Line\", column = \"nowhere\" }\n\
                  [[files.trials]]\npath = \"trials.csv\"\n\
                  [[files.trials]]\npath = \"of_b.csv\"\nevery_row = { trial = \"B\" }\n";
    let book = book(&format!("{SECTION}{second}"), plain);
    book.put("of_b.csv", "tree,Line,Col,dose\nT01,1,1,0\n");
    let ran = book.check();
    ran.fails("of_b.csv:1", "column-missing");
    let told = &ran.stderr;
    assert!(told.contains("the column replicate is missing"), "{told}");
    assert!(told.contains("without replicates, every_row = { replicate = \"R1\" }"), "{told}");
    assert!(!told.contains("'dose'") && !told.contains("'line'"), "{told}");
    // A column that neither file has is absent all the same.
    assert!(told.contains("'nowhere'"), "{told}");
}
