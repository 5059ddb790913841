//! Counts before nouns.

use crate::{Language, grouped, language};

/// The noun for a number, both in the language being spoken.
///
/// English and Portuguese take the singular for one alone; a language with another rule has its
/// own arm here.
#[must_use]
pub fn noun<'a>(number: u64, one: &'a str, many: &'a str) -> &'a str {
    match language() {
        Language::English | Language::Portuguese => {
            if number == 1 {
                one
            } else {
                many
            }
        }
    }
}

/// A number, thousands set apart, before its noun.
#[must_use]
pub fn counted(number: u64, one: &str, many: &str) -> String {
    format!("{} {}", grouped(&number.to_string()), noun(number, one, many))
}

/// A text with its first letter in upper case.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
