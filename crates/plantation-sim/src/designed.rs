//! Designed trials on blocks of their own: what is compared, and how it is laid out.

mod field;
mod treatment;

use records::{TrialControl, TrialDeclaration, TrialDesign, TrialRoles, TrialTrait};
use serde::Serialize;

pub use treatment::{LevelEffect, Treatment, TrialFactor, TrialLevel};

/// Where the treatments of a factor go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stratum {
    /// Whole main plots.
    Main,
    /// Plots: sub plots where there are main plots.
    Plot,
}

/// A trial with plots of several trees, at one or more sites of a region.
#[derive(Debug, Clone, PartialEq)]
pub struct DesignedTrial {
    /// Trial id.
    pub id: String,
    /// Title for people.
    pub title: String,
    /// Randomised blocks or split plot.
    pub design: TrialDesign,
    /// What is compared; every combination is a treatment.
    pub factors: Vec<TrialFactor>,
    /// Whether an untreated control stands beside the combinations.
    pub control: bool,
    /// Lead of prunings, days before the flush start, unless a factor sets it.
    pub lead_days: f64,
    /// Replicates at each site.
    pub replicates: usize,
    /// Sites, from the region's first.
    pub sites: usize,
    /// Trees in each plot, in a row.
    pub trees_per_plot: usize,
    /// First season of treatments; the trees are left unpruned before.
    pub first_season: i16,
    /// Plots that a storm took before their first harvest under treatment.
    pub lost_plots: usize,
    /// Whether frames are counted on every tree under treatment.
    pub framed: bool,
    /// Covariate of the declaration.
    pub covariate: Option<String>,
    /// Coefficient of variation between the trees chosen for it.
    pub tree_cv: f64,
    /// Coefficient of variation between replicates.
    pub replicate_cv: f64,
    /// Between main plots; only where there are some.
    pub main_plot_cv: f64,
    /// Between plots.
    pub plot_cv: f64,
}

impl DesignedTrial {
    /// How the trial stands in `book.toml`.
    #[must_use]
    pub fn declaration(&self) -> TrialDeclaration {
        let columns = |stratum: Stratum| -> Vec<String> {
            let own = self.factors.iter().filter(|factor| factor.stratum == stratum);
            own.map(|factor| factor.column.clone()).collect()
        };
        let split = self.has_main_plots();
        let (main_factors, plot_factors) = (columns(Stratum::Main), columns(Stratum::Plot));
        let (factors, sub_factors) =
            if split { (Vec::new(), plot_factors) } else { (plot_factors, Vec::new()) };
        let control = self.control.then(|| TrialControl {
            factor: self.factors.first().map_or_else(String::new, |f| f.column.clone()),
            level: Treatment::CONTROL.to_owned(),
            beside_factorial: true,
        });
        let mut traits = vec![TrialTrait::NutYield];
        if self.framed {
            traits.extend([
                TrialTrait::Laterals,
                TrialTrait::FloweringLaterals,
                TrialTrait::ShareFlowering,
            ]);
        }
        TrialDeclaration {
            title: Some(self.title.clone()),
            design: self.design,
            factors,
            main_factors,
            sub_factors,
            sub_sub_factors: Vec::new(),
            amounts: self
                .factors
                .iter()
                .filter_map(|factor| Some((factor.column.clone(), factor.unit()?.to_owned())))
                .collect(),
            roles: TrialRoles {
                main_plot: split.then(|| "main_plot".to_owned()),
                plot: Some("plot".to_owned()),
                site: (self.sites > 1).then(|| "site".to_owned()),
                ..TrialRoles::default()
            },
            control,
            checks: Vec::new(),
            covariate: self.covariate.clone(),
            traits,
            seasons: Vec::new(),
            letters: false,
        }
    }

    /// Whether some factor goes to main plots.
    #[must_use]
    pub fn has_main_plots(&self) -> bool {
        self.factors.iter().any(|factor| factor.stratum == Stratum::Main)
    }
}
