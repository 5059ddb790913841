//! Trees within plots: their variance, which is never the error of treatments.

use super::fitted::{Fitted, Way};
use super::result::{Sampling, VarianceComponentOfTrial};
use crate::design::Plan;
use words::say;

/// Variance between trees of a plot; `None` where plots hold one tree.
pub(super) fn sampling(
    plan: &Plan,
    fitted: &Fitted,
    components: &[VarianceComponentOfTrial],
) -> Option<Sampling> {
    let words = say!(
        "Treatments were given to plots: plots are the replicates, trees only make their \
                 means more precise."
    );
    let residual = components.last()?.variance;
    // Over several seasons trees differ lastingly too, by a component of their own.
    let lasting = components.iter().rev().skip(1).find(|own| own.stratum == "trees");
    let of_trees = residual + lasting.map_or(0.0, |own| own.variance);
    if plan.units_are_trees {
        let plots = plan.plots as f64;
        let mut counts = std::collections::BTreeMap::new();
        for unit in &plan.units {
            *counts.entry((&unit.plot, unit.season)).or_insert(0_usize) += 1;
        }
        let inverse: f64 = counts.values().map(|c| 1.0 / *c as f64).sum();
        let df = plan.units.len().checked_sub(counts.len()).filter(|df| *df > 0)?;
        // Least squares with fixed plots is not what REML uses; its component is reported.
        let tree_variance = matches!(fitted.way, Way::Mixed(_)).then_some(of_trees)?;
        return (plots > 0.0).then_some(Sampling {
            trees: plan.units.len(),
            per_plot: counts.len() as f64 / inverse,
            tree_variance,
            df,
            plot_variance: None,
            words,
        });
    }
    let per_plot = plan.units.first()?.trees.len();
    if per_plot < 2 {
        return None;
    }
    let within: f64 =
        plan.units.iter().map(|u| u.trees.iter().map(|t| (t - u.value).powi(2)).sum::<f64>()).sum();
    let df = plan.units.len() * (per_plot - 1);
    let tree_variance = within / df as f64;
    Some(Sampling {
        trees: plan.units.len() * per_plot,
        per_plot: per_plot as f64,
        tree_variance,
        df,
        plot_variance: of_plots(plan, components)
            .map(|variance| variance - tree_variance / per_plot as f64),
        words,
    })
}

/// Variance between the means of plots in one season: what plots had in common over the seasons
/// beside what they had in one. Trees differ lastingly too and by season, and the variance between
/// trees of a plot and season is of both, so that it can be taken off the sum alone. `None` where
/// either is not known.
fn of_plots(plan: &Plan, components: &[VarianceComponentOfTrial]) -> Option<f64> {
    let units = plan.strata.last()?;
    let of = |name: &str| components.iter().find(|c| c.stratum == name).map(|c| c.variance);
    let in_season = of(&units.name)?;
    match units.name.strip_suffix(" x season") {
        Some(plots) if plan.strata.iter().any(|s| s.name == plots) => Some(in_season + of(plots)?),
        _ => Some(in_season),
    }
}
