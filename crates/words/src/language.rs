//! Which language is being spoken.

use std::cell::Cell;

/// A language of the product.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Language {
    /// English, in which the sentences stand in the code.
    #[default]
    English,
    /// Portuguese.
    Portuguese,
}

impl Language {
    /// Every language, English first.
    pub const ALL: [Self; 2] = [Self::English, Self::Portuguese];

    /// Language tag (BCP 47), as in HTML `lang` and in `book.toml`.
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::Portuguese => "pt",
        }
    }

    /// The language's own name for itself.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::English => "English",
            Self::Portuguese => "Português",
        }
    }

    /// The language of a tag; `None` when the product does not speak it.
    #[must_use]
    pub fn of(tag: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|language| language.tag() == tag)
    }
}

thread_local! {
    static SPOKEN: Cell<Language> = const { Cell::new(Language::English) };
}

/// The language being spoken on this thread: English unless [`speaking`] says otherwise.
///
/// A setting of the thread rather than an argument, since nearly every function that says something
/// to people would pass it on; of the thread rather than of the program, so that two languages can
/// be written side by side.
#[must_use]
pub fn language() -> Language {
    SPOKEN.get()
}

/// Sets the language back, also when what was done in it panics.
struct Before(Language);

impl Drop for Before {
    fn drop(&mut self) {
        SPOKEN.set(self.0);
    }
}

/// Does something in a language, on this thread.
pub fn speaking<T>(language: Language, act: impl FnOnce() -> T) -> T {
    let _before = Before(SPOKEN.replace(language));
    act()
}
