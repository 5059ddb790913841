//! A treatment factor with its levels in a sensible order.

use super::refusal::{Evidence, Refusal};
use serde::{Deserialize, Serialize};

/// Levels that are amounts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Amounts {
    /// Unit.
    pub unit: String,
    /// Amount of each level, ascending.
    pub values: Vec<f64>,
}

/// What the levels of a factor were randomised to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FactorPlace {
    /// Plots.
    Plots,
    /// Main plots, or the strips one way.
    MainPlots,
    /// Sub plots, or the strips across.
    SubPlots,
    /// Sub-sub plots.
    SubSubPlots,
    /// Seasons, which come by themselves.
    Seasons,
}

/// A treatment factor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlanFactor {
    /// Name, as the column's.
    pub name: String,
    /// Levels: ascending where all are numbers, else in alphabetical order.
    pub levels: Vec<String>,
    /// Amounts, where declared.
    pub amounts: Option<Amounts>,
    /// What it was randomised to.
    pub place: FactorPlace,
}

impl PlanFactor {
    /// Orders the distinct `found` levels, each with the rows that carry it.
    ///
    /// # Errors
    /// An amount that is no number, or no fraction where its unit says so; a single level.
    pub(super) fn new(
        name: &str,
        place: FactorPlace,
        unit: Option<&String>,
        found: Vec<(String, Evidence)>,
    ) -> Result<Self, Refusal> {
        let number = |text: &str| text.trim().parse::<f64>().ok().filter(|x| x.is_finite());
        if unit.is_some()
            && let Some((level, evidence)) = found.iter().find(|(l, _)| number(l).is_none())
        {
            return Err(Refusal::LevelNotNumber {
                factor: name.to_owned(),
                level: level.clone(),
                evidence: evidence.clone(),
            });
        }
        let outside = |text: &str| number(text).is_some_and(|x| !(0.0..=1.0).contains(&x));
        if unit.is_some_and(|unit| unit == "fraction")
            && let Some((level, evidence)) = found.iter().find(|(l, _)| outside(l))
        {
            return Err(Refusal::NoFraction {
                factor: name.to_owned(),
                level: level.clone(),
                evidence: evidence.clone(),
            });
        }
        let mut levels: Vec<String> = found.into_iter().map(|(l, _)| l).collect();
        levels.sort_by(|a, b| match (number(a), number(b)) {
            (Some(x), Some(y)) => x.total_cmp(&y).then_with(|| a.cmp(b)),
            (Some(_), None) => std::cmp::Ordering::Less,
            (None, Some(_)) => std::cmp::Ordering::Greater,
            (None, None) => a.cmp(b),
        });
        levels.dedup();
        if let [level] = levels.as_slice() {
            return Err(Refusal::OneLevel { factor: name.to_owned(), level: level.clone() });
        }
        let amounts = unit.map(|unit| Amounts {
            unit: unit.clone(),
            values: levels.iter().filter_map(|l| number(l)).collect(),
        });
        Ok(PlanFactor { name: name.to_owned(), levels, amounts, place })
    }

    /// Position of a level.
    #[must_use]
    pub fn position(&self, level: &str) -> Option<usize> {
        self.levels.iter().position(|l| l == level)
    }
}
