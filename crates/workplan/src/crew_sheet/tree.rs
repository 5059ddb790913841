//! Drawings of whole trees: how much comes off, and the training of young ones.

use super::Drawing;
use super::canvas::{Anchor, Canvas, Ink, tidy};
use super::how_much::{HowMuch, linear_shrink};
use crate::text::{Catalogue, Key};
use crate::young::{PINCH_HEIGHT_M, SCAFFOLDS, YoungTask};
use records::MeasuredAs;
use std::f64::consts::PI;

/// Foot of the canopy, its middle.
const FOOT: [f64; 2] = [320.0, 300.0];
/// Half width and height of the canopy.
const CANOPY: [f64; 2] = [230.0, 230.0];
/// Shoots drawn where shoots are counted.
const SHOOTS: u32 = 20;
/// Where a shoot is cut in the drawing, share of its length.
const CUT_AT: f64 = 0.62;
const GROUND: f64 = 380.0;
/// Middle of the stem of a single shoot or young tree: left of the middle, for the words beside it.
const STEM: f64 = 230.0;

/// How much comes off a grown tree. For canopy fractions the grey part has that share of the outline's
/// area, for spreads the white part that share of height and width, for shoots that share of shoots is dashed.
#[must_use]
pub fn canopy(how_much: &HowMuch, words: &Catalogue) -> Drawing {
    let intensity = how_much.intensity.clamp(0.0, 1.0);
    match how_much.measured_as {
        MeasuredAs::Shoots => shoots(how_much, intensity, words),
        MeasuredAs::HeadedLength => headed_shoot(how_much, words),
        MeasuredAs::CanopyFraction => outlines(how_much, (1.0 - intensity).sqrt(), words),
        MeasuredAs::Spread => outlines(how_much, linear_shrink(intensity), words),
    }
}

fn outlines(how_much: &HowMuch, shrink: f64, words: &Catalogue) -> Drawing {
    let mut canvas = Canvas::new();
    trunk(&mut canvas);
    canvas.path(&half_ellipse(1.0), Ink::ComesOff);
    canvas.path(&half_ellipse(shrink), Ink::Stays);
    canvas.text([20.0, 40.0], Anchor::Start, words.text(Key::DrawCanopyOff));
    canvas.text([FOOT[0], FOOT[1] - 30.0], Anchor::Middle, words.text(Key::DrawCanopyStays));
    finish(canvas, how_much, Key::DrawCanopyTitle, words)
}

fn shoots(how_much: &HowMuch, intensity: f64, words: &Catalogue) -> Drawing {
    let mut canvas = Canvas::new();
    trunk(&mut canvas);
    for shoot in 0..SHOOTS {
        let angle = PI * (f64::from(shoot) + 0.5) / f64::from(SHOOTS);
        let at = |share: f64| {
            [FOOT[0] - share * CANOPY[0] * angle.cos(), FOOT[1] - share * CANOPY[1] * angle.sin()]
        };
        if is_cut(shoot, intensity) {
            canvas.line(at(CUT_AT), at(1.0), Ink::Dashed(3.0));
            canvas.line(at(0.12), at(CUT_AT), Ink::Line(4.0));
            // The bar stands across the shoot.
            let ([x, y], half) = (at(CUT_AT), 9.0);
            let across = [half * angle.sin(), -half * angle.cos()];
            canvas.cut([x - across[0], y - across[1]], [x + across[0], y + across[1]]);
        } else {
            canvas.line(at(0.12), at(1.0), Ink::Line(4.0));
        }
    }
    canvas.text([20.0, 40.0], Anchor::Start, words.text(Key::DrawShootsOff));
    finish(canvas, how_much, Key::DrawCanopyTitle, words)
}

/// Whether a shoot is among those cut: evenly spread, the nearest whole number in all.
fn is_cut(shoot: u32, intensity: f64) -> bool {
    let until = |n: u32| (f64::from(n) * intensity + 0.5).floor();
    until(shoot + 1) > until(shoot)
}

/// How far a leader shoot is cut back: the dashed part has the intensity's share of its length.
#[must_use]
pub fn headed_shoot(how_much: &HowMuch, words: &Catalogue) -> Drawing {
    let mut canvas = Canvas::new();
    let (foot, top) = (390.0, 50.0);
    let cut = top + how_much.intensity.clamp(0.0, 1.0) * (foot - top);
    canvas.line([STEM, foot], [STEM, cut], Ink::Line(9.0));
    canvas.line([STEM, cut], [STEM, top], Ink::Dashed(5.0));
    for (k, side) in (1..7).zip([1.0, -1.0].into_iter().cycle()) {
        let y = foot - f64::from(k) * 50.0;
        let ink = if y > cut { Ink::Line(4.0) } else { Ink::Dashed(3.0) };
        canvas.line([STEM, y], [STEM + side * 80.0, y - 45.0], ink);
    }
    canvas.cut([STEM - 24.0, cut + 8.0], [STEM + 24.0, cut - 8.0]);
    canvas.text([STEM + 95.0, cut + 8.0], Anchor::Start, words.text(Key::DrawCutHere));
    finish(canvas, how_much, Key::DrawHeadTitle, words)
}

