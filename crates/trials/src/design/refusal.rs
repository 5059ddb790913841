//! Why a trial cannot be analysed as declared, with the rows that say so and what to do.

use crate::{name_in_words, place_in_words};
use records::counted;
use serde::{Deserialize, Serialize};
use thiserror::Error;
use words::{say, text};

/// Rows behind a refusal.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Evidence {
    /// `file:line` of each row, in the order of the rows; row numbers from 1 where unknown.
    pub places: Vec<String>,
}

impl std::fmt::Display for Evidence {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        const SHOWN: usize = 6;
        let shown = self.places.iter().take(SHOWN).cloned().collect::<Vec<_>>().join(", ");
        match self.places.len() {
            0 => f.write_str(text!("no row")),
            n if n > SHOWN => f.write_str(&say!("{shown} and {} more", n - SHOWN)),
            _ => write!(f, "{shown}"),
        }
    }
}

/// What a column is declared as: a key of `[trials.ID]` as it is, or in words.
fn role_in_words(role: &str) -> &str {
    match role {
        "factor" => text!("factor"),
        "factor of the control" => text!("factor of the control"),
        key => key,
    }
}

/// Two places or more, in words.
fn places(found: &[String]) -> String {
    let said: Vec<String> = found.iter().map(|place| place_in_words(place)).collect();
    said.join(text!(" and "))
}

/// A plot's id, the places around it in brackets in words.
fn bracketed(plot: &str) -> String {
    match plot.strip_suffix(')').and_then(|plot| plot.rsplit_once(" (")) {
        Some((id, outer)) => format!("{id} ({})", place_in_words(outer)),
        None => plot.to_owned(),
    }
}

/// Replicates in words; a factor by the name it was declared with.
fn known(with: &str) -> String {
    if with == "replicates" { name_in_words(with) } else { with.to_owned() }
}

