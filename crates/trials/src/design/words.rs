//! The model of a plan in words.

use super::factor::{FactorPlace, PlanFactor};
use super::plan::{Stratum, StratumKind};
use crate::amount_words;
use crate::names::name_in_words;
use records::TrialDesign;
use words::{capital, say};

/// Sentences: the design, its treatments, what they were randomised to and the errors.
pub(super) fn words(
    design: TrialDesign,
    factors: &[PlanFactor],
    control: Option<&str>,
    checks: &[String],
    strata: &[Stratum],
    plots: usize,
) -> Vec<String> {
    let mut out = Vec::new();
    let named: Vec<String> = factors
        .iter()
        .map(|f| {
            let levels: Vec<String> = match &f.amounts {
                Some(a) => a.values.iter().map(|value| amount_words(*value, &a.unit)).collect(),
                None => f.levels.clone(),
            };
            format!("{} ({})", name_in_words(&f.name), levels.join(", "))
        })
        .collect();
    out.push(say!("{}, {plots} plots; treatments: {}.", capital(design.name()), list(&named)));
    let of = |place: FactorPlace| -> String {
        let names = factors.iter().filter(|f| f.place == place).map(|f| name_in_words(&f.name));
        names.collect::<Vec<_>>().join(" x ")
    };
    match design {
        TrialDesign::SplitPlot | TrialDesign::SplitSplitPlot => {
            out.push(say!(
                "Main plots are replicate x {} and carry the error for {}.",
                of(FactorPlace::MainPlots),
                of(FactorPlace::MainPlots)
            ));
            out.push(say!(
                "{} was randomised to sub plots within main plots.",
                of(FactorPlace::SubPlots)
            ));
            if design == TrialDesign::SplitSplitPlot {
                out.push(say!(
                    "{} was randomised to sub-sub plots within sub plots.",
                    of(FactorPlace::SubSubPlots)
                ));
            }
        }
        TrialDesign::StripPlot => out.push(say!(
            "In each replicate {} lies in strips one way and {} in strips across; each has its own \
             error, and their interaction that of the crossings.",
            of(FactorPlace::MainPlots),
            of(FactorPlace::SubPlots)
        )),
        TrialDesign::AugmentedBlocks => out.push(say!(
            "The checks {} stand in the blocks and carry the error; new entries are adjusted for \
             their block.",
            list(checks)
        )),
        _ => {}
    }
    if let Some(control) = control {
        out.push(say!(
            "The control {control} stands beside the factorial: it is compared with the mean of the \
             rest, and main effects and interactions are those of the rest."
        ));
    }
    if let Some(season) = factors.iter().find(|f| f.place == FactorPlace::Seasons) {
        out.push(say!(
            "The same plots were observed in {} seasons: the plot is the subject, and effects that \
             differ between seasons have the error of plots x season (equal correlation between \
             any two seasons is assumed).",
            season.levels.len()
        ));
    }
    let errors: Vec<String> = strata
        .iter()
        .filter(|s| s.kind != StratumKind::Blocks)
        .map(|s| name_in_words(&s.name))
        .collect();
    out.push(say!("Errors: {}.", list(&errors)));
    out
}

/// `a, b and c`.
pub(crate) fn list(items: &[String]) -> String {
    match items {
        [] => say!("none"),
        [one] => one.clone(),
        [rest @ .., last] => say!("{} and {last}", rest.join(", ")),
    }
}
