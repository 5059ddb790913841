//! A sentence without places, in every language.

use crate::{Language, language};
use std::fmt;
use std::ops::Deref;

/// A constant text; reads as the language being spoken. Made by [`crate::constant!`].
#[derive(Clone, Copy)]
pub struct Text([&'static str; Language::ALL.len()]);

impl Text {
    /// A text by language, in the order of [`Language::ALL`].
    #[must_use]
    pub const fn new(texts: [&'static str; Language::ALL.len()]) -> Self {
        Self(texts)
    }

    /// The same text in all languages: a name, a unit, a symbol.
    #[must_use]
    pub const fn same(text: &'static str) -> Self {
        Self([text; Language::ALL.len()])
    }

    /// The text in the language being spoken.
    #[must_use]
    pub fn get(self) -> &'static str {
        self.0[language() as usize]
    }

    /// The English text, for what is not read by people.
    #[must_use]
    pub const fn english(self) -> &'static str {
        self.0[0]
    }
}

impl fmt::Display for Text {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.get())
    }
}

impl fmt::Debug for Text {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self.get(), f)
    }
}

impl Deref for Text {
    type Target = str;

    fn deref(&self) -> &str {
        self.get()
    }
}

impl AsRef<str> for Text {
    fn as_ref(&self) -> &str {
        self.get()
    }
}

impl From<Text> for String {
    fn from(text: Text) -> Self {
        text.get().to_owned()
    }
}

impl From<Text> for &'static str {
    fn from(text: Text) -> Self {
        text.get()
    }
}

impl PartialEq for Text {
    fn eq(&self, other: &Self) -> bool {
        self.english() == other.english()
    }
}

impl Eq for Text {}
