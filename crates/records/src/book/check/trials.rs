//! Checks the declaration of a trial against itself and against the trial table.

use super::Checker;
use crate::book::trials::SeenTrials;
use crate::written_amount;
use crate::{Book, Code, TrialDeclaration, TrialDesign};
use std::collections::BTreeMap;
use words::{Text, constant, say, text};

const SECTION_REMEDY: Text = constant!("`anacurve trial --help` shows an example of a declaration");

/// What can be seen without the table.
pub(super) fn alone(checker: &mut Checker<'_>, book: &Book) {
    for (id, trial) in &book.trials {
        let mut own = Own { checker: &mut *checker, table: format!("trials.{id}"), id, trial };
        own.factors_of_the_design();
        own.factors_once();
        own.control();
        own.roles();
        own.traits_and_seasons();
    }
}

/// Amounts and controls of what is no factor. Where a factor is at fault itself (none is declared,
/// or the table has no such column while it has the one of the amount), the names follow from it
/// and are left to the message on the factor, which names them.
pub(super) fn names(checker: &mut Checker<'_>, book: &Book, seen: Option<&SeenTrials>) {
    for (id, trial) in &book.trials {
        let mut own = Own { checker: &mut *checker, table: format!("trials.{id}"), id, trial };
        own.factor_names(seen);
    }
}

/// What needs the trial table: columns, levels and rows.
pub(super) fn against(checker: &mut Checker<'_>, book: &Book, seen: &SeenTrials) {
    for (id, trial) in &book.trials {
        let mut own = Own { checker: &mut *checker, table: format!("trials.{id}"), id, trial };
        own.columns(seen);
        own.control_level(seen);
    }
}

/// The lists of factors that a design needs.
fn lists_of(design: TrialDesign) -> &'static [&'static str] {
    match design {
        TrialDesign::SplitPlot | TrialDesign::StripPlot => &["main_factors", "sub_factors"],
        TrialDesign::SplitSplitPlot => &["main_factors", "sub_factors", "sub_sub_factors"],
        _ => &["factors"],
    }
}

struct Own<'c, 't, 'b> {
    checker: &'c mut Checker<'t>,
    table: String,
    id: &'b str,
    trial: &'b TrialDeclaration,
}

impl<'b> Own<'_, '_, 'b> {
    fn report(&mut self, key: &str, code: Code, what: &str, remedy: &str) {
        let what = say!("trial {}: {what}", self.id);
        // `roles.block` may stand as `roles = { block = .. }` or under a header of its own.
        let (outer, inner) = key.split_once('.').unwrap_or((key, ""));
        let nested = format!("{}.{outer}", self.table);
        let inline = super::super::locate::line_of(self.checker.text, &nested, Some(inner));
        let table = if inline.is_some() { nested } else { self.table.clone() };
        let key = if inline.is_some() { inner } else { outer };
        self.checker.report(&table, Some(key), code, what, remedy);
    }

    fn factors_of_the_design(&mut self) {
        let trial = self.trial;
        let lists = [
            ("factors", &trial.factors),
            ("main_factors", &trial.main_factors),
            ("sub_factors", &trial.sub_factors),
            ("sub_sub_factors", &trial.sub_sub_factors),
        ];
        let needed = lists_of(trial.design);
        let design = trial.design.as_str();
        for (key, list) in lists {
            if needed.contains(&key) && list.is_empty() {
                let what = say!("a {} design needs {key}", trial.design.words());
                let remedy = say!("add {key} = [\"COLUMN\", ..] with columns of the trial table");
                self.report("design", Code::SettingMissing, &what, &remedy);
            } else if !needed.contains(&key) && !list.is_empty() {
                let what = say!("a {} design has no {key}", trial.design.words());
                let remedy =
                    say!("design = {design:?} takes {}; move them there", needed.join(", "));
                self.report(key, Code::SettingImpossible, &what, &remedy);
            }
        }
        let augmented = trial.design == TrialDesign::AugmentedBlocks;
        if augmented && trial.checks.is_empty() {
            self.report(
                "design",
                Code::SettingMissing,
                text!("an augmented design needs checks, the treatments that stand in every block"),
                text!("add checks = [\"LEVEL\", ..]"),
            );
        } else if !augmented && !trial.checks.is_empty() {
            self.report(
                "checks",
                Code::SettingImpossible,
                text!("only an augmented design has checks"),
                text!("remove the line, or name the treatment to compare with under control"),
            );
        }
    }

