//! One call from a plan to its analysis.

use super::anova::anova;
use super::columns::Columns;
use super::covariate::adjustment;
use super::curve::curves;
use super::efficiency::efficiency;
use super::fitted::{Fitted, Way};
use super::means::{has_means, means_of, treatments};
use super::polynomial::polynomials;
use super::residuals::residuals;
use super::result::{Analysis, Method, MethodUsed};
use super::sampling::sampling;
use super::variation::{components, variation};
use crate::design::{Plan, Refusal, StratumKind};
use std::collections::BTreeMap;
use words::say;

/// Wishes of the one who asks.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AnalysisOptions {
    /// Cost of a unit of an amount over the price of a unit of the response, by factor: asks for
    /// the economic optimum too.
    pub price_ratios: BTreeMap<String, f64>,
    /// Mixed model even where the trial is balanced, to compare.
    pub mixed_model: bool,
}

/// Analyses a plan: exactly by strata where it is balanced, by least squares where there is one
/// error, else by the mixed model.
///
/// # Errors
/// A [`Refusal`] where nothing is left for error or the mixed model could not be fitted.
pub fn analyse(plan: &Plan) -> Result<Analysis, Refusal> {
    analyse_with(plan, &AnalysisOptions::default())
}

/// As [`analyse`], with wishes.
///
/// # Errors
/// As for [`analyse`].
pub fn analyse_with(plan: &Plan, options: &AnalysisOptions) -> Result<Analysis, Refusal> {
    let fitted = &Fitted::with_columns(plan, Columns::new(plan), options.mixed_model)?;
    let y = plan.values();
    let grand_mean = y.iter().sum::<f64>() / y.len() as f64;
    let components = components(plan, fitted)?;
    let mut means: Vec<_> = (0..plan.terms.len())
        .filter(|t| has_means(plan, &plan.terms[*t]))
        .map(|t| means_of(plan, fitted, t))
        .collect();
    if plan.control.is_some() || plan.cells.iter().any(|c| c.check) {
        means.push(treatments(plan, fitted));
    }
    Ok(Analysis {
        method: method(plan, fitted),
        grand_mean,
        anova: anova(plan, fitted),
        variation: variation(plan, fitted, &components, &means, grand_mean),
        means,
        sampling: sampling(plan, fitted, &components),
        components,
        polynomials: polynomials(plan, fitted),
        curves: curves(plan, fitted, &options.price_ratios),
        covariate: adjustment(plan, fitted),
        efficiency: efficiency(plan, fitted),
        residuals: residuals(plan, &fitted.columns),
        notes: plan.notes.clone(),
        plan: plan.clone(),
    })
}

fn method(plan: &Plan, fitted: &Fitted) -> Method {
    let (used, why) = match &fitted.way {
        Way::Strata(_) => (MethodUsed::Strata, fitted.why.clone()),
        Way::OneError { .. } => (
            MethodUsed::LeastSquares,
            say!("{}; with one error and blocks as fixed, least squares is exact", fitted.why),
        ),
        Way::Mixed(_) => (
            MethodUsed::KenwardRoger,
            say!("{}, so that errors of several strata are weighed together", fitted.why),
        ),
    };
    let names = |fixed: bool| -> Vec<String> {
        let chosen = plan.strata.iter().filter(|s| (s.kind == StratumKind::Blocks) == fixed);
        chosen.map(|s| s.name.clone()).collect()
    };
    Method { used, why, fixed_blocks: names(true), random: names(false) }
}
