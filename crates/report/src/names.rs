//! Safe names for files, anchors and calendar entries: ids of a book are text and never a path.

use records::turns_direction;
use sha2::{Digest, Sha256};
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// Most characters of a slug.
const LONGEST: usize = 32;

/// Lower-case letters without accents, digits and single hyphens of a text, at most [`LONGEST`] of them; may be empty.
pub fn slug(text: &str) -> String {
    let mut out = String::new();
    for c in text.nfd().filter(|c| !is_combining_mark(*c)) {
        if out.len() >= LONGEST {
            break;
        }
        if c.is_ascii_alphanumeric() {
            out.push(c.to_ascii_lowercase());
        } else if !out.is_empty() && !out.ends_with('-') {
            out.push('-');
        }
    }
    out.trim_end_matches('-').to_owned()
}

/// Whether a file system gives a name to a device, whatever its extension.
#[must_use]
pub fn is_reserved(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or("").to_ascii_lowercase();
    matches!(stem.as_str(), "con" | "prn" | "aux" | "nul")
        || (stem.len() == 4
            && ["com", "lpt"].iter().any(|port| stem.starts_with(port))
            && stem.ends_with(|last: char| last.is_ascii_digit()))
}

/// Start of file names made from an id: its slug where that says the id and no other id of `all`
/// shares it, else the slug with the start of the id's SHA-256.
#[must_use]
pub fn stem<'a>(id: &str, all: impl IntoIterator<Item = &'a str>) -> String {
    let readable = slug(id);
    let is_shared = all.into_iter().any(|other| other != id && slug(other) == readable);
    let says_it = id.chars().all(|c| c.is_ascii_alphanumeric() || " _-:.".contains(c));
    let is_whole = !readable.is_empty() && readable.len() < LONGEST;
    if says_it && is_whole && !is_shared && !is_reserved(&readable) {
        return readable;
    }
    let hash = Sha256::digest(id.as_bytes());
    let start: String = hash.iter().take(4).map(|byte| format!("{byte:02x}")).collect();
    if readable.is_empty() { start } else { format!("{readable}-{start}") }
}

/// File name of a plot: the index keeps names unique, the slug keeps them readable.
pub fn plot_file(index: usize, region: &str, kind: &str) -> String {
    let slug = slug(region);
    if slug.is_empty() {
        format!("{:02}-{kind}.svg", index + 1)
    } else {
        format!("{:02}-{slug}-{kind}.svg", index + 1)
    }
}

/// Letters and digits as they are, every other byte as `-` and two hex digits, so that different
/// ids stay different.
pub fn unique_token(text: &str) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("-{byte:02x}"));
        }
    }
    out
}

/// Whether a character may stand in a page or calendar: not the control characters that neither XML
/// nor a calendar allows, nor those that turn the direction of the text around them.
pub fn is_printable(c: char) -> bool {
    !c.is_control() && !turns_direction(c) && c != '\u{fffe}' && c != '\u{ffff}'
}

/// A text without the characters that are not printable.
pub fn printable(text: &str) -> String {
    text.chars().filter(|&c| is_printable(c)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_ids_become_harmless() {
        assert_eq!(slug("../../etc/passwd"), "etc-passwd");
        assert_eq!(slug("<b>North</b> Ridge"), "b-north-b-ridge");
        assert_eq!(plot_file(0, "../..", "odds"), "01-odds.svg");
        assert_eq!(plot_file(9, "A b", "odds"), "10-a-b-odds.svg");
        assert_eq!(plot_file(2, "Várzea", "odds"), "03-varzea-odds.svg");
        assert_eq!(slug("ÇÃO São João"), "cao-sao-joao");
        assert_eq!(printable("a\u{0}b\r\nc\u{202e}d\u{2066}"), "abcd");
    }

    #[test]
    fn stems_are_short_safe_and_apart() {
        assert_eq!(stem("TD-date", ["TD-date", "OC"]), "td-date");
        assert_ne!(stem("A", ["A", "a"]), stem("a", ["A", "a"]));
        let both = ["Várzea", "Varzea"];
        assert_ne!(stem(both[0], both), stem(both[1], both));
        let long = "x".repeat(1000);
        for id in
            ["../../etc", "/etc/passwd", "con", "LPT1", "a\u{0}b", "..", "", &long, "\u{202e}x"]
        {
            let stem = stem(id, [id]);
            assert!(stem.len() <= 41 && !stem.is_empty(), "{id:?}: {stem}");
            assert!(stem.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'), "{id:?}: {stem}");
            assert!(!is_reserved(&stem), "{id:?}: {stem}");
        }
    }

    #[test]
    fn tokens_of_different_ids_differ() {
        assert_eq!(unique_token("a/b"), "a-2fb");
        assert_ne!(unique_token("a b"), unique_token("a/b"));
        assert_ne!(unique_token("a-2fb"), unique_token("a/b"));
    }
}
