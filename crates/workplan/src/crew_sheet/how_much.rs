//! An intensity in words that a crew can work by.

use crate::text::{Catalogue, Key};
use records::MeasuredAs;
use serde::{Deserialize, Serialize};

/// Simple fractions, with their word.
const SIMPLE: [(u8, u8, Key); 13] = [
    (1, 10, Key::Share1Of10),
    (1, 8, Key::Share1Of8),
    (1, 6, Key::Share1Of6),
    (1, 5, Key::Share1Of5),
    (1, 4, Key::Share1Of4),
    (1, 3, Key::Share1Of3),
    (2, 5, Key::Share2Of5),
    (1, 2, Key::Share1Of2),
    (3, 5, Key::Share3Of5),
    (2, 3, Key::Share2Of3),
    (3, 4, Key::Share3Of4),
    (4, 5, Key::Share4Of5),
    (9, 10, Key::Share9Of10),
];
/// Below this a simple fraction says too much.
const FEW: f64 = 0.09;

/// How much to cut.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HowMuch {
    /// Fraction to remove.
    pub intensity: f64,
    /// What it is a fraction of.
    pub measured_as: MeasuredAs,
    /// Mean height and width of the canopy now, m, where known.
    pub canopy_m: Option<[f64; 2]>,
}

/// The nearest simple fraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Portion {
    /// Parts.
    pub parts: u8,
    /// Of how many.
    pub of: u8,
    word: Key,
}

impl Portion {
    /// The simple fraction nearest to an intensity; `None` below 9 %.
    #[must_use]
    pub fn nearest(intensity: f64) -> Option<Self> {
        let distance =
            |&(parts, of, _): &(u8, u8, Key)| (f64::from(parts) / f64::from(of) - intensity).abs();
        SIMPLE
            .iter()
            .min_by(|a, b| distance(a).total_cmp(&distance(b)))
            .filter(|_| intensity >= FEW)
            .map(|&(parts, of, word)| Self { parts, of, word })
    }
}

impl HowMuch {
    /// The instruction, then its per cent.
    #[must_use]
    pub fn lines(&self, words: &Catalogue) -> Vec<String> {
        if self.intensity.is_nan() || self.intensity <= 0.0 {
            return vec![words.text(Key::Unpruned).to_owned()];
        }
        let percent = words.number(100.0 * self.intensity, 0);
        let portion = Portion::nearest(self.intensity);
        let instruction = match (self.measured_as, portion) {
            (MeasuredAs::Spread, _) => return vec![self.spread(words)],
            (MeasuredAs::Shoots, Some(portion)) => shoots(portion, words),
            (MeasuredAs::Shoots, None) => {
                words.say(Key::CutOneIn, &[("n", &words.number(1.0 / self.intensity, 0))])
            }
            (MeasuredAs::CanopyFraction, Some(portion)) => {
                words.say(Key::CanopyShare, &[("share", words.text(portion.word))])
            }
            (MeasuredAs::HeadedLength, Some(portion)) => {
                words.say(Key::HeadBack, &[("share", words.text(portion.word))])
            }
            (MeasuredAs::CanopyFraction, None) => {
                return vec![words.say(Key::CanopyPercent, &[("percent", &percent)])];
            }
            (MeasuredAs::HeadedLength, None) => {
                return vec![words.say(Key::HeadBack, &[("share", &format!("{percent} %"))])];
            }
        };
        vec![instruction, words.say(Key::Percent, &[("percent", &percent)])]
    }

    /// Height and width shrink alike: volume of a half ellipsoid x (1 - intensity), so each by its
    /// cube root.
    fn spread(&self, words: &Catalogue) -> String {
        let shrink = linear_shrink(self.intensity);
        match self.canopy_m {
            Some([height, width]) => words.say(
                Key::SpreadTo,
                &[
                    ("height", &words.number(height, 1)),
                    ("width", &words.number(width, 1)),
                    ("new_height", &words.number(height * shrink, 1)),
                    ("new_width", &words.number(width * shrink, 1)),
                ],
            ),
            None => words.say(Key::SpreadShare, &[("percent", &words.number(100.0 * shrink, 0))]),
        }
    }
}

/// Factor on every length of a body that keeps its shape and loses a fraction of its volume.
pub(super) fn linear_shrink(intensity: f64) -> f64 {
    (1.0 - intensity.clamp(0.0, 1.0)).cbrt()
}

fn shoots(portion: Portion, words: &Catalogue) -> String {
    let nth = match (portion.parts, portion.of) {
        (1, 2) => Some(Key::Nth2),
        (1, 3) => Some(Key::Nth3),
        (1, 4) => Some(Key::Nth4),
        (1, 5) => Some(Key::Nth5),
        (1, 6) => Some(Key::Nth6),
        (1, 8) => Some(Key::Nth8),
        (1, 10) => Some(Key::Nth10),
        _ => None,
    };
    match nth {
        Some(nth) => words.say(Key::CutEvery, &[("nth", words.text(nth))]),
        None => words.say(
            Key::CutOfEvery,
            &[("m", &portion.parts.to_string()), ("n", &portion.of.to_string())],
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use records::half_ellipsoid_volume_m3;

    fn said(intensity: f64, measured_as: MeasuredAs) -> String {
        HowMuch { intensity, measured_as, canopy_m: Some([4.0, 6.0]) }
            .lines(&Catalogue::ENGLISH)
            .swap_remove(0)
    }

    #[test]
    fn fractions_in_words() {
        assert_eq!(said(0.31, MeasuredAs::Shoots), "Cut about every third leader shoot.");
        assert_eq!(said(0.65, MeasuredAs::Shoots), "Cut about 2 of every 3 leader shoots.");
        assert_eq!(said(0.05, MeasuredAs::Shoots), "Cut about 1 leader shoot in 20.");
        assert_eq!(
            said(0.24, MeasuredAs::CanopyFraction),
            "Take out about a quarter of the canopy."
        );
        assert_eq!(
            said(0.05, MeasuredAs::CanopyFraction),
            "Take out only about 5 % of the canopy."
        );
        assert_eq!(
            said(0.5, MeasuredAs::HeadedLength),
            "Cut each leader shoot back by about half of its length."
        );
        assert_eq!(said(0.0, MeasuredAs::Shoots), "Leave the trees unpruned.");
        assert_eq!(said(f64::NAN, MeasuredAs::Shoots), "Leave the trees unpruned.");
    }

    /// The sizes asked for have the volume asked for (trade.md section 3, half ellipsoid).
    #[test]
    fn shrunken_canopies_lose_the_fraction() {
        let shrink = linear_shrink(0.3);
        let before = half_ellipsoid_volume_m3(4.0, 6.0, 6.0);
        let after = half_ellipsoid_volume_m3(4.0 * shrink, 6.0 * shrink, 6.0 * shrink);
        assert!((1.0 - after / before - 0.3).abs() < 1e-12);
        assert_eq!(
            said(0.3, MeasuredAs::Spread),
            "Bring the canopy from 4.0 m high and 6.0 m wide to about 3.6 m and 5.3 m."
        );
    }

    /// No simple fraction is further than an eighth of the intensity, or 5 points, away.
    #[test]
    fn words_stay_near_the_number() {
        for percent in 9..=92 {
            let intensity = f64::from(percent) / 100.0;
            let portion = Portion::nearest(intensity).unwrap();
            let off = (f64::from(portion.parts) / f64::from(portion.of) - intensity).abs();
            assert!(off <= 0.051, "{percent}: {portion:?}");
        }
    }
}
