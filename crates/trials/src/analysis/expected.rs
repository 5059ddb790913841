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
    let components = components(plan, &fit.expected);
    ExpectedMeanSquare { words: words(&components), components, effects: None }
}

/// Of a fixed term with the units behind each component in it.
pub(super) fn expected_term(plan: &Plan, behind: &[f64], term: usize) -> ExpectedMeanSquare {
    let groups = plan.groups_of(&plan.terms[term]);
    let sizes: Vec<usize> =
        groups.iter().map(|(_, cells)| cells.iter().map(|c| plan.cells[*c].units).sum()).collect();
    let equal = sizes.first().copied().filter(|first| sizes.iter().all(|s| s == first));
    let components = components(plan, behind);
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

fn components(plan: &Plan, behind: &[f64]) -> Vec<(String, f64)> {
    plan.strata
        .iter()
        .zip(behind)
        .rev()
        // Whole numbers of units, but for the rounding of a term's contrasts.
        .map(|(s, e)| (s.name.clone(), if (e - e.round()).abs() < 1e-6 { e.round() } else { *e }))
        .filter(|(_, e)| *e > 0.0)
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