    fn factors_once(&mut self) {
        let mut uses: BTreeMap<&str, &str> = BTreeMap::new();
        for (key, factor) in self.trial.keyed_factors() {
            if factor.trim().is_empty() {
                self.report(
                    key,
                    Code::SettingMissing,
                    &say!("{key} holds an empty name"),
                    text!("name a column of the trial table"),
                );
            } else if let Some(before) = uses.insert(factor, key) {
                let what = if before == key {
                    say!("factor '{factor}' stands twice in {key}")
                } else {
                    say!("factor '{factor}' stands in {before} and in {key}")
                };
                self.report(key, Code::SettingImpossible, &what, text!("keep one of the two"));
            }
        }
    }

    fn factor_names(&mut self, seen: Option<&SeenTrials>) {
        let trial = self.trial;
        let is_missing = |key: &&'static str| !trial.keyed_factors().any(|(own, _)| own == *key);
        if lists_of(trial.design).iter().any(is_missing) {
            return;
        }
        // Columns of the table that stand for a factor that the table has not.
        let meant = seen.map(|seen| self.meant(seen)).unwrap_or_default();
        for column in trial.amounts.keys() {
            if !trial.has_factor(column) && !meant.contains(&column.as_str()) {
                self.report(
                    "amounts",
                    Code::SettingImpossible,
                    &say!("amounts names '{column}', which is no factor of the trial"),
                    text!("list it among the factors too, or remove it from amounts"),
                );
            }
        }
        if let Some(control) = &trial.control
            && !trial.has_factor(&control.factor)
            && !meant.contains(&control.factor.as_str())
        {
            self.report(
                "control",
                Code::SettingImpossible,
                &say!("control names '{}', which is no factor of the trial", control.factor),
                text!("name one of the factors"),
            );
        }
    }

