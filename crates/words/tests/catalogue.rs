//! The catalogues hold what the code says, no more, and in their own language.
#![allow(clippy::unwrap_used, reason = "helpers of a test may fail as loudly as the test itself")]

use proc_macro2::{TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn catalogue() -> BTreeMap<String, String> {
    let path = root().join("words/catalogue/portuguese.toml");
    toml::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn texts(tokens: TokenStream, found: &mut BTreeSet<String>) {
    for token in tokens {
        match token {
            TokenTree::Group(group) => texts(group.stream(), found),
            TokenTree::Literal(literal) => {
                if let Ok(text) = syn::parse_str::<syn::LitStr>(&literal.to_string()) {
                    found.insert(text.value());
                }
            }
            TokenTree::Ident(_) | TokenTree::Punct(_) => {}
        }
    }
}

/// Every text that stands in the sources and templates.
fn written() -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut open = vec![root()];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let ending = path.extension().and_then(|ending| ending.to_str());
            if path.is_dir() {
                open.push(path);
            } else if ending == Some("rs") {
                let source = std::fs::read_to_string(&path).unwrap();
                texts(source.parse().unwrap(), &mut found);
            } else if ending == Some("html") {
                let template = std::fs::read_to_string(&path).unwrap();
                let said = template.split("text!(\"").skip(1);
                found.extend(said.filter_map(|rest| Some(rest.split_once("\")")?.0.to_owned())));
            }
        }
    }
    found
}

#[test]
fn no_entry_is_left_over() {
    let written = written();
    let left: Vec<String> =
        catalogue().into_keys().filter(|sentence| !written.contains(sentence)).collect();
    assert!(left.is_empty(), "nothing says these any more: {left:#?}");
}

/// Words that Portuguese does not have: a translation with one of them is English.
const ENGLISH: [&str; 22] = [
    "the", "of", "and", "is", "are", "was", "were", "with", "by", "from", "for", "on", "at",
    "this", "that", "which", "it", "its", "than", "when", "where", "how",
];

#[test]
fn translations_are_in_their_language() {
    let kept_by_name = ["Experimental Designs"];
    for (english, portuguese) in catalogue() {
        let mut told = portuguese.clone();
        for name in kept_by_name {
            told = told.replace(name, "");
        }
        let code = |part: usize| part % 2 == 1;
        // What is typed as it stands, such as `anacurve check`, is no sentence.
        let prose: Vec<&str> = told
            .split('`')
            .enumerate()
            .filter(|(part, _)| !code(*part))
            .map(|(_, text)| text)
            .collect();
        let prose = prose.join(" ").to_lowercase();
        let words =
            prose.split(|letter: char| !letter.is_alphabetic() && !"_[]{}=".contains(letter));
        let found: Vec<&str> = words.filter(|word| ENGLISH.contains(word)).collect();
        assert!(found.is_empty(), "{english:?} is not translated: {portuguese:?} ({found:?})");
    }
}

/// Long sentences that are the same in both languages: names of tests and their authors.
#[test]
fn what_stays_the_same_is_short_or_a_name() {
    let names = ["Shapiro-Wilk (Royston 1995)", "Bartlett (1937)", "Levene (1960)", "Tukey-Kramer"];
    let same = catalogue().into_iter().filter(|(english, portuguese)| english == portuguese);
    let prose: Vec<String> = same
        .map(|(english, _)| english)
        .filter(|english| {
            // Values of fields, such as `prune, keep, trial`, are the same in every language.
            let code = |letter: char| letter.is_ascii_lowercase() || letter == '_';
            let values = english.split(", ").all(|value| value.chars().all(code));
            let outside = english.split('{').map(|part| part.rsplit('}').next().unwrap_or(part));
            let plain = outside.collect::<Vec<_>>().join(" ");
            let words = plain.split(|letter: char| !letter.is_alphabetic());
            let many = words.filter(|word| word.len() > 2).count() > 1;
            many && !values && !names.contains(&english.as_str())
        })
        .collect();
    assert!(prose.is_empty(), "not translated: {prose:#?}");
}

#[test]
fn english_and_portuguese_say_numbers_dates_and_counts() {
    use words::{Language, counted, date, say, span, speaking, spoken, with_mark};
    let day = |year, month, day| jiff::civil::date(year, month, day);
    let (start, end) = (day(2026, 5, 3), day(2026, 6, 1));
    assert_eq!(span(start, end), "3 May to 1 June 2026");
    assert_eq!(span(day(2026, 12, 20), day(2027, 1, 9)), "20 December 2026 to 9 January 2027");
    assert_eq!(spoken("-12345.5"), "−12\u{202f}345.5");
    let out_of_scope = speaking(Language::Portuguese, || {
        assert_eq!(date(start), "3 de maio de 2026");
        assert_eq!(span(start, end), "3 de maio a 1.º de junho de 2026");
        assert_eq!(spoken("-12345.5"), "−12\u{202f}345,5");
        assert_eq!(spoken("+0.25"), "+0,25");
        assert_eq!(with_mark("0.3 %"), "0,3 %");
        assert_eq!(counted(1, words::text!("tree"), words::text!("trees")), "1 árvore");
        assert_eq!(
            counted(20_000, words::text!("tree"), words::text!("trees")),
            "20\u{202f}000 árvores"
        );
        let gain = 0.125;
        assert_eq!(say!("p = {p:.3}", p = gain), "p = 0,125");
        words::language()
    });
    assert_eq!((out_of_scope, words::language()), (Language::Portuguese, Language::English));
}

#[test]
fn the_language_returns_when_what_was_done_in_it_fails() {
    use words::{Language, language, speaking};
    let failed = std::panic::catch_unwind(|| speaking(Language::Portuguese, || panic!("stop")));
    assert!(failed.is_err());
    assert_eq!(language(), Language::English);
}

#[test]
fn tags_find_their_language() {
    use words::Language;
    for language in Language::ALL {
        assert_eq!(Language::of(language.tag()), Some(language));
    }
    assert_eq!(Language::of("xx"), None);
}
