//! Analysis on a transformed scale and the way back.

use super::TraitError;
use super::result::{NaturalDifference, NaturalMean, TraitAnalysis, TraitEvidence, TraitModel};
use crate::analysis::{Analysis, MeansOfTerm, analyse as analyse_plan};
use crate::checks::{LinearFit, plan_columns};
use crate::design::Plan;
use crate::distributions::NoncentralF;
use words::say;

/// The power of Box and Cox (1964, J. R. Stat. Soc. B 26:211-252) with the highest likelihood in steps of 0.05 from
/// -2 to 2, and the 95 % limits; `None` where a value is not positive, or fewer than 3 residual degrees of freedom are
/// left.
///
/// The likelihood is that of what blocks, plots and treatments leave. With the means of p columns integrated out over a
/// flat prior, of which a unit counts as the derivative of the power at the geometric mean g does, and the variance at
/// its best, n values y transformed as z = (y^power - 1) / (power g^(power - 1)) leave SS(z)^(-(n - p) / 2): the power of
/// g in the Jacobian, n (power - 1), less that of the prior, p (power - 1), cancels that of SS(y) to the power of half
/// the degrees of freedom. So they stand in place of n, as in section 5 of the same paper (from memory). With n a trial of
/// several seasons, whose plots take most of them, departs from additive normal errors in a quarter of the cases.
pub(super) fn box_cox(plan: &Plan, values: &[f64]) -> Option<(f64, f64, f64)> {
    if values.iter().any(|v| *v <= 0.0) {
        return None;
    }
    let (columns, _) = plan_columns(plan, true);
    let n = values.len() as f64;
    let log_mean = values.iter().map(|v| v.ln()).sum::<f64>() / n;
    // Values over their geometric mean keep the likelihoods of all powers comparable.
    let scaled: Vec<f64> = values.iter().map(|v| (v.ln() - log_mean).exp()).collect();
    let mut profile = Vec::new();
    for step in -40_i32..=40 {
        let power = f64::from(step) * 0.05;
        let y: Vec<f64> = scaled
            .iter()
            .map(|v| if step == 0 { v.ln() } else { (v.powf(power) - 1.0) / power })
            .collect();
        let fit = LinearFit::new(&y, &columns).ok()?;
        if fit.df() < 3 || fit.sum_of_squares() <= 0.0 {
            return None;
        }
        profile.push((power, -0.5 * fit.df() as f64 * fit.sum_of_squares().ln()));
    }
    let best = profile.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
    // Half the 95 % point of chi-squared with one degree of freedom.
    let inside = profile.iter().filter(|p| p.1 >= best.1 - 1.920_729_410_347_062);
    let (low, high) =
        inside.fold((f64::INFINITY, f64::NEG_INFINITY), |s, p| (s.0.min(p.0), s.1.max(p.0)));
    Some((best.0, low, high))
}

fn forward(model: TraitModel, value: f64) -> f64 {
    let share = value / 100.0;
    match model {
        TraitModel::SquareRoot => value.sqrt(),
        TraitModel::Logarithm => value.ln(),
        TraitModel::Arcsine => share.clamp(0.0, 1.0).sqrt().asin(),
        TraitModel::Logit => (share / (1.0 - share)).ln(),
        _ => value,
    }
}

fn back(model: TraitModel, value: f64) -> f64 {
    match model {
        // Below 0 and beyond a right angle the back transformation would turn round.
        TraitModel::SquareRoot => value.max(0.0).powi(2),
        TraitModel::Logarithm => value.exp(),
        TraitModel::Arcsine => 100.0 * value.clamp(0.0, std::f64::consts::FRAC_PI_2).sin().powi(2),
        TraitModel::Logit => 100.0 / (1.0 + (-value).exp()),
        _ => value,
    }
}

/// Analyses the transformed unit means and brings means and limits back.
pub(super) fn analyse(
    plan: &Plan,
    model: TraitModel,
    why: String,
    evidence: TraitEvidence,
) -> Result<TraitAnalysis, TraitError> {
    let mut changed = plan.clone();
    for unit in &mut changed.units {
        unit.value = forward(model, unit.value);
        let trees: Vec<f64> = unit.trees.iter().map(|tree| forward(model, *tree)).collect();
        // A tree at an end of the scale has no value there; its plot's mean has.
        unit.trees = if trees.iter().all(|t| t.is_finite()) { trees } else { vec![unit.value] };
    }
    let analysis =
        analyse_plan(&changed).map_err(|refusal| TraitError::Refused(Box::new(refusal)))?;
    let mut df: f64 = f64::INFINITY;
    let mut notes = Vec::new();
    let (mut means, mut differences) = (Vec::new(), Vec::new());
    if let Some((table, names)) = treatments(&analysis) {
        for (mean, name) in table.means.iter().zip(&names) {
            let (Some(estimate), Some(std_error), Some(own)) = (mean.mean, mean.std_error, mean.df)
            else {
                notes.push(say!("{name} cannot be estimated."));
                continue;
            };
            df = df.min(own);
            let t = critical(own)?;
            means.push(NaturalMean {
                treatment: name.clone(),
                mean: back(model, estimate),
                low: back(model, estimate - t * std_error),
                high: back(model, estimate + t * std_error),
                estimate,
                std_error,
            });
        }
        for pair in &table.pairs {
            let (Some(first), Some(second), Some(p_value)) =
                (names.get(pair.first), names.get(pair.second), pair.p)
            else {
                continue;
            };
            let reach = critical(pair.df)? * pair.std_error;
            let ratio = matches!(model, TraitModel::Logarithm | TraitModel::Logit).then(|| {
                let e = pair.difference;
                (e.exp(), (e - reach).exp(), (e + reach).exp())
            });
            differences.push(NaturalDifference {
                first: first.clone(),
                second: second.clone(),
                estimate: pair.difference,
                std_error: pair.std_error,
                ratio,
                p_value,
            });
        }
    }
    match model {
        TraitModel::AsMeasured => {}
        TraitModel::Logarithm => notes.push(say!(
            "Means brought back from logarithms are geometric means, and differences are ratios."
        )),
        _ => notes.push(say!(
            "Means brought back from a transformed scale are medians of plots rather than their \
             averages; tests belong to the transformed scale."
        )),
    }
    Ok(TraitAnalysis {
        model,
        why,
        evidence,
        means,
        differences,
        over_seasons: Vec::new(),
        over_seasons_covariance: Vec::new(),
        test: None,
        terms: Vec::new(),
        df: if df.is_finite() { df } else { 1.0 },
        analysis: Some(Box::new(analysis)),
        notes,
    })
}

/// The table that tells all treatments apart, with their names.
fn treatments(analysis: &Analysis) -> Option<(&MeansOfTerm, Vec<String>)> {
    let plan = &analysis.plan;
    analysis.means.iter().rev().find_map(|table| {
        let Some(position) = table.position else {
            return Some((table, table.means.iter().map(|m| m.levels.join(" / ")).collect()));
        };
        let groups = plan.groups_of(plan.terms.get(position)?);
        let single = groups.iter().all(|(_, cells)| cells.len() <= 1);
        single.then(|| (table, table.means.iter().map(|m| m.levels.join(" / ")).collect()))
    })
}

/// Two-sided 5 % point of t.
pub(super) fn critical(df: f64) -> Result<f64, TraitError> {
    NoncentralF::new(1.0, df, 0.0)
        .and_then(|f| f.upper_quantile(0.05))
        .map(f64::sqrt)
        .map_err(|error| TraitError::Fit(error.to_string()))
}
