//! Variance components that an analysed trial gives for the size of the next one.

use super::components::Components;
use crate::analysis::Analysis;
use crate::observations::Observations;
use records::TrialDesign;
use std::collections::BTreeMap;

impl Components {
    /// The components of an analysed trial, in the square of its trait's unit; what is estimated
    /// below 0 counts as 0. `observed` are the rows analysed, which tell one tree of a plot from
    /// another over the seasons. `None` where the analysis has none, or parts that no component
    /// stands for: sub plots or strips by season.
    #[must_use]
    pub fn of_analysis(analysis: &Analysis, observed: &Observations) -> Option<Self> {
        use TrialDesign as D;
        let plan = &analysis.plan;
        let whole = whole_plots(plan.design);
        let split_again = matches!(plan.design, D::SplitSplitPlot | D::StripPlot);
        let several = plan.units.iter().any(|unit| unit.season.is_some());
        if analysis.components.is_empty() || (split_again && several) {
            return None;
        }
        let of = |name: &str| {
            let found = analysis.components.iter().find(|own| own.stratum == name);
            found.map_or(0.0, |own| own.variance)
        };
        let mut out = Self {
            replicate: of("replicates") + of("blocks") + of("squares"),
            main_plot: of("main plots") + of("strips one way"),
            sub_plot: if split_again { of("sub plots") + of("strips across") } else { 0.0 },
            main_plot_season: of("main plots x season"),
            plot: of(whole),
            plot_season: of(&format!("{whole} x season")),
            ..Self::default()
        };
        if plan.units_are_trees {
            out.tree = of("trees") + of("trees within plots");
            out.tree_season = of("trees x season");
        } else {
            let per_plot = plan.units.first()?.trees.len();
            let trees = Trees::of(analysis, observed);
            if per_plot < 2 {
                // What a tree and its plot have of their own is one where a plot is a tree.
                out.tree = std::mem::take(&mut out.plot);
                out.tree_season = std::mem::take(&mut out.plot_season);
            } else {
                let trees = trees?;
                out.tree = trees.lasting;
                out.tree_season = trees.by_season;
                out.plot -= trees.lasting / per_plot as f64;
                out.plot_season -= trees.by_season / per_plot as f64;
            }
        }
        Some(out.each(|variance| variance.max(0.0)))
    }

    /// Upper 95 % limit of the variance between plots, where it is estimated at 0 and the analysis
    /// tells how much is plausible.
    #[must_use]
    pub fn plot_limit(&self, analysis: &Analysis) -> Option<f64> {
        let plan = &analysis.plan;
        let per_plot = plan.units.first()?.trees.len();
        let whole = whole_plots(plan.design);
        let own = analysis.components.iter().find(|own| own.stratum == whole)?;
        // A plot of one tree is that tree; the mean of several holds their part of the variance.
        let of_trees = if plan.units_are_trees { 0.0 } else { self.tree / per_plot as f64 };
        let known = self.plot <= 0.0 && (plan.units_are_trees || per_plot > 1);
        own.upper.filter(|_| known).map(|upper| upper - of_trees).filter(|upper| *upper > 0.0)
    }
}

/// The stratum of the plots that treatments were randomised to last.
fn whole_plots(design: TrialDesign) -> &'static str {
    match design {
        TrialDesign::SplitPlot => "sub plots",
        TrialDesign::SplitSplitPlot => "sub-sub plots",
        TrialDesign::StripPlot => "crossings of strips",
        _ => "plots",
    }
}

/// How the trees of a plot vary.
struct Trees {
    /// Between their means over the seasons; of one season, all of it.
    lasting: f64,
    /// Of a tree from season to season.
    by_season: f64,
}

impl Trees {
    /// By mean squares of trees and of trees by season within plots, from the plots whose trees have
    /// a value in every season; `None` where no plot has two such trees.
    fn of(analysis: &Analysis, observed: &Observations) -> Option<Self> {
        let mut plots: BTreeMap<&str, BTreeMap<&str, BTreeMap<Option<i32>, f64>>> = BTreeMap::new();
        let mut seasons: Vec<Option<i32>> = Vec::new();
        for unit in &analysis.plan.units {
            if !seasons.contains(&unit.season) {
                seasons.push(unit.season);
            }
            for (row, value) in unit.rows.iter().zip(&unit.trees) {
                let tree = observed.tree.get(*row)?;
                let trees = plots.entry(&unit.plot).or_default();
                trees.entry(tree).or_default().insert(unit.season, *value);
            }
        }
        let s = seasons.len() as f64;
        let (mut of_trees, mut trees_df, mut of_rest, mut rest_df) = (0.0, 0.0, 0.0, 0.0);
        for trees in plots.into_values() {
            let whole: Vec<Vec<f64>> = trees
                .into_values()
                .filter(|own| own.len() == seasons.len())
                .map(|own| own.into_values().collect())
                .collect();
            if whole.len() < 2 {
                continue;
            }
            let n = whole.len() as f64;
            let means: Vec<f64> = whole.iter().map(|own| own.iter().sum::<f64>() / s).collect();
            let mean = means.iter().sum::<f64>() / n;
            of_trees += s * means.iter().map(|own| (own - mean).powi(2)).sum::<f64>();
            trees_df += n - 1.0;
            for season in 0..seasons.len() {
                let of_season = whole.iter().map(|own| own[season]).sum::<f64>() / n;
                of_rest += whole
                    .iter()
                    .zip(&means)
                    .map(|(own, tree)| (own[season] - tree - of_season + mean).powi(2))
                    .sum::<f64>();
            }
            rest_df += (n - 1.0) * (s - 1.0);
        }
        if trees_df == 0.0 {
            return None;
        }
        let by_season = if rest_df > 0.0 { of_rest / rest_df } else { 0.0 };
        Some(Self { lasting: ((of_trees / trees_df - by_season) / s).max(0.0), by_season })
    }
}