    /// Where a factor is no column of the table: columns that are, and that amounts or control name
    /// as factors.
    fn meant(&self, seen: &SeenTrials) -> Vec<&'b str> {
        let trial = self.trial;
        let is_absent = |(_, factor): (_, &str)| !seen.columns.contains(factor);
        if !trial.keyed_factors().any(is_absent) {
            return Vec::new();
        }
        let controls = trial.control.iter().map(|control| control.factor.as_str());
        let mut meant: Vec<&str> = trial.amounts.keys().map(String::as_str).collect();
        meant.extend(controls);
        meant.retain(|column| !trial.has_factor(column) && seen.columns.contains(*column));
        meant.sort_unstable();
        meant.dedup();
        meant
    }

    fn control(&mut self) {
        let trial = self.trial;
        let Some(control) = &trial.control else { return };
        if control.level.trim().is_empty() {
            self.report(
                "control",
                Code::SettingMissing,
                text!("control has no level"),
                text!("write the level of the control plots as it stands in the trial table"),
            );
        }
        let alone = trial.keyed_factors().count() < 2;
        if control.beside_factorial && alone {
            self.report(
                "control",
                Code::SettingImpossible,
                text!("a control beside a factorial needs two factors or more"),
                text!("remove beside_factorial: the control is one of the levels"),
            );
        }
    }

    fn roles(&mut self) {
        let trial = self.trial;
        let needed: &[&str] = match trial.design {
            TrialDesign::LatinSquare => &["row", "column"],
            TrialDesign::IncompleteBlocks => &["block"],
            _ => &[],
        };
        for role in needed {
            if !trial.roles.named().any(|(own, _)| own == *role) {
                self.report(
                    "design",
                    Code::SettingMissing,
                    &say!("a {} design needs the role {role}", trial.design.words()),
                    &say!("add roles = {{ {role} = \"COLUMN\" }} with a column of the trial table"),
                );
            }
        }
        let mut uses: BTreeMap<&str, &str> = BTreeMap::new();
        for (role, column) in trial.roles.named() {
            let key = format!("roles.{role}");
            if let Some(before) = uses.insert(column, role) {
                let what = say!("column '{column}' is both {before} and {role}");
                self.report(
                    &key,
                    Code::SettingImpossible,
                    &what,
                    text!("give each role a column of its own"),
                );
            }
            if trial.has_factor(column) {
                let what = say!("column '{column}' is both {role} and a factor");
                self.report(
                    &key,
                    Code::SettingImpossible,
                    &what,
                    text!("a factor is a treatment; name the column of the plots"),
                );
            }
        }
        if let Some(covariate) = &trial.covariate
            && (trial.has_factor(covariate) || uses.contains_key(covariate.as_str()))
        {
            self.report(
                "covariate",
                Code::SettingImpossible,
                &say!("the covariate '{covariate}' is a factor or a role too"),
                text!("a covariate is measured before the trial: earlier_crop, girth_cm or a column of its own"),
            );
        }
    }

    fn traits_and_seasons(&mut self) {
        let trial = self.trial;
        if trial.traits.is_empty() {
            self.report(
                "traits",
                Code::SettingMissing,
                text!("traits is empty, so nothing would be analysed"),
                text!("remove the line for nut yield, or name what is analysed"),
            );
        }
        let mut traits = trial.traits.clone();
        traits.sort_unstable();
        traits.dedup();
        let mut seasons = trial.seasons.clone();
        seasons.sort_unstable();
        seasons.dedup();
        if traits.len() < trial.traits.len() {
            self.report(
                "traits",
                Code::SettingImpossible,
                text!("a trait is named twice"),
                text!("keep it once"),
            );
        }
        if seasons.len() < trial.seasons.len() {
            self.report(
                "seasons",
                Code::SettingImpossible,
                text!("a season is named twice"),
                text!("keep it once"),
            );
        }
        if let Some(far) = seasons.iter().find(|season| !(1900..=2200).contains(*season)) {
            self.report(
                "seasons",
                Code::SettingImpossible,
                &say!("season {far} lies outside 1900 to 2200"),
                text!("write the year in which the harvest window opens"),
            );
        }
    }

    fn columns(&mut self, seen: &SeenTrials) {
        let trial = self.trial;
        let known = || {
            let names: Vec<&str> = seen.columns.iter().map(String::as_str).collect();
            say!("name one of its columns: {}", names.join(", "))
        };
        let absent = |column: &str| !seen.columns.contains(column);
        let meant = self.meant(seen).join(", ");
        for (key, factor) in trial.keyed_factors() {
            if absent(factor) && !factor.trim().is_empty() {
                let what = say!("the trial table has no column '{factor}' for a factor");
                let remedy = if meant.is_empty() {
                    known()
                } else {
                    say!(
                        "write the column that amounts or control names as a factor already, {meant}, or {}",
                        known()
                    )
                };
                self.report(key, Code::ColumnMissing, &what, &remedy);
            }
        }
        for (role, column) in trial.roles.named() {
            if absent(column) && !SeenTrials::GIVEN.contains(&column) {
                let what = say!("the trial table has no column '{column}' for the role {role}");
                self.report(&format!("roles.{role}"), Code::ColumnMissing, &what, &known());
            }
        }
        if let Some(covariate) = &trial.covariate
            && absent(covariate)
            && !SeenTrials::COVARIATES.contains(&covariate.as_str())
        {
            let what = say!(
                "the covariate '{covariate}' is neither earlier_crop nor girth_cm nor a column of the trial table"
            );
            self.report("covariate", Code::ColumnMissing, &what, &known());
        }
    }

    fn control_level(&mut self, seen: &SeenTrials) {
        let (Some(control), Some(levels)) = (&self.trial.control, seen.levels.get(self.id)) else {
            return;
        };
        let Some(levels) = levels.get(&control.factor) else { return };
        let unit = self.trial.amounts.get(&control.factor);
        let number = |text: &str| match unit {
            Some(unit) => written_amount(text, unit),
            None => text.parse::<f64>().ok(),
        };
        let same = |level: &String| {
            level == &control.level
                || matches!((number(level), number(&control.level)), (Some(a), Some(b)) if a.total_cmp(&b).is_eq())
        };
        if !levels.iter().any(same) {
            let names: Vec<&str> = levels.iter().take(12).map(String::as_str).collect();
            let what = say!(
                "no plot of the trial has the control's level '{}' of factor '{}'",
                control.level,
                control.factor
            );
            let remedy = if names.is_empty() {
                SECTION_REMEDY.into()
            } else {
                say!("the table holds {}", names.join(", "))
            };
            self.report("control", Code::SettingImpossible, &what, &remedy);
        }
    }
}