/// A design that the data contradict, or that leaves nothing to estimate.
#[derive(Debug, Clone, PartialEq, Error, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Refusal {
    /// No row has a value.
    #[error("{}", say!("no row of {trial} has a value of {observed} ({read} rows read)"))]
    NoRows {
        /// Trial.
        trial: String,
        /// Trait.
        observed: String,
        /// Rows read.
        read: usize,
    },
    /// The design needs factors that are not declared.
    #[error("{}", say!("the design needs {what}, and none is declared"))]
    NoFactors {
        /// Which factors.
        what: String,
    },
    /// A factor is declared twice.
    #[error("{}", say!("the factor {factor} is declared twice"))]
    FactorTwice {
        /// Factor.
        factor: String,
    },
    /// More treatments than a factorial of plots can hold.
    #[error("{}", say!("{factors} factors make {cells} treatments; at most 6 factors and 5000 treatments are analysed"))]
    TooManyTreatments {
        /// Factors declared.
        factors: usize,
        /// Treatments of their full factorial.
        cells: usize,
    },
    /// A column that a role or factor names does not exist.
    #[error("{}", say!("the trial table has no column {column}, declared as {role}", role = role_in_words(role)))]
    NoColumn {
        /// Column.
        column: String,
        /// What it was declared as.
        role: String,
    },
    /// A role or factor is empty in rows that need it.
    #[error("{}", say!("{column} is empty at {evidence}"))]
    EmptyCells {
        /// Column.
        column: String,
        /// Rows.
        evidence: Evidence,
    },
    /// A level of an amount is not a number.
    #[error("{}", say!("{factor} is declared as an amount, but its level {level} is no number ({evidence})"))]
    LevelNotNumber {
        /// Factor.
        factor: String,
        /// Level.
        level: String,
        /// Rows.
        evidence: Evidence,
    },
    /// A level of an amount declared as a fraction lies outside 0 to 1.
    #[error("{}", say!("level {level} of {factor} is no fraction from 0 to 1 ({evidence})"))]
    NoFraction {
        /// Factor.
        factor: String,
        /// Level.
        level: String,
        /// Rows.
        evidence: Evidence,
    },
    /// A factor has a single level.
    #[error("{}", say!("the factor {factor} has one level only, {level}: there is nothing to compare"))]
    OneLevel {
        /// Factor.
        factor: String,
        /// The level.
        level: String,
    },
    /// Observations of several sites, which are pooled after each is analysed.
    #[error("{}", say!("the rows are of several sites ({}), and were given as one trial", sites.join(", ")))]
    SeveralSites {
        /// Sites.
        sites: Vec<String>,
    },
    /// A tree and season occur twice.
    #[error("{}", say!("tree {tree} occurs twice{} ({evidence})", season.map(|s| say!(" in season {s}")).unwrap_or_default()))]
    TreeTwice {
        /// Tree.
        tree: String,
        /// Season.
        season: Option<i32>,
        /// Rows.
        evidence: Evidence,
    },
    /// A plot, or a tree, lies in two groups that cannot share it.
    #[error("{}", say!("{unit} {id} lies in two {groups}: {} ({evidence})", places(found), unit = name_in_words(unit), groups = name_in_words(groups)))]
    InTwo {
        /// `plot`, `tree`, `main plot`.
        unit: String,
        /// Its id.
        id: String,
        /// `replicates`, `blocks`, `plots`.
        groups: String,
        /// Groups found.
        found: Vec<String>,
        /// Rows.
        evidence: Evidence,
    },
    /// A plot holds two treatments.
    #[error("{}", say!("plot {plot} holds two treatments: {} ({evidence})", treatments.join(text!(" and ")), plot = bracketed(plot)))]
    TwoTreatments {
        /// Plot.
        plot: String,
        /// Treatments found.
        treatments: Vec<String>,
        /// Rows.
        evidence: Evidence,
    },
    /// A treatment occurs more often in a block than its design allows.
    #[error("{}", say!("{treatment} occurs {times} times in {block}, where the design allows once ({evidence}){counted}", block = place_in_words(block), counted = found(*replicates)))]
    TreatmentTwice {
        /// Treatment.
        treatment: String,
        /// Block, in words.
        block: String,
        /// Times found.
        times: usize,
        /// Replicates of the rows, where main plots lie in replicates.
        replicates: Option<usize>,
        /// Rows.
        evidence: Evidence,
    },
    /// Plots were told by block and treatment, and one of them holds the trees of two.
    #[error("{}", say!("{treatment} in {block} holds {trees} trees where a plot usually holds {usual}, and {robbed} has no {lacking}: two plots were read as one ({evidence})", block = place_in_words(block), robbed = place_in_words(robbed), lacking = lacking.join(text!(" and "))))]
    PlotsMelted {
        /// Treatment.
        treatment: String,
        /// Block, in words.
        block: Box<str>,
        /// The block, in words, from which the trees are missing; it may be the same.
        robbed: Box<str>,
        /// Trees found.
        trees: u32,
        /// Trees of most plots.
        usual: u32,
        /// Treatments that this one lacks.
        lacking: Vec<String>,
        /// Rows.
        evidence: Evidence,
    },
    /// A factor of main plots varies within one.
    #[error("{}", say!("{factor} varies within {plot}: {} ({evidence}){counted}", levels.join(text!(" and ")), plot = place_in_words(plot), counted = found(*replicates)))]
    VariesWithin {
        /// Factor.
        factor: String,
        /// Main or sub plot, in words.
        plot: String,
        /// Levels found.
        levels: Vec<String>,
        /// Replicates of the rows, where main plots lie in replicates.
        replicates: Option<usize>,
        /// Rows.
        evidence: Evidence,
    },
    /// A factor cannot be told from blocks or from another factor.
    #[error("{}", say!("{factor} cannot be told from {with}: {detail}", with = known(with)))]
    Confounded {
        /// Factor.
        factor: String,
        /// Blocks or factor.
        with: String,
        /// Where they coincide.
        detail: String,
    },
    /// Rows, columns and treatments form no Latin square.
    #[error("{}", say!("no Latin square: {detail} ({evidence})"))]
    NotLatin {
        /// What is wrong.
        detail: String,
        /// Rows.
        evidence: Evidence,
    },
    /// The declared control is not a level of its factor.
    #[error("{}", say!("the control {level} is no level of {factor}, which has {}", levels.join(", ")))]
    NoControl {
        /// Factor.
        factor: String,
        /// Level declared.
        level: String,
        /// Levels found.
        levels: Vec<String>,
    },
    /// Declared checks that no plot carries, or no check at all.
    #[error("{}", say!("checks of the augmented design: {detail}"))]
    NoChecks {
        /// What is missing.
        detail: String,
    },
    /// Every treatment stands once.
    #[error("{}", say!("{what}: without repetition there is no error to compare with"))]
    OneReplicate {
        /// What stands once.
        what: String,
    },
    /// Nothing is left for error.
    #[error("{}", say!("{units} plots leave no degree of freedom for error beside {model}"))]
    NoErrorDf {
        /// Plots.
        units: usize,
        /// What uses them up.
        model: String,
    },
    /// The response does not vary.
    #[error("{}", say!("every plot has the same {observed}, {value}: there is no variation to analyse"))]
    AllEqual {
        /// Trait.
        observed: String,
        /// The value.
        value: f64,
    },
    /// Plots differ, but treatments and blocks account for them to the last digit.
    #[error("{}", say!("treatments and blocks reproduce every plot exactly: there is no error to compare with"))]
    NoError,
    /// The covariate is absent or does not vary.
    #[error("{}", say!("the covariate {name} {detail}"))]
    Covariate {
        /// Name.
        name: String,
        /// What is wrong.
        detail: String,
    },
    /// The model could not be fitted.
    #[error("{}", say!("the mixed model was not fitted: {reason}"))]
    NotFitted {
        /// Reason given by the fit.
        reason: String,
    },
}

