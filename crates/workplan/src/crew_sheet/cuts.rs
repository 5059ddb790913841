//! Drawings of single cuts: above a lateral, and at the collar.

use super::Drawing;
use super::canvas::{Anchor, Canvas, Ink};
use crate::text::{Catalogue, Key};

/// A shoot cut just above a lateral, and a stub crossed out.
#[must_use]
pub fn lateral_cut(words: &Catalogue) -> Drawing {
    let mut canvas = Canvas::new();
    // Right: just above the lateral, slanting away from it.
    canvas.line([170.0, 390.0], [170.0, 214.0], Ink::Line(12.0));
    canvas.line([170.0, 196.0], [170.0, 60.0], Ink::Dashed(5.0));
    canvas.line([170.0, 236.0], [290.0, 140.0], Ink::Line(8.0));
    canvas.cut([140.0, 220.0], [200.0, 190.0]);
    canvas.text([20.0, 40.0], Anchor::Start, words.text(Key::DrawCutHere));
    canvas.line([110.0, 52.0], [144.0, 208.0], Ink::Line(2.0));
    canvas.text([300.0, 130.0], Anchor::Middle, words.text(Key::DrawLateral));
    // Wrong: far above it.
    canvas.line([470.0, 390.0], [470.0, 110.0], Ink::Line(12.0));
    canvas.line([470.0, 276.0], [580.0, 190.0], Ink::Line(8.0));
    canvas.cut([446.0, 116.0], [494.0, 104.0]);
    canvas.cross([470.0, 170.0], 40.0);
    canvas.text([470.0, 70.0], Anchor::Middle, words.text(Key::DrawNoStub));
    finish(canvas, Key::DrawLateralTitle, Key::WhereLateral, words)
}

/// A big limb in three cuts, the last at the collar.
#[must_use]
pub fn collar_cut(words: &Catalogue) -> Drawing {
    let mut canvas = Canvas::new();
    // Limb first, so that the stem lies over its foot.
    canvas.path("M190 208L600 128L604 176L250 268L190 290Z", Ink::ComesOff);
    canvas.path(
        "M90 400L100 20L180 20L186 180Q230 196 244 218Q240 252 226 276Q196 300 190 400Z",
        Ink::Stays,
    );
    canvas.cut([400.0, 232.0], [396.0, 202.0]);
    canvas.cut([450.0, 150.0], [456.0, 194.0]);
    canvas.cut([254.0, 186.0], [230.0, 288.0]);
    canvas.text([440.0, 285.0], Anchor::Middle, words.text(Key::DrawUnderCut));
    canvas.text([440.0, 118.0], Anchor::Middle, words.text(Key::DrawTopCut));
    canvas.text([240.0, 340.0], Anchor::Start, words.text(Key::DrawCollarCut));
    finish(canvas, Key::DrawCollarTitle, Key::WhereCollar, words)
}

fn finish(canvas: Canvas, title: Key, description: Key, words: &Catalogue) -> Drawing {
    let description = words.text(description);
    Drawing {
        title: words.text(title).to_owned(),
        description: description.to_owned(),
        svg: canvas.finish(description),
    }
}
