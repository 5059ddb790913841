//! Declared trials analysed, trait by trait and site by site.

use super::DeclaredTrial;
use records::TrialDeclaration;
use serde::Serialize;
use std::collections::BTreeSet;
use trials::{Analysis, Observations, Plan, Refusal, Trait, analyse};

/// One trait of a trial at one site.
#[derive(Debug, Clone, Serialize)]
pub struct AnalysedPart {
    /// What was observed.
    pub observed: Trait,
    /// The site, where the trial stands at several.
    pub site: Option<String>,
    /// The rows analysed.
    #[serde(skip)]
    pub rows: Observations,
    /// The analysis, or why there is none.
    pub outcome: Result<Analysis, Refusal>,
}

/// A trial analysed.
#[derive(Debug, Clone)]
pub struct AnalysedTrial {
    /// What was declared and observed.
    pub declared: DeclaredTrial,
    /// Trait by trait, sites in order.
    pub parts: Vec<AnalysedPart>,
}

/// Analyses a trial: each trait at each site by itself.
#[must_use]
pub fn analysed(declared: DeclaredTrial) -> AnalysedTrial {
    let mut parts = Vec::new();
    for observed in &declared.observed {
        let sites = sites(&declared.declaration, observed);
        if sites.len() < 2 {
            parts.push(part(&declared.declaration, observed.clone(), None));
            continue;
        }
        for site in sites {
            let own = at_site(&declared.declaration, observed, &site);
            parts.push(part(&declared.declaration, own, Some(site)));
        }
    }
    AnalysedTrial { declared, parts }
}

fn part(declaration: &TrialDeclaration, rows: Observations, site: Option<String>) -> AnalysedPart {
    let outcome = Plan::read(declaration, &rows).and_then(|plan| analyse(&plan));
    AnalysedPart { observed: rows.observed.clone(), site, rows, outcome }
}

/// Sites of a trial, in order; none when it declares none.
fn sites(declaration: &TrialDeclaration, observed: &Observations) -> Vec<String> {
    let column = declaration.roles.site.as_ref().and_then(|site| observed.columns.get(site));
    let names: BTreeSet<&String> = column.into_iter().flatten().flatten().collect();
    names.into_iter().cloned().collect()
}

/// The rows of one site.
fn at_site(declaration: &TrialDeclaration, of: &Observations, site: &str) -> Observations {
    let column = declaration.roles.site.as_ref().and_then(|name| of.columns.get(name));
    let keep: Vec<bool> = (0..of.len())
        .map(|row| column.and_then(|cells| cells.get(row)?.as_deref()) == Some(site))
        .collect();
    fn kept<T: Clone>(values: &[T], keep: &[bool]) -> Vec<T> {
        values.iter().zip(keep).filter(|(_, keep)| **keep).map(|(v, _)| v.clone()).collect()
    }
    Observations {
        trial: of.trial.clone(),
        observed: of.observed.clone(),
        values: kept(&of.values, &keep),
        exposure: of.exposure.as_ref().map(|exposure| kept(exposure, &keep)),
        columns: of.columns.iter().map(|(name, c)| (name.clone(), kept(c, &keep))).collect(),
        numbers: of.numbers.iter().map(|(name, c)| (name.clone(), kept(c, &keep))).collect(),
        tree: kept(&of.tree, &keep),
        season: kept(&of.season, &keep),
        place: kept(&of.place, &keep),
    }
}
