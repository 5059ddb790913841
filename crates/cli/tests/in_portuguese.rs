//! A report in Portuguese has no English left, and its numbers have decimal commas.
#![allow(clippy::unwrap_used, reason = "helpers of a test may fail as loudly as the test itself")]

#[path = "support/folder.rs"]
mod folder;
#[path = "support/simulated.rs"]
mod simulated;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Words of English that are none of Portuguese.
const ENGLISH: [&str; 34] = [
    "mean",
    "fitted",
    "plot",
    "the",
    "of",
    "and",
    "is",
    "are",
    "was",
    "were",
    "with",
    "by",
    "from",
    "for",
    "on",
    "at",
    "this",
    "that",
    "which",
    "it",
    "its",
    "than",
    "when",
    "where",
    "how",
    "to",
    "not",
    "hump",
    "tilt",
    "unknown",
    "squared",
    "earlier",
    "plots",
    "replicates",
];

/// Texts between the tags of a page or drawing, but for scripts, styles and what is typed as it stands.
fn texts(page: &str) -> Vec<String> {
    let mut left = page.to_owned();
    for [open, close] in
        [["<script", "</script>"], ["<style", "</style>"], ["<code", "</code>"], ["<pre", "</pre>"]]
    {
        while let Some(start) = left.find(open) {
            let length = left[start..].find(close).unwrap() + close.len();
            left.replace_range(start..start + length, "");
        }
    }
    let between = left.split('<').skip(1).filter_map(|part| Some(part.split_once('>')?.1.trim()));
    let labels =
        ["aria-label=\"", "data-label=\"", "data-sort=\"", "data-filter=\"", "data-shown=\""];
    let labelled = labels.iter().flat_map(|label| {
        left.split(label).skip(1).filter_map(|rest| Some(rest.split_once('"')?.0))
    });
    between.chain(labelled).filter(|text| !text.is_empty()).map(str::to_owned).collect()
}

/// A name of a file, field or setting rather than a sentence.
fn is_code(name: &str, text: &str) -> bool {
    let field = name.ends_with("dictionary.html") && matches!(text, "from" | "to");
    field || !text.contains(' ') && text.contains(['_', '.', '/', '['])
}

fn english_in(text: &str) -> Vec<&str> {
    let words = text.split(|letter: char| !letter.is_alphanumeric() && !"_-.".contains(letter));
    words.filter(|word| ENGLISH.contains(&word.to_lowercase().as_str())).collect()
}

/// A point between digits, but for that of the program's version.
fn decimal_point(text: &str) -> bool {
    let letters: Vec<char> = text.replace(env!("CARGO_PKG_VERSION"), "").chars().collect();
    letters
        .windows(3)
        .any(|near| near[1] == '.' && near[0].is_ascii_digit() && near[2].is_ascii_digit())
}

fn pages(report: &Path) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut open = vec![report.to_owned()];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or("");
            if path.is_dir() {
                open.push(path);
            } else if matches!(ending, "html" | "svg") {
                let name = path.strip_prefix(report).unwrap().display().to_string();
                found.push((name, std::fs::read_to_string(&path).unwrap()));
            }
        }
    }
    found
}

/// The first line of every CSV file below a folder, by its path.
fn heads(report: &Path) -> BTreeMap<PathBuf, String> {
    let is_csv = |path: &PathBuf| path.extension().is_some_and(|own| own == "csv");
    let files = folder::contents(report).into_iter().filter(|(path, _)| is_csv(path));
    files
        .map(|(path, bytes)| {
            let text = String::from_utf8(bytes).unwrap();
            (path, text.lines().next().unwrap_or_default().to_owned())
        })
        .collect()
}

/// Heads of tables whose words are too short to be told as English.
const ABBREVIATIONS: [&str; 8] = ["df", "SS", "MS", "SE", "SEm", "SEd", "CD 5 %", "CD 1 %"];

#[test]
fn nothing_of_a_portuguese_report_is_english() {
    let temporary = tempfile::tempdir().unwrap();
    let (book, out) = (temporary.path().join("book"), temporary.path().join("out"));
    simulated::write(&book);
    let settings = book.join("book.toml");
    let text = std::fs::read_to_string(&settings).unwrap();
    assert!(text.contains("[book]\n"));
    let spoken = text.replacen("[book]\n", "[book]\nlanguage = \"pt\"\n", 1);
    // A trial, so that its page is read too.
    let declared = "[trials.depth]\ndesign = \"randomised_blocks\"\nfactors = [\"intensity_level\"]\n\
                    amounts = { intensity_level = \"fraction\" }\n";
    std::fs::write(&settings, format!("{spoken}\n{declared}")).unwrap();
    simulated::run(&book, &out, &[], &[]);
    let pages = pages(&simulated::report(&out));
    assert!(pages.len() > 20, "{}", pages.len());
    let mut wrong = Vec::new();
    let mut texts_seen = 0;
    for (name, page) in &pages {
        if let Some(rest) = page.split("<html lang=\"").nth(1) {
            assert!(rest.starts_with("pt\""), "{name}");
        }
        for text in texts(page) {
            texts_seen += 1;
            let english = english_in(&text);
            if !is_code(name, &text) && !english.is_empty() {
                wrong.push(format!("{name}: {text:?} has {english:?}"));
            } else if decimal_point(&text) && !name.ends_with("dictionary.html") {
                wrong.push(format!("{name}: {text:?} has a decimal point"));
            } else if ABBREVIATIONS.contains(&text.as_str()) {
                wrong.push(format!("{name}: {text:?} is an English abbreviation"));
            }
        }
    }
    assert!(texts_seen > 2000, "{texts_seen}");
    assert!(wrong.is_empty(), "{} texts: {:#?}", wrong.len(), &wrong[..wrong.len().min(60)]);
}

