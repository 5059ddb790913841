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

/// Elements whose text is not prose, or can hold no element.
const WHOLE: [&str; 7] = ["script", "style", "title", "svg", "textarea", "code", "pre"];

/// A finished page in which what stands between two backticks, as commands do in sentences that a terminal shows too,
/// is an element `code`. Attributes stay as they are.
#[must_use]
pub fn with_code(page: &str) -> String {
    let mut out = String::with_capacity(page.len());
    let mut rest = page;
    while let Some((text, tag)) = rest.find('<').map(|at| rest.split_at(at)) {
        push_code(text, &mut out);
        let opened = WHOLE.iter().find(|name| {
            let behind = tag.get(1..).and_then(|tag| tag.strip_prefix(**name));
            behind.is_some_and(|after| !after.starts_with(|c: char| c.is_alphanumeric()))
        });
        let closes = opened.and_then(|name| tag.find(&format!("</{name}")));
        let from = closes.unwrap_or(0);
        let end =
            tag.get(from..).and_then(|tag| tag.find('>')).map_or(tag.len(), |at| from + at + 1);
        let (whole, after) = tag.split_at(end);
        out.push_str(whole);
        rest = after;
    }
    push_code(rest, &mut out);
    out
}

/// One stretch of text; a backtick without a second one stays.
fn push_code(text: &str, out: &mut String) {
    let mut rest = text;
    while let Some((before, (code, after))) =
        rest.split_once('`').and_then(|(before, own)| Some((before, own.split_once('`')?)))
    {
        out.push_str(before);
        out.push_str("<code>");
        out.push_str(code);
        out.push_str("</code>");
        rest = after;
    }
    out.push_str(rest);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commands_within_sentences_are_code_and_nothing_else_changes() {
        let page = "<title>a `b`</title><p title=\"`x`\">by `anacurve size` or `y` and ` alone</p>\
                    <p>` in <b>two`</b></p><script>const a = `<p>${b}`;</script><pre>`c`</pre>`";
        assert_eq!(
            with_code(page),
            "<title>a `b`</title><p title=\"`x`\">by <code>anacurve size</code> or <code>y</code> and ` alone</p>\
             <p>` in <b>two`</b></p><script>const a = `<p>${b}`;</script><pre>`c`</pre>`"
        );
        assert_eq!(with_code("no tag, `one`"), "no tag, <code>one</code>");
        assert_eq!(with_code("<p"), "<p");
    }

    #[test]
    fn markup_is_text_and_direction_stays() {
        let mut out = String::new();
        PageText.write_escaped_str(&mut out, "<b>\u{202e}x\u{1}</b>\n&\"'").unwrap();
        assert_eq!(out, "&#60;b&#62;x&#60;/b&#62;\n&#38;&#34;&#39;");
    }
}
