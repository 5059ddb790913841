//! Ids that the eye takes for one another: what they have in common, and how to tell them apart in words.

use unicode_security::confusable_detection::skeleton;

/// Whether a character has no shape of its own: control, joining, direction and filling characters
/// (Unicode categories Cc and Cf, the variation selectors and the Hangul fillers).
#[must_use]
pub fn is_invisible(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}'
            | '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}'
            | '\u{ffa0}' | '\u{fff0}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
}

/// Whether a cell of this text is read as empty: words by which people say that there is no value.
#[must_use]
pub fn reads_as_empty(text: &str) -> bool {
    text.len() <= 4
        && (matches!(text, "" | "-" | ".")
            || ["na", "n/a", "null"].iter().any(|word| text.eq_ignore_ascii_case(word)))
}

/// Whether a character changes the direction of what follows it.
#[must_use]
pub fn turns_direction(c: char) -> bool {
    matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Whether two words differ in one letter, or in two neighbours that changed places (one edit of
/// Damerau 1964, Commun. ACM 7:171-176).
#[must_use]
pub fn differ_by_one(one: &[char], other: &[char]) -> bool {
    let (short, long) = if one.len() <= other.len() { (one, other) } else { (other, one) };
    let start = short.iter().zip(long).take_while(|(a, b)| a == b).count();
    let (short, long) = (short.get(start..).unwrap_or(&[]), long.get(start..).unwrap_or(&[]));
    match (short, long) {
        ([], [_]) => true,
        ([a, b, short @ ..], [c, d, long @ ..]) if a == d && b == c && short == long => true,
        ([_, short @ ..], [_, long @ ..]) if short == long => true,
        (short, [_, long @ ..]) => short == long,
        _ => false,
    }
}

/// What ids that look alike have in common: two ids with one such form differ only in case, in
/// spaces, in characters without a shape, or in letters of like shape (Unicode Technical Standard
/// 39, section 4). It serves for comparing and is never shown or stored.
#[must_use]
pub fn common_form(id: &str) -> String {
    let mut form = String::with_capacity(id.len());
    for c in id.chars().filter(|&c| !is_invisible(c) || c.is_whitespace()) {
        if c.is_whitespace() {
            if !form.is_empty() && !form.ends_with(' ') {
                form.push(' ');
            }
        } else if c.is_ascii() {
            form.push(ascii_shape(c));
        } else {
            push_shape(&mut form, c);
        }
    }
    form.truncate(form.trim_end().len());
    form
}

/// Adds the shape of a character beyond ASCII. Each is looked up in its own case, as small letters
/// of two scripts can differ where the capitals do not.
fn push_shape(form: &mut String, c: char) {
    let shape: String = skeleton(c.encode_utf8(&mut [0; 4])).collect();
    if shape == "rn" {
        // The standard takes m for r and n; here m stays m.
        form.push('m');
        return;
    }
    for part in shape.chars() {
        if part.is_ascii() {
            form.push(ascii_shape(part));
        } else {
            form.extend(part.to_lowercase());
        }
    }
}

/// The shape of an ASCII character whatever its case: zero is taken for o; one and i for l.
fn ascii_shape(c: char) -> char {
    match c.to_ascii_lowercase() {
        '0' => 'o',
        '1' | 'i' | '|' => 'l',
        other => other,
    }
}

/// An id in quotation marks; characters that `other` does not hold and that the eye may miss
/// (beyond ASCII, or invisible) are written as their code points.
#[must_use]
pub fn spelled(id: &str, other: &str) -> String {
    let mut shown = String::from("'");
    for c in id.chars() {
        let is_plain = c.is_ascii() && !c.is_control();
        if is_invisible(c) || (!is_plain && !other.contains(c)) {
            shown.push_str(&format!("<U+{:04X}>", u32::from(c)));
        } else {
            shown.push(c);
        }
    }
    shown.push('\'');
    shown
}

/// An id with one mark between its parts, where it had another: a part is of letters and digits.
#[must_use]
pub fn with_mark(written: &str, mark: &str) -> Option<String> {
    let parts = written.split(|of: char| !of.is_alphanumeric()).filter(|part| !part.is_empty());
    let marked = parts.collect::<Vec<_>>().join(mark);
    (marked != written && !marked.is_empty()).then_some(marked)
}

/// A text whose numbers have no zeros before them, where one had any.
#[must_use]
pub fn without_zeros(written: &str) -> Option<String> {
    let mut plain = String::with_capacity(written.len());
    let mut rest = written;
    while let Some(at) = rest.find('0') {
        let (before, zeros) = rest.split_at(at);
        plain.push_str(before);
        let after = zeros.trim_start_matches('0');
        let begins = !plain.ends_with(|of: char| of.is_ascii_digit());
        let goes_on = after.starts_with(|of: char| of.is_ascii_digit());
        let zeros = zeros.get(..zeros.len() - after.len()).unwrap_or_default();
        match (begins, goes_on) {
            (true, true) => {}
            // Of zeros alone the last is the number.
            (true, false) => plain.push('0'),
            (false, _) => plain.push_str(zeros),
        }
        rest = after;
    }
    plain.push_str(rest);
    (plain.len() < written.len()).then_some(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_that_look_alike_share_a_form() {
        for (one, other) in [
            ("T1", "\u{422}1"),             // Cyrillic capital te
            ("Atlas", "\u{391}tl\u{430}s"), // Greek capital alpha, Cyrillic a
            ("T10", "t1O"),
            ("T10", "Tl0"),
            ("PI-2", "\u{420}\u{406}-2"), // Cyrillic capitals er and i
            ("Elm", "E\u{ff4c}\u{ff4d}"), // full-width l and m
            ("North Ridge", "North\u{a0} Ridge "),
            ("B7", "B\u{200b}7"),
            ("B7", "\u{202e}B7"),
            ("T1", "\u{ff34}\u{ff11}"), // full-width letters
            ("Caf\u{e9}", "Cafe\u{301}"),
        ] {
            assert_eq!(common_form(one), common_form(other), "{one} {other}");
        }
        for (one, other) in
            [("T1", "T2"), ("A 1", "A1"), ("T7", "T07"), ("Café", "Cafe"), ("é", "e")]
        {
            assert_ne!(common_form(one), common_form(other), "{one} {other}");
        }
    }

    #[test]
    fn a_spelling_shows_what_the_eye_misses() {
        assert_eq!(spelled("\u{422}1", "T1"), "'<U+0422>1'");
        assert_eq!(spelled("T1", "\u{422}1"), "'T1'");
        assert_eq!(spelled("Đồng", "đồng"), "'<U+0110>ồng'");
        assert_eq!(spelled("B\u{200b}7", "B\u{200b}7"), "'B<U+200B>7'");
    }
}
