//! Trials of a book: what would be analysed, and how to declare those that are not.

use crate::console::Failure;
use crate::pipeline::Checked;
use crate::pipeline::trials::{DeclaredTrial, declared, looked_through, undeclared};
use records::{
    Code, Place, Problem, Severity, TrialDeclaration, TrialDesign, TrialRoles, TrialTrait,
    common_form, counted,
};
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::Path;
use trials::{Evidence, Slip};
use words::{say, text};

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

/// Declared trials, then the others, each by id; and what keeps a declared trial from being
/// analysed, as far as it shows without fitting.
pub fn of(checked: &Checked, book: &Path) -> Result<(Vec<FoundTrial>, Vec<Problem>), Failure> {
    let trials = declared(checked)?;
    let problems = trial_problems(checked, &trials, book);
    let mut found: Vec<FoundTrial> = trials.into_iter().map(of_declared).collect();
    found.extend(
        undeclared(checked).into_iter().map(|(id, (trees, columns))| of_other(id, trees, columns)),
    );
    Ok((found, problems))
}

/// What keeps declared trials from being analysed, and what looks mistyped in them.
#[must_use]
pub fn trial_problems<'a>(
    checked: &Checked,
    trials: impl IntoIterator<Item = &'a DeclaredTrial>,
    book: &Path,
) -> Vec<Problem> {
    // A file that changed meanwhile is told before anything is printed.
    let toml = std::fs::read_to_string(book.join("book.toml")).unwrap_or_default();
    trials.into_iter().flat_map(|trial| problems(checked, trial, &toml)).collect()
}

/// Why a trial, or a trait of it, would not be analysed.
fn problems(checked: &Checked, trial: &DeclaredTrial, toml: &str) -> Vec<Problem> {
    let book = &checked.tables.book;
    let section = |key: Option<&str>| {
        book.trial_key_place(toml, &trial.id, key)
            .map_or_else(|| Place::file("book.toml"), |line| Place::line("book.toml", line))
    };
    let is_told = |place: &Place| {
        let known = &checked.tables.problems;
        known.iter().any(|known| known.code == Code::TrialWithoutRows && known.place == *place)
    };
    let mut found = Vec::new();
    for why in trial.not_analysed.iter().filter(|why| !why.waits) {
        let code = if trial.trees == 0 { Code::TrialWithoutRows } else { Code::TrialNotAnalysed };
        let place = section(why.key);
        if trial.trees > 0 || !is_told(&place) {
            let what = say!("trial {}: {}", trial.id, why.what);
            found.push(Problem::new(place, Severity::Warning, code, what, why.remedy.as_str()));
        }
    }
    for doubt in &trial.doubts {
        let what = say!("trial {}: {}", trial.id, doubt.what);
        let (place, code) = (doubt.place.clone(), Code::TrialSlip);
        found.push(Problem::new(place, Severity::Warning, code, what, doubt.remedy.as_str()));
    }
    let (refusals, slips) = looked_through(trial);
    let first = |rows: Option<&Evidence>| {
        let places = rows.map_or(&[][..], |rows| rows.places.as_slice());
        places.iter().filter_map(|place| row_place(place)).min()
    };
    for slip in slips.into_iter().filter(|slip| !is_told_as_ids(checked, slip)) {
        let place = first(Some(slip.evidence())).unwrap_or_else(|| section(Some("design")));
        let what = say!("trial {}: {}", trial.id, slip.what());
        let code = Code::TrialSlip;
        found.push(Problem::new(place, Severity::Warning, code, what, slip.remedy()));
    }
    for refusal in refusals {
        let place = first(refusal.evidence()).unwrap_or_else(|| section(Some("design")));
        let what = say!("trial {} cannot be analysed as declared: {refusal}", trial.id);
        let code = Code::TrialNotAnalysed;
        found.push(Problem::new(place, Severity::Warning, code, what, refusal.remedy()));
    }
    found
}

/// Whether reading told two levels already that the eye takes for one another.
fn is_told_as_ids(checked: &Checked, slip: &Slip) -> bool {
    let Slip::Alike { column, first, second, .. } = slip else { return false };
    let is_of_column =
        |known: &Problem| known.code == Code::IdsAlike && known.what.starts_with(&**column);
    common_form(first) == common_form(second) && checked.tables.problems.iter().any(is_of_column)
}

/// A place as it is printed, `file:line`.
fn row_place(text: &str) -> Option<Place> {
    let (file, line) = text.rsplit_once(':')?;
    Some(Place::line(file, line.parse().ok()?))
}

fn of_declared(trial: DeclaredTrial) -> FoundTrial {
    let seasons: Vec<String> = trial.seasons.iter().map(ToString::to_string).collect();
    let traits: Vec<&str> =
        trial.observed.iter().map(|observed| observed.observed.name.as_str()).collect();
    let mut summary = format!(
        "{}, {}",
        trial.declaration.design.name(),
        counted(trial.trees as u64, text!("tree"), text!("trees"))
    );
    if !traits.is_empty() {
        summary.push_str(&format!("; {}: {}", traits.join(", "), seasons.join(", ")));
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
        summary: say!(
            "{}, not declared: counts as evidence, and is not analysed by itself",
            counted(trees as u64, text!("tree"), text!("trees"))
        ),
        notes: vec![
            text!("To have it analysed, say in book.toml how it was laid out, for example:")
                .to_owned(),
        ],
        declare: Some(start.snippet(&id)),
        trial: id,
        trees,
        seasons: Vec::new(),
    }
}
