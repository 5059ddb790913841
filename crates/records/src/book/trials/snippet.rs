//! A declaration as lines of `book.toml`.

use super::{TrialDeclaration, TrialRoles};
use std::fmt::{self, Write as _};

/// Text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn list<T>(items: &[T], word: impl Fn(&T) -> String) -> String {
    let items: Vec<String> = items.iter().map(word).collect();
    format!("[{}]", items.join(", "))
}

impl TrialDeclaration {
    /// The section `[trials.ID]`, entries at their defaults left out; reading it gives the
    /// declaration back.
    #[must_use]
    pub fn snippet(&self, id: &str) -> String {
        let mut text = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut text, id);
        text
    }

    fn write(&self, out: &mut String, id: &str) -> fmt::Result {
        let bare = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        let key = if !id.is_empty() && id.chars().all(bare) { id.to_owned() } else { quoted(id) };
        writeln!(out, "[trials.{key}]")?;
        if let Some(title) = &self.title {
            writeln!(out, "title = {}", quoted(title))?;
        }
        writeln!(out, "design = {}", quoted(self.design.as_str()))?;
        let text = |item: &String| quoted(item);
        for (key, names) in [
            ("factors", &self.factors),
            ("main_factors", &self.main_factors),
            ("sub_factors", &self.sub_factors),
            ("sub_sub_factors", &self.sub_sub_factors),
            ("checks", &self.checks),
        ] {
            if !names.is_empty() {
                writeln!(out, "{key} = {}", list(names, text))?;
            }
        }
        if !self.amounts.is_empty() {
            let pairs: Vec<String> = self
                .amounts
                .iter()
                .map(|(factor, unit)| format!("{} = {}", quoted(factor), quoted(unit)))
                .collect();
            writeln!(out, "amounts = {{ {} }}", pairs.join(", "))?;
        }
        let usual = TrialRoles::default().replicate;
        let roles: Vec<String> = self
            .roles
            .named()
            .filter(|(role, column)| *role != "replicate" || *column != usual)
            .map(|(role, column)| format!("{role} = {}", quoted(column)))
            .collect();
        if !roles.is_empty() {
            writeln!(out, "roles = {{ {} }}", roles.join(", "))?;
        }
        if let Some(control) = &self.control {
            let beside = if control.beside_factorial { ", beside_factorial = true" } else { "" };
            let (factor, level) = (quoted(&control.factor), quoted(&control.level));
            writeln!(out, "control = {{ factor = {factor}, level = {level}{beside} }}")?;
        }
        if let Some(covariate) = &self.covariate {
            writeln!(out, "covariate = {}", quoted(covariate))?;
        }
        if self.traits != super::nut_yield() {
            let word = |of: &super::TrialTrait| quoted(of.as_str());
            writeln!(out, "traits = {}", list(&self.traits, word))?;
        }
        if !self.seasons.is_empty() {
            writeln!(out, "seasons = {}", list(&self.seasons, ToString::to_string))?;
        }
        if self.letters {
            writeln!(out, "letters = true")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use crate::{TrialControl, TrialDeclaration, TrialDesign, TrialRoles, TrialTrait};
    use std::collections::BTreeMap;

    #[derive(serde::Deserialize)]
    struct Read {
        trials: BTreeMap<String, TrialDeclaration>,
    }

    #[test]
    fn a_snippet_reads_back_whole() {
        let full = TrialDeclaration {
            title: Some("Dates \"and\" depths".to_owned()),
            design: TrialDesign::SplitPlot,
            factors: Vec::new(),
            main_factors: vec!["lead_days".to_owned()],
            sub_factors: vec!["cut depth".to_owned(), "dressing".to_owned()],
            sub_sub_factors: Vec::new(),
            amounts: [("cut depth".to_owned(), "fraction".to_owned())].into(),
            roles: TrialRoles {
                replicate: "rep".to_owned(),
                main_plot: Some("main_plot".to_owned()),
                site: Some("site".to_owned()),
                ..TrialRoles::default()
            },
            control: Some(TrialControl {
                factor: "cut depth".to_owned(),
                level: "0".to_owned(),
                beside_factorial: true,
            }),
            checks: Vec::new(),
            covariate: Some("earlier_crop".to_owned()),
            traits: vec![TrialTrait::NutYield, TrialTrait::ShareFlowering],
            seasons: vec![2024, 2025],
            letters: true,
        };
        let plain = TrialDeclaration {
            title: None,
            design: TrialDesign::RandomisedBlocks,
            factors: vec!["level".to_owned()],
            main_factors: Vec::new(),
            sub_factors: Vec::new(),
            amounts: BTreeMap::new(),
            roles: TrialRoles::default(),
            control: None,
            covariate: None,
            traits: vec![TrialTrait::NutYield],
            seasons: Vec::new(),
            letters: false,
            ..full.clone()
        };
        let text = format!("{}\n{}", full.snippet("dates"), plain.snippet("a b.c"));
        let read: Read = toml::from_str(&text).unwrap();
        assert_eq!(read.trials["dates"], full);
        assert_eq!(read.trials["a b.c"], plain);
        assert_eq!(plain.snippet("x").lines().count(), 3);
    }
}
