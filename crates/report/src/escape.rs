//! How text gets onto a page: as text, without markup and without characters that steer what is around them.

use crate::names::is_printable;
use askama::filters::{Escaper, Html};
use std::fmt::{Result, Write};

/// Escapes as HTML and leaves out control characters (but for line ends and tabs) and those that
/// turn the direction of text.
#[derive(Debug, Clone, Copy, Default)]
pub struct PageText;

impl Escaper for PageText {
    fn write_escaped_str<W: Write>(&self, mut dest: W, text: &str) -> Result {
        let stays = |c: char| is_printable(c) || matches!(c, '\n' | '\t');
        for part in text.split(|c| !stays(c)) {
            Html.write_escaped_str(&mut dest, part)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_is_text_and_direction_stays() {
        let mut out = String::new();
        PageText.write_escaped_str(&mut out, "<b>\u{202e}x\u{1}</b>\n&\"'").unwrap();
        assert_eq!(out, "&#60;b&#62;x&#60;/b&#62;\n&#38;&#34;&#39;");
    }
}
