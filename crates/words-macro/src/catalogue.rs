//! The catalogues: from an English sentence to the same in another language.

use std::collections::BTreeMap;
use std::sync::LazyLock;

/// A language other than English: its variant of `words::Language`, its file, and its sentences or
/// what is wrong with them.
pub struct Catalogue {
    /// Variant of `words::Language`.
    pub variant: &'static str,
    /// File below `crates/words/catalogue`.
    pub file: &'static str,
    /// From English; the reason when the file cannot be read.
    pub sentences: Result<BTreeMap<String, String>, String>,
}

/// Every language but English, in the order of `words::Language`.
pub static CATALOGUES: LazyLock<[Catalogue; 1]> = LazyLock::new(|| {
    [Catalogue {
        variant: "Portuguese",
        file: "portuguese.toml",
        sentences: toml::from_str(include_str!("../../words/catalogue/portuguese.toml"))
            .map_err(|error| error.to_string()),
    }]
});
