//! Trials of a book: what would be analysed, and how to declare those that are not.

use crate::console::Failure;
use crate::pipeline::Checked;
use crate::pipeline::trials::{DeclaredTrial, declared, undeclared};
use records::{TrialDeclaration, TrialDesign, TrialRoles, TrialTrait, counted};
use serde::Serialize;
use std::collections::BTreeMap;

/// A trial as `check` shows it.
#[derive(Debug, Clone, Serialize)]
pub struct FoundTrial {
    /// Id.
    pub trial: String,
    /// Trees in the trial table.
    pub trees: usize,
    /// Seasons that would be analysed.
    pub seasons: Vec<i32>,
    /// In words.
    pub summary: String,
    /// What a person should know.
    pub notes: Vec<String>,
    /// For a trial without a declaration: a section to begin with.
    pub declare: Option<String>,
}

/// Declared trials, then the others, each by id.
pub fn of(checked: &Checked) -> Result<Vec<FoundTrial>, Failure> {
    let mut found: Vec<FoundTrial> = declared(checked)?.into_iter().map(of_declared).collect();
    found.extend(
        undeclared(checked).into_iter().map(|(id, (trees, columns))| of_other(id, trees, columns)),
    );
    Ok(found)
}

fn of_declared(trial: DeclaredTrial) -> FoundTrial {
    let seasons: Vec<String> = trial.seasons.iter().map(ToString::to_string).collect();
    let traits: Vec<&str> =
        trial.observed.iter().map(|observed| observed.observed.name.as_str()).collect();
    let mut summary = format!(
        "{} design, {}",
        trial.declaration.design.words(),
        counted(trial.trees as u64, "tree", "trees")
    );
    if !traits.is_empty() {
        summary.push_str(&format!("; {} of {}", traits.join(", "), seasons.join(", ")));
    }
    FoundTrial {
        trial: trial.id,
        trees: trial.trees,
        seasons: trial.seasons,
        summary,
        notes: trial.notes,
        declare: None,
    }
}

fn of_other(id: String, trees: usize, columns: Vec<String>) -> FoundTrial {
    let factors = if columns.is_empty() { vec!["COLUMN".to_owned()] } else { columns };
    let start = TrialDeclaration {
        title: None,
        design: TrialDesign::RandomisedBlocks,
        factors,
        main_factors: Vec::new(),
        sub_factors: Vec::new(),
        sub_sub_factors: Vec::new(),
        amounts: BTreeMap::new(),
        roles: TrialRoles::default(),
        control: None,
        checks: Vec::new(),
        covariate: None,
        traits: vec![TrialTrait::NutYield],
        seasons: Vec::new(),
        letters: false,
    };
    FoundTrial {
        summary: format!(
            "{}, not declared: counts as evidence, and is not analysed by itself",
            counted(trees as u64, "tree", "trees")
        ),
        notes: vec![
            "To have it analysed, say in book.toml how it was laid out, for example:".to_owned(),
        ],
        declare: Some(start.snippet(&id)),
        trial: id,
        trees,
        seasons: Vec::new(),
    }
}
