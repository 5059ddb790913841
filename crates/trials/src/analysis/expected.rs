//! Expected mean squares of a balanced trial, in coefficients and in words.

use super::result::ExpectedMeanSquare;
use super::strata::StratumFit;
use crate::design::Plan;
use crate::names::name_in_words;
use words::say;

/// Of blocks.
pub(super) fn expected_blocks(plan: &Plan, fit: &StratumFit) -> ExpectedMeanSquare {
    expected_error(plan, fit)
}

/// Of the error of a stratum (Nelder 1965).
pub(super) fn expected_error(plan: &Plan, fit: &StratumFit) -> ExpectedMeanSquare {
    let components = components(plan, fit);
    ExpectedMeanSquare { words: words(&components), components, effects: None }
}

/// Of a fixed term.
pub(super) fn expected_term(plan: &Plan, fit: &StratumFit, term: usize) -> ExpectedMeanSquare {
    let groups = plan.groups_of(&plan.terms[term]);
    let sizes: Vec<usize> =
        groups.iter().map(|(_, cells)| cells.iter().map(|c| plan.cells[*c].units).sum()).collect();
    let equal = sizes.first().copied().filter(|first| sizes.iter().all(|s| s == first));
    let components = components(plan, fit);
    let effects = match equal {
        Some(size) => say!("{size} x sum of squared effects / df"),
        None => say!("sum of squared effects by units / df"),
    };
    ExpectedMeanSquare {
        words: format!("{} + {effects}", words(&components)),
        components,
        effects: equal.map(|s| s as f64),
    }
}

fn components(plan: &Plan, fit: &StratumFit) -> Vec<(String, f64)> {
    plan.strata
        .iter()
        .zip(&fit.expected)
        .rev()
        .filter(|(_, e)| **e > 0.0)
        .map(|(s, e)| (s.name.clone(), *e))
        .collect()
}

fn words(components: &[(String, f64)]) -> String {
    let terms: Vec<String> = components
        .iter()
        .map(|(name, k)| {
            if *k == 1.0 {
                say!("variance of {name}", name = name_in_words(name))
            } else {
                say!("{k} x variance of {name}", name = name_in_words(name))
            }
        })
        .collect();
    terms.join(" + ")
}
