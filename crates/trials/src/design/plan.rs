//! The checked plan of a trial: units, treatments, fixed terms and error strata.

use super::cells::{Cell, Term};
use super::factor::PlanFactor;
use super::slip::Slip;
use crate::observations::Trait;
use records::TrialDesign;
use serde::{Deserialize, Serialize};

/// How the groups of a stratum enter the model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StratumKind {
    /// Blocks that hold every treatment: fixed where the trial is damaged.
    Blocks,
    /// Groups whose differences are error for the treatments between them.
    Random,
    /// The units themselves.
    Residual,
}

/// A set of groups of units: replicates, main plots, the units themselves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stratum {
    /// Name for people, `main plots`.
    pub name: String,
    /// How it enters the model.
    pub kind: StratumKind,
    /// Group of each unit.
    pub codes: Vec<usize>,
    /// Name of each group.
    pub groups: Vec<String>,
}

/// What one value of the analysis stands for: a plot (in one season), or a tree where plots hold
/// unequal numbers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Unit {
    /// Name of its plot.
    pub plot: String,
    /// Season, where there are several.
    pub season: Option<i32>,
    /// Treatment, position in [`Plan::cells`].
    pub cell: usize,
    /// Mean of the trees, in the trait's unit.
    pub value: f64,
    /// Values of its trees.
    pub trees: Vec<f64>,
    /// Mean of the covariate over its trees.
    pub covariate: Option<f64>,
    /// Field row and column, where recorded.
    pub position: Option<(String, String)>,
    /// Rows of the observations.
    pub rows: Vec<usize>,
}

/// A trial ready for analysis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Id of the trial.
    pub trial: String,
    /// How treatments were assigned.
    pub design: TrialDesign,
    /// What was observed.
    pub observed: Trait,
    /// Treatment factors, then season where the same plots were observed in several.
    pub factors: Vec<PlanFactor>,
    /// Name of the control beside the factorial.
    pub control: Option<String>,
    /// Treatments.
    pub cells: Vec<Cell>,
    /// Fixed terms, main effects first.
    pub terms: Vec<Term>,
    /// Strata from the coarsest to the units.
    pub strata: Vec<Stratum>,
    /// Units with a value.
    pub units: Vec<Unit>,
    /// Number of plots, whatever the units are.
    pub plots: usize,
    /// Whether the units are trees, because plots hold unequal numbers.
    pub units_are_trees: bool,
    /// Name of the covariate.
    pub covariate: Option<String>,
    /// The model in words.
    pub words: Vec<String>,
    /// What was set aside, and what the reader should know.
    pub notes: Vec<String>,
    /// Rows that look mistyped.
    pub slips: Vec<Slip>,
}

impl Plan {
    /// Values of the units.
    #[must_use]
    pub fn values(&self) -> Vec<f64> {
        self.units.iter().map(|u| u.value).collect()
    }

    /// The plan with some of its units alone, by position, as if the others had been lost: strata
    /// hold the groups that are left.
    pub(crate) fn of_units(&self, kept: &[usize]) -> Plan {
        let mut out = self.clone();
        out.units = kept.iter().filter_map(|at| self.units.get(*at).cloned()).collect();
        for (c, cell) in out.cells.iter_mut().enumerate() {
            cell.units = out.units.iter().filter(|unit| unit.cell == c).count();
        }
        for (own, full) in out.strata.iter_mut().zip(&self.strata) {
            let codes: Vec<usize> =
                kept.iter().filter_map(|at| full.codes.get(*at).copied()).collect();
            let mut seen: Vec<usize> = Vec::new();
            for code in &codes {
                if !seen.contains(code) {
                    seen.push(*code);
                }
            }
            let place = |code: &usize| seen.iter().position(|s| s == code).unwrap_or(0);
            own.codes = codes.iter().map(place).collect();
            own.groups = seen.iter().filter_map(|s| full.groups.get(*s).cloned()).collect();
        }
        out
    }

    /// The plan as if some plots, by name, had been lost: to try what a finding owes to them.
    #[must_use]
    pub fn without_plots(&self, plots: &[&str]) -> Plan {
        let kept: Vec<usize> = (0..self.units.len())
            .filter(|at| self.units.get(*at).is_some_and(|u| !plots.contains(&u.plot.as_str())))
            .collect();
        let mut out = self.of_units(&kept);
        let mut names: Vec<&str> = out.units.iter().map(|unit| unit.plot.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        out.plots = names.len();
        out
    }

    /// Names of the groups that a term compares, each with the cells averaged in it; groups in the
    /// order of the levels.
    #[must_use]
    pub fn groups_of(&self, term: &Term) -> Vec<(Vec<String>, Vec<usize>)> {
        let names: Vec<Vec<String>> =
            term.parts.iter().map(|p| p.level_names(&self.factors, &self.cells)).collect();
        let mut out: Vec<(Vec<String>, Vec<usize>)> = vec![(Vec::new(), Vec::new())];
        for levels in &names {
            out = out
                .iter()
                .flat_map(|(stem, _)| {
                    levels.iter().map(|l| {
                        let name = stem.iter().cloned().chain([l.clone()]).collect();
                        (name, Vec::new())
                    })
                })
                .collect();
        }
        for (c, cell) in self.cells.iter().enumerate() {
            let mut at = Some(0);
            for (part, levels) in term.parts.iter().zip(&names) {
                let level = part.level(cell, &self.factors, &self.cells);
                at = at.zip(level).map(|(a, l)| a * levels.len() + l);
            }
            if let Some(at) = at {
                out[at].1.push(c);
            }
        }
        out
    }
}
