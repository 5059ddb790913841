//! Safe names for files, anchors and calendar entries: ids of a book are text and never a path.

use records::turns_direction;

/// Lower-case letters, digits and single hyphens of a text, at most 32 of them; may be empty.
pub fn slug(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        if out.len() >= 32 {
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
        assert_eq!(printable("a\u{0}b\r\nc\u{202e}d\u{2066}"), "abcd");
    }

    #[test]
    fn tokens_of_different_ids_differ() {
        assert_eq!(unique_token("a/b"), "a-2fb");
        assert_ne!(unique_token("a b"), unique_token("a/b"));
        assert_ne!(unique_token("a-2fb"), unique_token("a/b"));
    }
}
