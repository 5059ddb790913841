//! Every sentence of the sheets and calendar, by key, so that they can be translated.

mod sentences;

use crate::economics::shown;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use words::{Language, speaking};

macro_rules! keys {
    ($($key:ident)*) => {
        /// Name of a sentence; places to fill are in braces.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        #[allow(missing_docs, reason = "the sentence is its own documentation")]
        pub enum Key { $($key,)* }

        impl Key {
            /// Every key.
            pub const ALL: &'static [Key] = &[$(Self::$key,)*];
        }
    };
}

keys! {
    ProtectiveEquipment Ladders PowerSaws PoleTools CleanTools Decide
    LabelFirst LocalRules SprayEquipment CopperMixing Bees Water ReEntry PreHarvest
    ReEntryDay ReEntryDays ReEntryMissing PreHarvestDay PreHarvestDays PreHarvestMissing
    Prune Keep Trial Train Rest OfTrials OfTrial OfTrialOne TrialTrees AndMore PrunedAlready PrunedAlreadyOne PrunedIds
    YoungerApart YoungerApartOne YoungerIds YoungerThanRecords YoungerThanRecordsOne
    YoungerLeft YoungerLeftOne ChooseTrees
    Site Region Trees Window Dates PersonDays People CutWood Tools Cuts LeftUndone
    ToolPieces ToolPiecesOnly ToolSecateurs ToolPruningSaw ToolPowerSaw TreesOf
    CutEvery CutOfEvery CutOneIn CanopyShare CanopyPercent HeadBack SpreadTo SpreadShare Unpruned Percent
    Nth2 Nth3 Nth4 Nth5 Nth6 Nth8 Nth10
    Share1Of10 Share1Of8 Share1Of6 Share1Of5 Share1Of4 Share1Of3 Share2Of5 Share1Of2 Share3Of5
    Share2Of3 Share3Of4 Share4Of5 Share9Of10
    WhereLateral WhereCollar WhereSpread
    TaskSprouts TaskLower TaskPinch TaskScaffolds TaskTop TaskTopRange TaskTrees TrainingMissing
    PasteTitle SprayTitle InsectTitle PasteBatch SprayBatch InsectBatch CopperTotal InsectTotal InsectWhen Applications
    DrawCanopyTitle DrawCanopyOff DrawCanopyStays DrawShootsOff DrawHeadTitle
    DrawLateralTitle DrawCutHere DrawLateral DrawNoStub
    DrawCollarTitle DrawUnderCut DrawTopCut DrawCollarCut
    DrawOpenTitle DrawPinch DrawScaffolds DrawLeaderTitle DrawTop DrawOffLow DrawOffSprouts
    EventTitle EventTrees EventPersonDays
}

/// The sentences in a language, with its numbers and dates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Catalogue {
    /// Language tag, as in HTML `lang`.
    pub language: &'static str,
    spoken: Language,
}

/// Languages there are.
pub const CATALOGUES: [Catalogue; 2] = [Catalogue::ENGLISH, Catalogue::PORTUGUESE];

impl Catalogue {
    /// English.
    pub const ENGLISH: Self = Self::in_language(Language::English);
    /// Portuguese.
    pub const PORTUGUESE: Self = Self::in_language(Language::Portuguese);

    const fn in_language(spoken: Language) -> Self {
        Self { language: spoken.tag(), spoken }
    }

    /// The catalogue of the language being spoken.
    #[must_use]
    pub fn spoken() -> Self {
        Self::in_language(words::language())
    }

    /// Its language.
    pub(crate) const fn spoken_language(&self) -> Language {
        self.spoken
    }

    /// The sentence of a key, its places still open.
    #[must_use]
    pub fn text(&self, key: Key) -> &'static str {
        speaking(self.spoken, || sentences::sentence(key).get())
    }

    /// The sentence of a key with its places filled. Braces in the values are left alone.
    #[must_use]
    pub fn say(&self, key: Key, places: &[(&str, &str)]) -> String {
        let mut out = String::new();
        let mut rest = self.text(key);
        while let Some((before, after)) = rest.split_once('{') {
            out.push_str(before);
            let Some((name, tail)) = after.split_once('}') else { break };
            out.push_str(places.iter().find(|(n, _)| *n == name).map_or("", |(_, value)| value));
            rest = tail;
        }
        out + rest
    }

    /// A number with its decimals, half away from zero, in the marks of the language.
    #[must_use]
    pub fn number(&self, value: f64, decimals: u32) -> String {
        speaking(self.spoken, || words::spoken(&shown(value, decimals)))
    }

    /// A number with as many decimals as it needs up to a limit.
    #[must_use]
    pub fn short(&self, value: f64, most_decimals: u32) -> String {
        let decimals = (0..most_decimals)
            .find(|&d| {
                let scale = 10_f64.powi(d as i32);
                let step = 0.5 * 10_f64.powi(-(most_decimals as i32));
                ((value * scale).round() / scale - value).abs() < step
            })
            .unwrap_or(most_decimals);
        self.number(value, decimals)
    }

    /// A day, for example `3 May 2026`.
    #[must_use]
    pub fn date(&self, day: Date) -> String {
        speaking(self.spoken, || words::date(day))
    }

    /// A span of days.
    #[must_use]
    pub fn span(&self, from: Date, to: Date) -> String {
        speaking(self.spoken, || words::span(from, to))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn places(text: &str) -> BTreeSet<&str> {
        text.split('{').skip(1).filter_map(|rest| rest.split_once('}')).map(|part| part.0).collect()
    }

    #[test]
    fn every_language_says_everything_with_the_same_places() {
        for &key in Key::ALL {
            let english = Catalogue::ENGLISH.text(key);
            for other in CATALOGUES {
                let text = other.text(key);
                assert!(!text.trim().is_empty(), "{key:?} in {}", other.language);
                assert_eq!(places(text), places(english), "{key:?} in {}", other.language);
            }
        }
    }

    #[test]
    fn numbers_and_dates_follow_the_language() {
        let (en, pt) = (Catalogue::ENGLISH, Catalogue::PORTUGUESE);
        assert_eq!(
            (en.number(12_345.65, 1), pt.number(-1234.5, 1)),
            ("12\u{202f}345.7".into(), "−1234,5".into())
        );
        assert_eq!(
            (en.short(6.0, 2), en.short(0.6, 2), en.short(0.125, 3)),
            ("6".into(), "0.6".into(), "0.125".into())
        );
        let day = jiff::civil::date(2026, 5, 3);
        assert_eq!((en.date(day), pt.date(day)), ("3 May 2026".into(), "3 de maio de 2026".into()));
        assert_eq!(en.span(day, day), "3 May 2026");
        assert_eq!(pt.span(day, jiff::civil::date(2026, 6, 1)), "3 de maio a 1.º de junho de 2026");
    }

    #[test]
    fn braces_in_values_are_left_alone() {
        let said = Catalogue::ENGLISH.say(Key::CutEvery, &[("nth", "{nth}")]);
        assert_eq!(said, "Cut about every {nth} leader shoot.");
    }
}
