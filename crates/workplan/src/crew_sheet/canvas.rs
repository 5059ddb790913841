//! A few marks in SVG: black on white, grey for what comes off, text as text.

use records::turns_direction;
use std::fmt::Write as _;

/// Width and height of every drawing, in its own units.
pub(super) const SIZE: [f64; 2] = [640.0, 420.0];
/// Shade of what comes off: still grey in sunlight and on a poor printer.
const GREY: &str = "#c4c4c4";

/// How a mark is drawn.
#[derive(Clone, Copy)]
pub(super) enum Ink {
    /// A firm outline on white.
    Stays,
    /// A dashed outline on grey.
    ComesOff,
    /// A firm line of its own width.
    Line(f64),
    /// A dashed line of its own width.
    Dashed(f64),
}

/// Where a text hangs on its point.
#[derive(Clone, Copy)]
pub(super) enum Anchor {
    Start,
    Middle,
}

/// Marks drawn one above the other.
pub(super) struct Canvas {
    marks: String,
}

impl Canvas {
    pub(super) fn new() -> Self {
        Self { marks: String::new() }
    }

    fn push(&mut self, mark: std::fmt::Arguments<'_>) {
        // Writing to a string cannot fail.
        let _ = self.marks.write_fmt(mark);
    }

    pub(super) fn path(&mut self, d: &str, ink: Ink) {
        let style = match ink {
            Ink::Stays => "fill=\"#fff\" stroke=\"#000\" stroke-width=\"4\"".to_owned(),
            Ink::ComesOff => format!(
                "fill=\"{GREY}\" stroke=\"#000\" stroke-width=\"3\" stroke-dasharray=\"10 7\""
            ),
            Ink::Line(width) => format!("fill=\"none\" stroke=\"#000\" stroke-width=\"{width}\""),
            Ink::Dashed(width) => format!(
                "fill=\"none\" stroke=\"#000\" stroke-width=\"{width}\" stroke-dasharray=\"9 7\""
            ),
        };
        self.push(format_args!(
            "<path d=\"{d}\" {style} stroke-linecap=\"round\" stroke-linejoin=\"round\"/>"
        ));
    }

    pub(super) fn line(&mut self, from: [f64; 2], to: [f64; 2], ink: Ink) {
        let d = format!("M{} {}L{} {}", tidy(from[0]), tidy(from[1]), tidy(to[0]), tidy(to[1]));
        self.path(&d, ink);
    }

    /// A heavy bar across a branch: the cut.
    pub(super) fn cut(&mut self, from: [f64; 2], to: [f64; 2]) {
        self.line(from, to, Ink::Line(7.0));
    }

    /// A cross over what is wrong.
    pub(super) fn cross(&mut self, [x, y]: [f64; 2], half: f64) {
        self.line([x - half, y - half], [x + half, y + half], Ink::Line(6.0));
        self.line([x - half, y + half], [x + half, y - half], Ink::Line(6.0));
    }

    pub(super) fn text(&mut self, [x, y]: [f64; 2], anchor: Anchor, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
        };
        let (x, y) = (tidy(x), tidy(y));
        self.push(format_args!(
            "<text x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\">{}</text>",
            escaped(text)
        ));
    }

    /// The whole document, without ids so that several may share a page.
    pub(super) fn finish(self, description: &str) -> String {
        let [width, height] = SIZE;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" role=\"img\" aria-label=\"{label}\" font-family=\"sans-serif\" font-size=\"26\" fill=\"#000\"><title>{label}</title><rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>{marks}</svg>",
            label = escaped(description),
            marks = self.marks,
        )
    }
}

/// At most one decimal, so that documents stay short and the same on every machine.
pub(super) fn tidy(value: f64) -> f64 {
    (value * 10.0).round() / 10.0 + 0.0
}

/// Text without markup, and without what XML 1.0 does not allow.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if c.is_control() || turns_direction(c) || matches!(c, '\u{fffe}' | '\u{ffff}') => {}
            c => out.push(c),
        }
    }
    out
}
