//! Treatments of a designed trial: levels of factors, and what they do.

use super::{DesignedTrial, Stratum};
use std::collections::BTreeMap;

/// What a level of a factor means for a tree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LevelEffect {
    /// Fraction of the canopy removed.
    Intensity(f64),
    /// Days before the flush start at which it is removed.
    LeadDays(f64),
    /// Yield relative to the tree without it; cut ends are dressed.
    Dressed(f64),
    /// Nothing.
    Nothing,
}

/// A level of a factor, as written in the trial table.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialLevel {
    /// Text of the table.
    pub name: String,
    /// What it does.
    pub effect: LevelEffect,
}

/// A factor.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialFactor {
    /// Column of the trial table.
    pub column: String,
    /// Where its levels go.
    pub stratum: Stratum,
    /// Levels.
    pub levels: Vec<TrialLevel>,
}

/// What is done to the trees of a plot.
#[derive(Debug, Clone, PartialEq)]
pub struct Treatment {
    /// Level by factor column; of a control beside a factorial only the first factor.
    pub levels: BTreeMap<String, String>,
    /// Fraction removed, 0 for none.
    pub intensity: f64,
    /// Lead of the pruning, days.
    pub lead_days: f64,
    /// Yield relative to the tree without anything but the pruning.
    pub ratio: f64,
    /// Whether cut ends are dressed; `None` where that is no part of the trial.
    pub dressed: Option<bool>,
}

impl TrialFactor {
    /// Fractions of the canopy, on plots.
    #[must_use]
    pub fn intensities(levels: &[f64]) -> Self {
        let of = |&level: &f64| (level.to_string(), LevelEffect::Intensity(level));
        Self::of("intensity_level", Stratum::Plot, levels.iter().map(of))
    }

    /// Days before the flush start, on main plots.
    #[must_use]
    pub fn dates(levels: &[f64]) -> Self {
        let of = |&level: &f64| (level.to_string(), LevelEffect::LeadDays(level));
        Self::of("lead_days", Stratum::Main, levels.iter().map(of))
    }

    /// Cut ends bare or dressed, on plots; `ratio` is the yield with dressing relative to without.
    #[must_use]
    pub fn dressing(ratio: f64) -> Self {
        let levels = [("bare", LevelEffect::Nothing), ("dressed", LevelEffect::Dressed(ratio))];
        let levels = levels.map(|(name, effect)| (name.to_owned(), effect));
        Self::of("dressing", Stratum::Plot, levels.into_iter())
    }

    fn of(
        column: &str,
        stratum: Stratum,
        levels: impl Iterator<Item = (String, LevelEffect)>,
    ) -> Self {
        let levels = levels.map(|(name, effect)| TrialLevel { name, effect }).collect();
        Self { column: column.to_owned(), stratum, levels }
    }

    /// Unit of levels that are amounts.
    #[must_use]
    pub fn unit(&self) -> Option<&'static str> {
        self.levels.iter().find_map(|level| match level.effect {
            LevelEffect::Intensity(_) => Some("fraction"),
            LevelEffect::LeadDays(_) => Some("days"),
            LevelEffect::Dressed(_) | LevelEffect::Nothing => None,
        })
    }
}

impl Treatment {
    /// Level that marks a control.
    pub const CONTROL: &'static str = "0";

    /// The treatment of some levels, found by their names; `None` when a level is unknown. An empty
    /// level stands for no such treatment.
    #[must_use]
    pub fn of(
        factors: &[TrialFactor],
        lead_days: f64,
        level_of: impl Fn(&str) -> String,
    ) -> Option<Self> {
        let mut treatment =
            Self { levels: BTreeMap::new(), intensity: 0.0, lead_days, ratio: 1.0, dressed: None };
        for factor in factors {
            let name = level_of(&factor.column);
            if name.is_empty() {
                continue;
            }
            let same = |level: &&TrialLevel| {
                let numbers = (level.name.parse::<f64>(), name.parse::<f64>());
                level.name == name || matches!(numbers, (Ok(a), Ok(b)) if (a - b).abs() < 1e-9)
            };
            match factor.levels.iter().find(same) {
                Some(level) => treatment.apply(level.effect),
                None if name == Self::CONTROL => {}
                None => return None,
            }
            treatment.levels.insert(factor.column.clone(), name);
        }
        Some(treatment)
    }

    fn apply(&mut self, effect: LevelEffect) {
        match effect {
            LevelEffect::Intensity(intensity) => self.intensity = intensity,
            LevelEffect::LeadDays(lead) => self.lead_days = lead,
            LevelEffect::Dressed(ratio) => {
                self.ratio *= ratio;
                self.dressed = Some(true);
            }
            LevelEffect::Nothing => self.dressed = Some(false),
        }
    }
}

impl DesignedTrial {
    /// Every combination of the levels that go to a stratum, the first factor slowest.
    pub(crate) fn combinations(&self, stratum: Stratum) -> Vec<BTreeMap<String, String>> {
        let mut all = vec![BTreeMap::new()];
        for factor in self.factors.iter().filter(|factor| factor.stratum == stratum) {
            all = all
                .iter()
                .flat_map(|before| {
                    factor.levels.iter().map(move |level| {
                        let mut levels: BTreeMap<String, String> = before.clone();
                        levels.insert(factor.column.clone(), level.name.clone());
                        levels
                    })
                })
                .collect();
        }
        all
    }

    /// Levels of the control beside the factorial.
    pub(crate) fn control_levels(&self) -> BTreeMap<String, String> {
        let first = self.factors.first().map(|factor| factor.column.clone());
        first.into_iter().map(|column| (column, Treatment::CONTROL.to_owned())).collect()
    }

    /// What is done to trees with these levels.
    pub(crate) fn treatment(&self, levels: &BTreeMap<String, String>) -> Treatment {
        let level_of = |column: &str| levels.get(column).cloned().unwrap_or_default();
        // Only levels of the plan come here, so every one is known.
        Treatment::of(&self.factors, self.lead_days, level_of).unwrap_or_else(|| Treatment {
            levels: levels.clone(),
            intensity: 0.0,
            lead_days: self.lead_days,
            ratio: 1.0,
            dressed: None,
        })
    }

    /// Every treatment, the control first.
    pub(crate) fn treatments(&self) -> Vec<Treatment> {
        let mut all = Vec::new();
        if self.control {
            all.push(self.treatment(&self.control_levels()));
        }
        for main in self.combinations(Stratum::Main) {
            for mut levels in self.combinations(Stratum::Plot) {
                levels.extend(main.clone());
                all.push(self.treatment(&levels));
            }
        }
        all
    }
}
