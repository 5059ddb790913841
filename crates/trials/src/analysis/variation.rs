//! Coefficients of variation and variance components by stratum.

use super::fitted::{Fitted, Way};
use super::quantiles::finite;
use super::result::{MeansOfTerm, VarianceComponentOfTrial, Variation};
use super::strata::counts;
use crate::design::{Plan, Refusal, StratumKind};
use words::{say, text};

/// Coefficients of variation; empty where the mean is not above 0. Where plots are lost the mean is
/// that of the adjusted means, as with the lost plots filled in: the plots that are left lean to the
/// treatments and blocks that lost none.
pub(super) fn variation(
    plan: &Plan,
    fitted: &Fitted,
    components: &[VarianceComponentOfTrial],
    means: &[MeansOfTerm],
    grand_mean: f64,
) -> Vec<Variation> {
    let balanced = matches!(fitted.way, Way::Strata(_));
    let adjusted = means.first().filter(|_| !balanced).and_then(|of| {
        let all: Option<Vec<f64>> = of.means.iter().map(|mean| mean.mean).collect();
        all.map(|all| all.iter().sum::<f64>() / all.len() as f64)
    });
    let mean = adjusted.unwrap_or(grand_mean);
    let over = if adjusted.is_some() {
        text!("the mean of the adjusted means")
    } else {
        text!("the mean")
    };
    if mean <= 0.0 {
        return Vec::new();
    }
    let mut out = Vec::new();
    let mut add = |name: &str, ms: f64, size: f64, how: &str| {
        let (Some(percent), Some(of_means)) =
            (finite(100.0 * ms.sqrt() / mean), finite(100.0 * (ms / size).sqrt() / mean))
        else {
            return;
        };
        let several = size > 1.0;
        out.push(Variation {
            stratum: name.to_owned(),
            percent,
            convention: say!("root of {how} over {over}"),
            percent_of_group_means: several.then_some(of_means),
            convention_of_group_means: several
                .then(|| say!("root of {how} divided by {}, over {over}", units_said(size))),
            units_per_group: several.then_some(size),
        });
    };
    match &fitted.way {
        Way::Strata(strata) => {
            for (stratum, fit) in plan.strata.iter().zip(&strata.strata) {
                if let (true, Some(ms)) = (stratum.kind != StratumKind::Blocks, fit.error_ms()) {
                    add(&stratum.name, ms, fit.size as f64, text!("the error mean square"));
                }
            }
        }
        Way::OneError { rss, df } => {
            let name = plan.strata.last().map_or("plots", |s| s.name.as_str());
            add(name, rss / *df as f64, 1.0, text!("the error mean square"));
        }
        Way::Mixed(_) => {
            for (s, stratum) in plan.strata.iter().enumerate() {
                if stratum.kind == StratumKind::Blocks {
                    continue;
                }
                let size = mean_size(plan, s);
                // The mean square that equal groups of that size would show.
                let mut ms = 0.0;
                for c in components {
                    let finer = plan.strata.iter().position(|t| t.name == c.stratum);
                    if let Some(t) = finer.filter(|t| *t >= s && within(plan, *t, s)) {
                        ms += c.variance * mean_size(plan, t);
                    }
                }
                let how = text!("the error mean square that the variance components stand for");
                add(&stratum.name, ms, size, how);
            }
        }
    }
    out
}

/// Units of a group in words; where groups differ, their harmonic mean with a decimal.
fn units_said(size: f64) -> String {
    if (size - size.round()).abs() < 1e-9 {
        say!("{size:.0} units per group")
    } else {
        say!("{size:.1} units per group (harmonic mean)")
    }
}

/// Whether every group of stratum `t` lies in one group of stratum `s`.
fn within(plan: &Plan, t: usize, s: usize) -> bool {
    let mut outer = vec![None; plan.strata[t].groups.len()];
    plan.strata[t].codes.iter().zip(&plan.strata[s].codes).all(|(inner, o)| {
        let seen = outer[*inner].get_or_insert(*o);
        *seen == *o
    })
}

/// Harmonic mean of the units by group.
fn mean_size(plan: &Plan, s: usize) -> f64 {
    let stratum = &plan.strata[s];
    let counts = counts(&stratum.codes, stratum.groups.len());
    counts.len() as f64 / counts.iter().map(|c| 1.0 / *c as f64).sum::<f64>()
}

/// Variance components: from mean squares where balanced, by REML in the mixed model.
///
/// # Errors
/// A profile of the mixed model that failed.
pub(super) fn components(
    plan: &Plan,
    fitted: &Fitted,
) -> Result<Vec<VarianceComponentOfTrial>, Refusal> {
    let mut out = Vec::new();
    match &fitted.way {
        Way::Strata(strata) => {
            let how = text!("from the mean squares of the strata");
            let mut found: Vec<Option<f64>> = vec![None; plan.strata.len()];
            for s in (0..plan.strata.len()).rev() {
                let fit = &strata.strata[s];
                let Some(mut left) = fit.error_ms() else { continue };
                let mut known = true;
                for (t, e) in fit.expected.iter().enumerate().filter(|(t, e)| *t != s && **e > 0.0)
                {
                    match found[t] {
                        Some(v) => left -= e * v,
                        None => known = false,
                    }
                }
                if known {
                    found[s] = Some(left / fit.expected[s]);
                }
            }
            for (stratum, variance) in plan.strata.iter().zip(found) {
                if let Some(variance) = variance {
                    out.push(component(&stratum.name, variance, None, how));
                }
            }
        }
        Way::OneError { rss, df } => {
            let name = plan.strata.last().map_or("plots", |s| s.name.as_str());
            out.push(component(name, rss / *df as f64, None, text!("residual mean square")));
        }
        Way::Mixed(fit) => {
            let how = text!("by REML");
            let all = fit
                .fit
                .variance_components()
                .map_err(|e| Refusal::NotFitted { reason: e.to_string() })?;
            for c in all.factors {
                let sd = c.standard_deviations.first().copied().unwrap_or(0.0);
                let upper = c.upper_limits.first().copied().flatten().map(|u| u * u);
                out.push(component(&c.factor, sd * sd, upper, how));
            }
            let name = plan.strata.last().map_or("plots", |s| s.name.as_str());
            out.push(component(name, all.residual * all.residual, None, how));
        }
    }
    Ok(out)
}

fn component(
    stratum: &str,
    variance: f64,
    upper: Option<f64>,
    how: &str,
) -> VarianceComponentOfTrial {
    VarianceComponentOfTrial { stratum: stratum.to_owned(), variance, upper, how: how.to_owned() }
}
