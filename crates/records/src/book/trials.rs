//! `[trials.ID]`: how a trial was laid out, columns of the trial table by their role.

mod number;
mod seen;
mod snippet;

use crate::plain_name;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use words::text;

pub use number::{written_amount, written_number};
pub use seen::SeenTrials;

/// How treatments were assigned to plots.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum TrialDesign {
    /// Treatments to plots without restriction.
    CompletelyRandomised,
    /// Every treatment once in every replicate.
    RandomisedBlocks,
    /// Every treatment once in every row and column.
    LatinSquare,
    /// Main factors on main plots of replicates, sub factors within.
    SplitPlot,
    /// As split plot, with sub-sub factors within sub plots.
    SplitSplitPlot,
    /// Main factors on strips one way, sub factors on strips across, in every replicate.
    StripPlot,
    /// Replicates cut into blocks that hold part of the treatments: lattice, alpha.
    IncompleteBlocks,
    /// Checks in every block, further treatments once.
    AugmentedBlocks,
}

/// Columns of the trial table by role. Those with a default need no entry.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct TrialRoles {
    /// Replicate: complete block.
    pub replicate: String,
    /// Incomplete block within the replicate, or block of an augmented design.
    pub block: Option<String>,
    /// Row of a Latin square, or of the field.
    pub row: Option<String>,
    /// Column of a Latin square, or of the field.
    pub column: Option<String>,
    /// Main plot; told from replicate and main factors when absent.
    pub main_plot: Option<String>,
    /// Sub plot; told from main plot and sub factors when absent.
    pub sub_plot: Option<String>,
    /// Plot: what a treatment was randomised to, holding one or more trees; told from the other
    /// roles when absent.
    pub plot: Option<String>,
    /// Site, where one trial stands at several.
    pub site: Option<String>,
}

impl Default for TrialRoles {
    fn default() -> Self {
        Self {
            replicate: "replicate".to_owned(),
            block: None,
            row: None,
            column: None,
            main_plot: None,
            sub_plot: None,
            plot: None,
            site: None,
        }
    }
}

/// The untreated (or usual) control of a factorial with a control, or the one that others are
/// compared with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TrialControl {
    /// Factor whose level marks the control.
    pub factor: String,
    /// The level.
    pub level: String,
    /// Whether it stands beside the factorial (the other factors are empty on control plots) rather
    /// than being one of its levels.
    #[serde(default)]
    pub beside_factorial: bool,
}

/// What of a trial is analysed.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum TrialTrait {
    /// kg of nuts per tree and season at reference moisture.
    NutYield,
    /// Nuts per tree and season.
    NutCount,
    /// Grams per nut.
    NutWeight,
    /// Laterals by frame area.
    Laterals,
    /// Flowering laterals by frame area.
    FloweringLaterals,
    /// Flowering laterals of all laterals.
    ShareFlowering,
}

/// `[trials.ID]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TrialDeclaration {
    /// Title for people; the id when absent.
    pub title: Option<String>,
    /// How treatments were assigned.
    pub design: TrialDesign,
    /// Treatment factors, columns of the trial table; every design but split and strip plots.
    #[serde(default)]
    pub factors: Vec<String>,
    /// Factors of main plots, or of the strips one way.
    #[serde(default)]
    pub main_factors: Vec<String>,
    /// Factors of sub plots, or of the strips across.
    #[serde(default)]
    pub sub_factors: Vec<String>,
    /// Factors of sub-sub plots.
    #[serde(default)]
    pub sub_sub_factors: Vec<String>,
    /// Factors whose levels are amounts, with their unit (`fraction`, `days`); levels must be
    /// numbers.
    #[serde(default)]
    pub amounts: BTreeMap<String, String>,
    /// Columns by role.
    #[serde(default)]
    pub roles: TrialRoles,
    /// The control, where there is one.
    pub control: Option<TrialControl>,
    /// Treatments repeated in every block of an augmented design.
    #[serde(default)]
    pub checks: Vec<String>,
    /// Covariate: `earlier_crop`, `girth_cm`, or a numeric column of the trial table.
    pub covariate: Option<String>,
    /// What is analysed; nut yield when absent.
    #[serde(default = "nut_yield")]
    pub traits: Vec<TrialTrait>,
    /// Seasons analysed; all with harvests after the trial's first pruning when absent. Records of
    /// its trees before the first of these seasons count as everyday records. From the first to the
    /// last of them (always when absent) the work plan leaves its trees to its field sheets.
    #[serde(default)]
    pub seasons: Vec<i16>,
    /// Whether means are given letters (asked for, because letters hide the size of differences).
    #[serde(default)]
    pub letters: bool,
}

fn nut_yield() -> Vec<TrialTrait> {
    vec![TrialTrait::NutYield]
}

impl TrialDesign {
    /// Every design.
    pub const ALL: [Self; 8] = [
        Self::CompletelyRandomised,
        Self::RandomisedBlocks,
        Self::LatinSquare,
        Self::SplitPlot,
        Self::SplitSplitPlot,
        Self::StripPlot,
        Self::IncompleteBlocks,
        Self::AugmentedBlocks,
    ];

