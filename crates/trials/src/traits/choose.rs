//! Which model or transformation a trait is analysed by, and why.

use super::TraitError;
use super::generalised::{self, Kind};
use super::result::{TraitAnalysis, TraitModel};
use super::transform::{self, box_cox};
use super::units::{evidence, spread_falls, totals};
use crate::design::Plan;
use crate::observations::{Observations, TraitKind};
use words::{say, text};

/// Analyses the trait of a plan by what its kind and its data call for: counts by Poisson or
/// negative binomial, proportions by binomial with or without clumping in plots, percentages on the
/// logit or arcsine scale, measurements as they are or on the scale that the residuals support.
/// `observed` are the observations that the plan was read from.
///
/// # Errors
/// A value that the kind does not allow, nothing that varies, or a model that was not fitted.
pub fn analyse_trait(plan: &Plan, observed: &Observations) -> Result<TraitAnalysis, TraitError> {
    let totals = totals(plan, observed)?;
    match observed.observed.kind {
        TraitKind::Count => {
            let rates: Vec<f64> =
                totals.sums.iter().zip(&totals.exposures).map(|(s, e)| s / e).collect();
            if totals.sums.iter().all(|s| *s == 0.0) {
                return Err(TraitError::NoVariation(say!("all counts are zero")));
            }
            generalised::analyse(plan, &totals, Kind::Count, evidence(plan, &rates))
        }
        TraitKind::Proportion => {
            let shares: Vec<f64> =
                totals.sums.iter().zip(&totals.exposures).map(|(s, e)| s / e).collect();
            for (edge, words) in
                [(0.0, text!("every share is 0")), (1.0, text!("every share is 1"))]
            {
                if shares.iter().all(|s| *s == edge) {
                    return Err(TraitError::NoVariation(words.to_owned()));
                }
            }
            generalised::analyse(plan, &totals, Kind::Share, evidence(plan, &shares))
        }
        TraitKind::Percentage => percentage(plan),
        TraitKind::Measured => measured(plan),
    }
}

fn percentage(plan: &Plan) -> Result<TraitAnalysis, TraitError> {
    let values = plan.values();
    let evidence = evidence(plan, &values);
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let (model, why) = if low >= 30.0 && high <= 70.0 {
        (
            TraitModel::AsMeasured,
            say!(
                "percentages from {low:.1} to {high:.1} lie between 30 and 70, where their variance \
                 hardly depends on the mean, and are analysed as they are"
            ),
        )
    } else if low <= 0.0 || high >= 100.0 {
        (
            TraitModel::Arcsine,
            say!(
                "percentages from {low:.1} to {high:.1} reach an end of the scale, where logits do \
                 not exist; arcsines of roots were analysed"
            ),
        )
    } else {
        (
            TraitModel::Logit,
            say!(
                "percentages from {low:.1} to {high:.1} come near an end of the scale, where their \
                 variance shrinks; logits were analysed (Warton and Hui 2011, Ecology 92:3-10)"
            ),
        )
    };
    let mut result = transform::analyse(plan, model, why, evidence)?;
    result.notes.push(say!(
        "The totals behind the percentages are not recorded: a count out of a total would allow a \
         binomial analysis, which is better where totals are small or unequal."
    ));
    Ok(result)
}

fn measured(plan: &Plan) -> Result<TraitAnalysis, TraitError> {
    let values = plan.values();
    let mut evidence = evidence(plan, &values);
    evidence.power = box_cox(plan, &values);
    let slope = evidence.variance_slope.map_or_else(String::new, |slope| {
        say!("; log variance changes by {slope:.1} per unit of log mean")
    });
    let (model, why) = match evidence.power {
        None => (
            TraitModel::AsMeasured,
            say!(
                "values of 0 or below, or too few plots, leave no power to choose: analysed as measured"
            ),
        ),
        Some((best, low, high)) => {
            let powers =
                say!("the residuals support powers from {low:.1} to {high:.1} (best {best:.1})");
            let range = format!("{powers}{slope}");
            if (low..=high).contains(&1.0) {
                (TraitModel::AsMeasured, say!("{range}: no transformation is called for"))
            } else if [0.0, 0.5].iter().any(|power| (low..=high).contains(power))
                && spread_falls(plan, &values)
            {
                (
                    TraitModel::AsMeasured,
                    say!(
                        "{range}: the residuals ask for roots or logarithms and the spread of the treatments, which falls as their mean rises, speaks against them; the two disagree, so that values are analysed as measured"
                    ),
                )
            } else if (low..=high).contains(&0.5) && !(low..=high).contains(&0.0) {
                (TraitModel::SquareRoot, say!("{range}: square roots were analysed"))
            } else if (low..=high).contains(&0.0) {
                (TraitModel::Logarithm, say!("{range}: logarithms were analysed"))
            } else {
                (
                    TraitModel::AsMeasured,
                    say!(
                        "{powers}, none of them customary{slope}: analysed as measured, see residuals"
                    ),
                )
            }
        }
    };
    transform::analyse(plan, model, why, evidence)
}