#[test]
fn the_command_line_goes_before_the_book_and_knows_its_languages() {
    let temporary = tempfile::tempdir().unwrap();
    let (book, out) = (temporary.path().join("book"), temporary.path().join("out"));
    simulated::write(&book);
    simulated::run(&book, &out, &["--language", "pt"], &[]);
    let page = std::fs::read_to_string(simulated::report(&out).join("index.html")).unwrap();
    assert!(page.contains("<html lang=\"pt\">"));
    // Programs read the tables by their heads, which are those of the English report.
    let english = temporary.path().join("english");
    simulated::run(&book, &english, &["--language", "en"], &[]);
    let [own, english] = [&out, &english].map(|out| heads(&simulated::report(out)));
    assert!(own.keys().any(|name| name.starts_with("review/")), "{own:?}");
    assert!(own.len() > 12, "{own:?}");
    assert_eq!(own, english);
    let refused = std::process::Command::new(env!("CARGO_BIN_EXE_anacurve"))
        .args(["check", "book", "--language", "xx"])
        .output()
        .unwrap();
    assert_eq!(refused.status.code(), Some(2));
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(told.contains("languages are en (English), pt (Português)"), "{told}");
}

/// Trials at several sites, which the simulated book lacks.
#[test]
fn sites_together_are_in_portuguese() {
    let temporary = tempfile::tempdir().unwrap();
    let out = temporary.path().join("out");
    let book = concat!(env!("CARGO_MANIFEST_DIR"), "/../../data-demo");
    let ran = std::process::Command::new(env!("CARGO_BIN_EXE_anacurve"))
        .args(["trial", book, "--language", "pt", "--out"])
        .arg(&out)
        .output()
        .unwrap();
    assert!(ran.status.code() < Some(2), "{}", String::from_utf8_lossy(&ran.stderr));
    let page = std::fs::read_to_string(out.join("trials.html")).unwrap();
    assert!(page.contains("Locais em conjunto") && page.contains("Safras em conjunto"));
    assert!(!page.contains("Sites") && !page.contains("Seasons"));
}

/// What the terminal says of a book and of its plan, the words around findings included.
#[test]
fn check_and_plan_are_in_portuguese() {
    let temporary = tempfile::tempdir().unwrap();
    let (book, out) = (temporary.path().join("book"), temporary.path().join("plan"));
    simulated::write(&book);
    let said = |arguments: &[&std::ffi::OsStr]| {
        let ran = std::process::Command::new(env!("CARGO_BIN_EXE_anacurve"))
            .args(["--language", "pt"])
            .args(arguments)
            .output()
            .unwrap();
        assert!(ran.status.code() < Some(2), "{}", String::from_utf8_lossy(&ran.stderr));
        String::from_utf8(ran.stdout).unwrap()
    };
    let checked = said(&["check".as_ref(), book.as_ref()]);
    for part in ["Arquivos: ", "Regi\u{f5}es", "pr\u{e1}tica atual", "Achados\n"] {
        assert!(checked.contains(part), "{part}: {checked}");
    }
    for part in ["Findings", "hint:", "Regions", " pruned", "set aside", "Linking"] {
        assert!(!checked.contains(part), "{part}: {checked}");
    }
    let planned = said(&["plan".as_ref(), book.as_ref(), "--out".as_ref(), out.as_ref()]);
    assert!(planned.contains("em que trabalhar") && planned.contains("Fichas das equipes: "));
    let review = temporary.path().join("review");
    let reviewed = said(&["review".as_ref(), book.as_ref(), "--out".as_ref(), review.as_ref()]);
    assert!(reviewed.contains("\nP\u{e1}gina: ") && !reviewed.contains("Page: "), "{reviewed}");
}

/// Reasons that stand within sentences of the page speak its language too.
#[test]
fn reasons_for_what_is_not_shown_are_in_portuguese() {
    use model::{LateralsError, PathError};
    use review::ReviewError;
    let reasons = || {
        [
            PathError::OneFrame.to_string(),
            PathError::NoSpread.to_string(),
            PathError::NoFlowering.to_string(),
            PathError::TooFew { tree_seasons: 7 }.to_string(),
            LateralsError::NoFrames.to_string(),
            LateralsError::TooFew { frames: 7 }.to_string(),
            ReviewError::NoSeason.to_string(),
            ReviewError::NoEarlierSeason.to_string(),
        ]
    };
    let english = reasons();
    let portuguese = words::speaking(words::Language::Portuguese, reasons);
    for (english, portuguese) in english.iter().zip(&portuguese) {
        assert_ne!(english, portuguese);
        for word in portuguese.split_whitespace().filter(|word| *word != "a") {
            assert!(!ENGLISH.contains(&word), "{word}: {portuguese}");
        }
    }
    assert!(portuguese[3].starts_with("7 \u{e1}rvores-safra") && portuguese[3].contains("60"));
}
