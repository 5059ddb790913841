//! Texts of `book.toml` in which `*` stands for any text.

use glob::{MatchOptions, Pattern as Glob};

/// Paths, or texts in whatever capitals, that are meant.
#[derive(Debug, Clone)]
pub(crate) struct Pattern {
    glob: Option<Glob>,
    plain: String,
}

impl Pattern {
    /// A path with `/` between its folders, which no `*` crosses.
    pub(crate) fn of_path(path: &str) -> Self {
        Self { glob: Glob::new(&as_glob(path)).ok(), plain: path.to_owned() }
    }

    /// A text in whatever capitals.
    pub(crate) fn of_text(text: &str) -> Self {
        Self::of_path(&text.trim().to_lowercase())
    }

    /// Whether the text is one name, and no pattern of several.
    pub(crate) fn is_plain(text: &str) -> bool {
        !text.contains('*')
    }

    fn matches(&self, text: &str, require_literal_separator: bool) -> bool {
        let options = MatchOptions { require_literal_separator, ..MatchOptions::new() };
        let glob = self.glob.as_ref();
        glob.map_or_else(|| self.plain == text, |glob| glob.matches_with(text, options))
    }

    pub(crate) fn matches_path(&self, path: &str) -> bool {
        self.matches(path, true)
    }

    /// Whether the name of a sheet is meant.
    pub(crate) fn matches_name(&self, name: &str) -> bool {
        self.matches(name, false)
    }

    pub(crate) fn matches_text(&self, text: &str) -> bool {
        self.matches(&text.trim().to_lowercase(), false)
    }
}

/// The text as the library writes patterns. `*` alone is special, as brackets and question marks stand
/// in names of files, and two of them are one: the library's `**` crosses folders.
pub(crate) fn as_glob(text: &str) -> String {
    let mut stars = text.to_owned();
    while stars.contains("**") {
        stars = stars.replace("**", "*");
    }
    let pieces: Vec<String> = stars.split('*').map(Glob::escape).collect();
    pieces.join("*")
}

/// What the last `*` of a pattern stands for in a path that it means.
pub(crate) fn starred<'a>(pattern: &str, path: &'a str) -> Option<&'a str> {
    let parts = pattern.split('/').zip(path.split('/'));
    let (pattern, name) = parts.filter(|(pattern, _)| pattern.contains('*')).last()?;
    let (before, after) = pattern.rsplit_once('*')?;
    let name = name.strip_suffix(after)?;
    // Of several the last begins behind the last place of what stands before it.
    match before.rsplit_once('*') {
        None => name.strip_prefix(before),
        Some((_, "")) => Some(name),
        Some((_, before)) => name.rfind(before).and_then(|at| name.get(at + before.len()..)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_star_stands_for_what_the_name_holds_there() {
        assert_eq!(starred("picks/*.csv", "picks/2024-02.csv"), Some("2024-02"));
        assert_eq!(starred("*/picks *.csv", "North/picks 2024.csv"), Some("2024"));
        assert_eq!(starred("*/picks.csv", "North/picks.csv"), Some("North"));
        assert_eq!(starred("* of *.csv", "picks of May of 2024.csv"), Some("2024"));
        assert_eq!(starred("Rest *", "Rest 2024"), Some("2024"));
        assert_eq!(starred("picks.csv", "picks.csv"), None);
    }

    #[test]
    fn a_star_is_any_text_and_nothing_else_is_special() {
        let picks = Pattern::of_path("picks/20**[1].csv");
        assert!(picks.matches_path("picks/2024-05[1].csv"));
        assert!(!picks.matches_path("picks/2024-051.csv"));
        assert!(!picks.matches_path("picks/20/x[1].csv"));
        assert!(!picks.matches_path("Picks/2024[1].csv"));
        assert!(Pattern::of_text("Total \u{c9}*").matches_text(" total \u{e9}t\u{e9} a/b"));
        assert!(!Pattern::of_text("Total").matches_text("Total of May"));
    }
}