    /// The word of `book.toml`.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::CompletelyRandomised => "completely_randomised",
            Self::RandomisedBlocks => "randomised_blocks",
            Self::LatinSquare => "latin_square",
            Self::SplitPlot => "split_plot",
            Self::SplitSplitPlot => "split_split_plot",
            Self::StripPlot => "strip_plot",
            Self::IncompleteBlocks => "incomplete_blocks",
            Self::AugmentedBlocks => "augmented_blocks",
        }
    }

    /// Name of the design for people.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::CompletelyRandomised => text!("completely randomised design"),
            Self::RandomisedBlocks => text!("randomised complete blocks"),
            Self::LatinSquare => text!("Latin square"),
            Self::SplitPlot => text!("split plot"),
            Self::SplitSplitPlot => text!("split-split plot"),
            Self::StripPlot => text!("strip plot"),
            Self::IncompleteBlocks => text!("incomplete blocks"),
            Self::AugmentedBlocks => text!("augmented blocks"),
        }
    }

    /// The design in words, to stand before `design`.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::CompletelyRandomised => text!("completely randomised"),
            Self::RandomisedBlocks => text!("randomised-blocks"),
            Self::LatinSquare => text!("Latin-square"),
            Self::SplitPlot => text!("split-plot"),
            Self::SplitSplitPlot => text!("split-split-plot"),
            Self::StripPlot => text!("strip-plot"),
            Self::IncompleteBlocks => text!("incomplete-blocks"),
            Self::AugmentedBlocks => text!("augmented"),
        }
    }
}

impl TrialTrait {
    /// The word of `book.toml`.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::NutYield => "nut_yield",
            Self::NutCount => "nut_count",
            Self::NutWeight => "nut_weight",
            Self::Laterals => "laterals",
            Self::FloweringLaterals => "flowering_laterals",
            Self::ShareFlowering => "share_flowering",
        }
    }
}

impl TrialRoles {
    /// Roles that have a column: role and column, in the order of the fields.
    pub fn named(&self) -> impl Iterator<Item = (&'static str, &str)> {
        let optional = [
            ("block", &self.block),
            ("row", &self.row),
            ("column", &self.column),
            ("main_plot", &self.main_plot),
            ("sub_plot", &self.sub_plot),
            ("plot", &self.plot),
            ("site", &self.site),
        ];
        std::iter::once(("replicate", self.replicate.as_str())).chain(
            optional.into_iter().filter_map(|(role, column)| Some((role, column.as_deref()?))),
        )
    }
}

impl TrialDeclaration {
    /// Names columns as the table does, whatever way the heading is written: `Cut %` is the column `cut_%`.
    pub(crate) fn name_columns(&mut self) {
        let lists = [
            &mut self.factors,
            &mut self.main_factors,
            &mut self.sub_factors,
            &mut self.sub_sub_factors,
        ];
        let roles = &mut self.roles;
        let of_roles = [
            &mut roles.block,
            &mut roles.row,
            &mut roles.column,
            &mut roles.main_plot,
            &mut roles.sub_plot,
            &mut roles.plot,
            &mut roles.site,
        ];
        let names = lists.into_iter().flatten().chain(of_roles.into_iter().flatten());
        let others = self.control.as_mut().map(|control| &mut control.factor);
        let names = names.chain([&mut roles.replicate]).chain(others).chain(&mut self.covariate);
        for name in names {
            *name = plain_name(name);
        }
        let amounts = std::mem::take(&mut self.amounts).into_iter();
        self.amounts = amounts.map(|(name, unit)| (plain_name(&name), unit)).collect();
    }

    /// Every factor with the list that names it, in the order of the strata.
    pub fn keyed_factors(&self) -> impl Iterator<Item = (&'static str, &str)> {
        [
            ("factors", &self.factors),
            ("main_factors", &self.main_factors),
            ("sub_factors", &self.sub_factors),
            ("sub_sub_factors", &self.sub_sub_factors),
        ]
        .into_iter()
        .flat_map(|(key, list)| list.iter().map(move |factor| (key, factor.as_str())))
    }

    /// Whether the trial goes on in a season: between the first and the last of its declared seasons,
    /// or in any where none is declared. Its trees are then cut by its own treatments alone.
    #[must_use]
    pub fn holds(&self, season: i32) -> bool {
        let seasons = || self.seasons.iter().map(|&own| i32::from(own));
        seasons()
            .min()
            .zip(seasons().max())
            .is_none_or(|(first, last)| (first..=last).contains(&season))
    }

    /// Whether the trial is over before a season: all of its declared seasons lie before it. Its trees are free again.
    #[must_use]
    pub fn is_over(&self, season: i32) -> bool {
        let last = self.seasons.iter().map(|&own| i32::from(own)).max();
        !self.holds(season) && last.is_some_and(|last| last < season)
    }

    /// Whether a column is one of the factors.
    #[must_use]
    pub fn has_factor(&self, column: &str) -> bool {
        self.keyed_factors().any(|(_, factor)| factor == column)
    }

    /// Whether a column of the trial table is a factor, has a role or is the covariate.
    #[must_use]
    pub fn names_column(&self, column: &str) -> bool {
        self.has_factor(column)
            || self.roles.named().any(|(_, own)| own == column)
            || self.covariate.as_deref() == Some(column)
    }

    /// Columns of the trial table that must hold numbers: amounts, and a covariate of its own.
    pub fn number_columns(&self) -> impl Iterator<Item = &str> {
        let own = |column: &&str| !SeenTrials::COVARIATES.contains(column);
        let covariate = self.covariate.as_deref().filter(own);
        self.amounts.keys().map(String::as_str).chain(covariate)
    }
}