/// How many replicates the rows make, as it stands behind what contradicts the design.
fn found(replicates: Option<usize>) -> String {
    replicates.map_or_else(String::new, |count| {
        say!("; the rows make {}", counted(count as u64, text!("replicate"), text!("replicates")))
    })
}

impl Refusal {
    /// The rows that say so, where some do.
    #[must_use]
    pub fn evidence(&self) -> Option<&Evidence> {
        match self {
            Refusal::EmptyCells { evidence, .. }
            | Refusal::LevelNotNumber { evidence, .. }
            | Refusal::NoFraction { evidence, .. }
            | Refusal::PlotsMelted { evidence, .. }
            | Refusal::TreeTwice { evidence, .. }
            | Refusal::InTwo { evidence, .. }
            | Refusal::TwoTreatments { evidence, .. }
            | Refusal::TreatmentTwice { evidence, .. }
            | Refusal::VariesWithin { evidence, .. }
            | Refusal::NotLatin { evidence, .. } => Some(evidence),
            _ => None,
        }
    }

    /// The same with the number of replicates that the rows make.
    pub(super) fn with_replicates(mut self, count: Option<usize>) -> Self {
        if let Refusal::TreatmentTwice { replicates, .. }
        | Refusal::VariesWithin { replicates, .. } = &mut self
        {
            *replicates = count;
        }
        self
    }

    /// What the user can do about it.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Refusal::NoRows { .. } => {
                text!(
                    "check the trait asked for, the seasons declared and the tree ids of the trial table"
                )
            }
            Refusal::NoFactors { .. } => text!("declare the factors in [trials.ID] of book.toml"),
            Refusal::FactorTwice { .. } => {
                text!("name each factor in one list of [trials.ID] only")
            }
            Refusal::TooManyTreatments { .. } => {
                text!("declare columns of treatments only, not of measurements or ids")
            }
            Refusal::NoColumn { .. } => {
                text!("name the column as the header of the trial table does, or add it")
            }
            Refusal::EmptyCells { .. } => {
                text!(
                    "fill the cells, or take these trees out of the trial; where they are the control beside a factorial, write control = { factor = \"FACTOR\", level = \"LEVEL\", beside_factorial = true } into the trial's section of book.toml"
                )
            }
            Refusal::LevelNotNumber { .. } => {
                text!(
                    "write the level as a plain number, give it a meaning under `values` of its file, or take the factor out of `amounts`"
                )
            }
            Refusal::NoFraction { .. } => {
                text!(
                    "write 15 % or 0.15 for 15 per cent, in the cells or by values = { \"HEADING\" = { \"15\" = 0.15 } } with a line for each level under [[files.trials]] of the file; `amounts` may name another unit where the levels are no part of the canopy"
                )
            }
            Refusal::PlotsMelted { .. } => {
                text!(
                    "correct the label of the mislabelled plot; where the labels are right, declare the column that tells plots apart, roles = { plot = \"COLUMN\" }"
                )
            }
            Refusal::OneLevel { .. } => text!("leave the factor out of the declaration"),
            Refusal::SeveralSites { .. } => text!("analyse each site and pool them"),
            Refusal::TreeTwice { .. } => text!("keep one row for each tree and season"),
            Refusal::InTwo { .. } => text!("correct the ids, so that each belongs to one"),
            Refusal::TwoTreatments { .. } => {
                text!("correct the treatment, or declare the column that tells its plots apart")
            }
            Refusal::TreatmentTwice { .. } => {
                text!(
                    "correct the treatment or the block; where these are trees of one plot, declare the plot column; where the treatment was repeated on purpose, declare a completely randomised design or incomplete blocks"
                )
            }
            Refusal::VariesWithin { .. } => {
                text!("correct the level, or declare the factor at the plots it was applied to")
            }
            Refusal::Confounded { .. } => {
                text!("leave one of the two out; the trial cannot separate them")
            }
            Refusal::NotLatin { .. } => {
                text!(
                    "correct row, column or treatment, or declare the design that was laid out; each replicate is a square of its own"
                )
            }
            Refusal::NoControl { .. } => text!("name the control as the trial table writes it"),
            Refusal::NoChecks { .. } => {
                text!(
                    "list in `checks` the treatments that stand in every block, as written in the table"
                )
            }
            Refusal::OneReplicate { .. } => {
                text!(
                    "use the plots as a demonstration, or repeat the treatments on further plots; trees of one plot are no repetition"
                )
            }
            Refusal::NoErrorDf { .. } => {
                text!("leave out a factor or repeat the treatments on further plots")
            }
            Refusal::AllEqual { .. } => text!("check the units and the column that was read"),
            Refusal::NoError => text!("check whether the column was computed from the treatments"),
            Refusal::Covariate { .. } => text!("name another covariate or leave it out"),
            Refusal::NotFitted { .. } => text!("analyse a simpler design of the same trial"),
        }
    }
}