/// A young tree of an open centre: sprouts and low branches off, pinched, scaffolds kept.
#[must_use]
pub fn open_centre(words: &Catalogue) -> Drawing {
    let mut canvas = Canvas::new();
    let pinch = 125.0;
    young_stem(&mut canvas, pinch, words);
    canvas.line([STEM, pinch], [STEM, 25.0], Ink::Dashed(4.0));
    canvas.cut([STEM - 20.0, pinch + 4.0], [STEM + 20.0, pinch - 4.0]);
    let height = words.number(100.0 * PINCH_HEIGHT_M, 0);
    canvas.text(
        [STEM + 30.0, 40.0],
        Anchor::Start,
        &words.say(Key::DrawPinch, &[("height", &height)]),
    );
    for (k, side) in (0..SCAFFOLDS).zip([1.0, -1.0].into_iter().cycle()) {
        let y = pinch + 14.0 + 22.0 * f64::from(k);
        canvas.line([STEM, y], [STEM + side * 130.0, y - 70.0], Ink::Line(7.0));
    }
    let count = SCAFFOLDS.to_string();
    canvas.text(
        [STEM + 150.0, 160.0],
        Anchor::Start,
        &words.say(Key::DrawScaffolds, &[("count", &count)]),
    );
    let tasks =
        [YoungTask::Pinch { height_m: PINCH_HEIGHT_M }, YoungTask::Scaffolds { count: SCAFFOLDS }];
    let description = tasks.map(|task| task.sentence(words)).join(" ");
    drawing(canvas, words.text(Key::DrawOpenTitle), &description)
}

/// A young tree with a modified leader, topped at a height, m, or between two.
#[must_use]
pub fn modified_leader(low_m: f64, high_m: f64, words: &Catalogue) -> Drawing {
    let mut canvas = Canvas::new();
    let top = 90.0;
    young_stem(&mut canvas, top, words);
    canvas.line([STEM, top], [STEM, 30.0], Ink::Dashed(4.0));
    canvas.cut([STEM - 20.0, top + 4.0], [STEM + 20.0, top - 4.0]);
    let height = if low_m == high_m {
        words.short(low_m, 1)
    } else {
        format!("{}–{}", words.short(low_m, 1), words.short(high_m, 1))
    };
    canvas.text(
        [STEM + 30.0, 50.0],
        Anchor::Start,
        &words.say(Key::DrawTop, &[("height", &height)]),
    );
    for (k, side) in (0..5).zip([1.0, -1.0].into_iter().cycle()) {
        let y = 125.0 + 26.0 * f64::from(k);
        let reach = 90.0 + 14.0 * f64::from(k);
        canvas.line([STEM, y], [STEM + side * reach, y - 40.0], Ink::Line(6.0));
    }
    let description = YoungTask::Top { low_m, high_m }.sentence(words);
    drawing(canvas, words.text(Key::DrawLeaderTitle), &description)
}

/// Ground, stem, graft, and what comes off low down.
fn young_stem(canvas: &mut Canvas, top: f64, words: &Catalogue) {
    canvas.line([60.0, GROUND], [520.0, GROUND], Ink::Line(3.0));
    canvas.line([STEM, GROUND], [STEM, top], Ink::Line(10.0));
    // The graft, and a sprout below it.
    canvas.line([STEM - 12.0, 346.0], [STEM + 12.0, 338.0], Ink::Line(4.0));
    canvas.line([STEM, 368.0], [STEM + 70.0, 334.0], Ink::Dashed(4.0));
    canvas.cut([STEM + 9.0, 354.0], [STEM + 17.0, 372.0]);
    canvas.text([STEM + 85.0, 345.0], Anchor::Start, words.text(Key::DrawOffSprouts));
    canvas.line([STEM, 290.0], [STEM + 70.0, 262.0], Ink::Dashed(4.0));
    canvas.cut([STEM + 10.0, 296.0], [STEM + 16.0, 276.0]);
    canvas.text([STEM + 85.0, 275.0], Anchor::Start, words.text(Key::DrawOffLow));
}

fn trunk(canvas: &mut Canvas) {
    canvas.line([60.0, GROUND + 10.0], [580.0, GROUND + 10.0], Ink::Line(3.0));
    canvas.path("M300 390L306 295L334 295L340 390Z", Ink::Stays);
}

fn half_ellipse(shrink: f64) -> String {
    let [half, height] = CANOPY.map(|length| tidy(length * shrink));
    let y = FOOT[1];
    let (left, right) = (FOOT[0] - half, FOOT[0] + half);
    format!("M{left} {y}A{half} {height} 0 0 1 {right} {y}Z")
}

fn finish(canvas: Canvas, how_much: &HowMuch, title: Key, words: &Catalogue) -> Drawing {
    drawing(canvas, words.text(title), &how_much.lines(words).join(" "))
}

fn drawing(canvas: Canvas, title: &str, description: &str) -> Drawing {
    Drawing {
        title: title.to_owned(),
        description: description.to_owned(),
        svg: canvas.finish(description),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_many_shoots_are_cut_as_asked() {
        for (intensity, count) in [(0.0, 0), (0.25, 5), (0.31, 6), (0.5, 10), (1.0, 20)] {
            assert_eq!((0..SHOOTS).filter(|&shoot| is_cut(shoot, intensity)).count(), count);
        }
        // Every second one, not the first ten.
        assert!((0..SHOOTS).step_by(2).all(|shoot| is_cut(shoot, 0.5) != is_cut(shoot + 1, 0.5)));
    }

    /// Area of a half ellipse is pi a b / 2: a quarter off leaves sides of sqrt(0.75).
    #[test]
    fn the_grey_part_has_the_share_of_the_area() {
        let how_much =
            HowMuch { intensity: 0.25, measured_as: MeasuredAs::CanopyFraction, canopy_m: None };
        let svg = canopy(&how_much, &Catalogue::ENGLISH).svg;
        let inner = (230.0_f64 * 0.75_f64.sqrt() * 10.0).round() / 10.0;
        assert!(svg.contains(&format!("A{inner} {inner} 0 0 1")), "{svg}");
        assert!((1.0 - (inner / 230.0).powi(2) - 0.25).abs() < 1e-3);
    }
}
