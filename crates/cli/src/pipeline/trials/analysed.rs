//! Declared trials analysed, trait by trait and site by site.

use super::DeclaredTrial;
use super::counts::trait_of;
use super::pooling::{PooledTrait, by_season, kept, over_sites};
use super::words::treatment_words;
use records::{TrialDeclaration, TrialTrait};
use serde::Serialize;
use std::collections::BTreeSet;
use trials::traits::{TraitAnalysis, analyse_trait};
use trials::{
    Analysis, AnalysisOptions, Observations, Plan, Refusal, Slip, Trait, TraitKind, analyse_with,
};

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
    /// The analysis of variance (of rates and shares for counts), or why there is none.
    pub outcome: Result<Analysis, Refusal>,
    /// The trait on the scale that suits it, or why not.
    pub own_scale: Result<TraitAnalysis, String>,
}

/// A trial analysed.
#[derive(Debug, Clone)]
pub struct AnalysedTrial {
    /// What was declared and observed.
    pub declared: DeclaredTrial,
    /// Trait by trait, sites in order.
    pub parts: Vec<AnalysedPart>,
    /// Sites together, and seasons beside each other.
    pub pooled: Vec<PooledTrait>,
}

impl AnalysedTrial {
    /// Rows that look mistyped, each once whatever the traits and sites that show it.
    #[must_use]
    pub fn slips(&self) -> Vec<&Slip> {
        let mut found: Vec<&Slip> = Vec::new();
        for slip in self.parts.iter().flat_map(|part| &part.outcome).flat_map(|a| &a.plan.slips) {
            if !found.contains(&slip) {
                found.push(slip);
            }
        }
        found
    }
}

/// Analyses a trial: each trait at each site by itself, then sites and seasons together.
#[must_use]
pub fn analysed(declared: DeclaredTrial) -> AnalysedTrial {
    let (mut parts, mut pooled) = (Vec::new(), Vec::new());
    let declaration = &declared.declaration;
    for observed in &declared.observed {
        let names = sites(declaration, observed);
        if names.len() < 2 {
            parts.push(part(&declared, observed.clone(), None));
            pooled.extend(by_season(declaration, observed));
            continue;
        }
        let own = |site: String| {
            let rows = at_site(declaration, observed, &site);
            (site, rows)
        };
        let each: Vec<(String, Observations)> = names.into_iter().map(own).collect();
        pooled.push(over_sites(declaration, observed, &each, declared.price_ratio));
        parts.extend(each.into_iter().map(|(site, rows)| part(&declared, rows, Some(site))));
    }
    AnalysedTrial { declared, parts, pooled }
}

/// What the rows of a trial contradict in its declaration, and what looks mistyped in them, trait by
/// trait and site by site, without fitting anything.
#[must_use]
pub fn looked_through(declared: &DeclaredTrial) -> (Vec<Refusal>, Vec<Slip>) {
    let declaration = &declared.declaration;
    let (mut found, mut slips): (Vec<Refusal>, Vec<Slip>) = (Vec::new(), Vec::new());
    for observed in &declared.observed {
        let names = sites(declaration, observed);
        let each = if names.len() < 2 {
            vec![observed.clone()]
        } else {
            names.iter().map(|site| at_site(declaration, observed, site)).collect()
        };
        for rows in each {
            match Plan::read(declaration, &rates(&rows)) {
                Err(refusal) if !found.contains(&refusal) => found.push(refusal),
                Err(_) => {}
                Ok(plan) => {
                    for slip in plan.slips {
                        if !slips.contains(&slip) {
                            slips.push(slip);
                        }
                    }
                }
            }
        }
    }
    (found, slips)
}

/// The analysis of some rows.
pub(super) fn part_of(
    declaration: &TrialDeclaration,
    rows: &Observations,
    price_ratio: Option<f64>,
) -> Result<Analysis, Refusal> {
    // Money can be made of yield alone, and the book prices a fraction of the canopy.
    let priced = price_ratio.filter(|_| rows.observed == trait_of(TrialTrait::NutYield));
    let price_ratios = declaration
        .amounts
        .iter()
        .filter(|(_, unit)| *unit == "fraction")
        .filter_map(|(factor, _)| Some((factor.clone(), priced?)))
        .collect();
    let options = AnalysisOptions { price_ratios, ..AnalysisOptions::default() };
    Plan::read(declaration, &rates(rows)).and_then(|plan| analyse_with(&plan, &options))
}

/// Counts by their exposure and successes by their totals; measurements as they are.
pub(super) fn rates(rows: &Observations) -> Observations {
    let Some(exposure) = &rows.exposure else { return rows.clone() };
    let values = rows.values.iter().zip(exposure);
    let values = values.map(|(value, of)| if *of > 0.0 { value / of } else { f64::NAN });
    let mut out = rows.clone();
    out.values = values.collect();
    out.exposure = None;
    out.observed.kind = TraitKind::Measured;
    out
}

fn part(declared: &DeclaredTrial, rows: Observations, site: Option<String>) -> AnalysedPart {
    let declaration = &declared.declaration;
    let outcome = part_of(declaration, &rows, declared.price_ratio);
    let own_scale = Plan::read(declaration, &rows)
        .map_err(|refusal| refusal.to_string())
        .and_then(|plan| analyse_trait(&plan, &rows).map_err(|error| error.to_string()))
        .map(|found| in_words(declaration, found));
    AnalysedPart { observed: rows.observed.clone(), site, rows, outcome, own_scale }
}

/// The same with treatments as people write them.
fn in_words(declaration: &TrialDeclaration, mut found: TraitAnalysis) -> TraitAnalysis {
    for mean in found.means.iter_mut().chain(&mut found.over_seasons) {
        mean.treatment = treatment_words(declaration, &mean.treatment);
    }
    for pair in &mut found.differences {
        pair.first = treatment_words(declaration, &pair.first);
        pair.second = treatment_words(declaration, &pair.second);
    }
    found
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
    kept(of, &keep)
}
