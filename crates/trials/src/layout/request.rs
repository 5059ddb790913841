//! What is asked of a layout.

use records::{TrialControl, TrialDesign, TrialTrait};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Which plots the levels of a factor are randomised to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PlotOf {
    /// Plots; every design but split and strip plots.
    #[default]
    Plots,
    /// Main plots, or the strips one way.
    MainPlots,
    /// Sub plots, or the strips across.
    SubPlots,
    /// Sub-sub plots.
    SubSubPlots,
}

/// A treatment factor.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayoutFactor {
    /// Column of the trial table.
    pub name: String,
    /// Levels, two or more.
    pub levels: Vec<String>,
    /// Unit when the levels are amounts (`fraction`, `days`); absent for names.
    #[serde(default)]
    pub unit: Option<String>,
    /// Plots that its levels are randomised to.
    #[serde(default)]
    pub on: PlotOf,
}

impl LayoutFactor {
    /// Whether the levels are fractions, such as the part of the canopy removed.
    #[must_use]
    pub fn is_fraction(&self) -> bool {
        self.unit.as_deref() == Some("fraction")
    }

    /// Whether the name speaks of intensities, in any of the languages of a table's headings.
    pub(super) fn names_intensity(&self) -> bool {
        self.name.to_lowercase().contains("intensi")
    }

    /// Whether the levels are shares of the canopy to remove.
    #[must_use]
    pub fn is_intensity(&self) -> bool {
        self.is_fraction() && self.names_intensity()
    }
}

/// Trees of a plot: rows x columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TreesPerPlot {
    /// Rows of trees.
    pub rows: usize,
    /// Trees in a row.
    pub columns: usize,
}

impl Default for TreesPerPlot {
    fn default() -> Self {
        Self { rows: 1, columns: 1 }
    }
}

/// A tree that stands already.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ExistingTree {
    /// Tree id of the book.
    pub tree: String,
    /// Plantation block.
    #[serde(default)]
    pub block: String,
    /// Row within the plantation block.
    #[serde(default)]
    pub row: Option<i64>,
    /// Position in the row.
    #[serde(default)]
    pub column: Option<i64>,
    /// Crop before the trial, kg per tree.
    #[serde(default)]
    pub earlier_crop: Option<f64>,
    /// Girth of the trunk, cm.
    #[serde(default)]
    pub girth_cm: Option<f64>,
}

/// Where the trial will stand: a new grid of plots, or trees that stand already.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Field {
    /// Rows of plots of a new grid.
    pub rows: Option<usize>,
    /// Plots in a row of a new grid.
    pub columns: Option<usize>,
    /// Plots of the grid that cannot be used: row and column, from 1.
    pub unusable: Vec<(usize, usize)>,
    /// Plantation blocks to stay in; all of `trees` when empty.
    pub blocks: Vec<String>,
    /// Existing trees. Whoever reads the book fills them in.
    pub trees: Vec<ExistingTree>,
    /// Trees asked for that no longer stand, by id. Whoever reads the book fills them in.
    #[serde(skip)]
    pub gone: Vec<String>,
    /// Id that a new grid will have as a plantation block; the trial's when absent.
    pub block: Option<String>,
    /// Site that a new grid lies in.
    pub site: Option<String>,
    /// Region that a new grid lies in, as the book declares it.
    pub region: Option<String>,
}

impl Field {
    /// The first entry that only a new grid has, as it is written in a request.
    pub(super) fn of_new_field(&self) -> Option<&'static str> {
        let given = [
            ("field.block", &self.block),
            ("field.site", &self.site),
            ("field.region", &self.region),
        ];
        given.into_iter().find(|(_, value)| value.is_some()).map(|(part, _)| part)
    }
}

/// Trees that separate plots and are not observed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Guards {
    /// Lines of guard trees around the trial.
    pub around_trial: usize,
    /// Lines of guard trees between neighbouring plots.
    pub between_plots: usize,
    /// Outer lines of each plot that get its treatment but are not observed.
    pub inside_plots: usize,
}

/// What neighbouring plots may not hold.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Restrictions {
    /// Neighbouring plots never hold the same treatment.
    pub no_equal_neighbours: bool,
    /// Pairs of treatments, by label, that are never neighbours.
    pub never_neighbours: Vec<(String, String)>,
    /// Whether plots that touch at a corner count as neighbours.
    pub corners: bool,
}

/// How replicates are cut from the field.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Blocking {
    /// Plots that stand together.
    #[default]
    Position,
    /// Each replicate within one plantation block.
    PlantationBlock,
    /// Plots of like earlier crop, wherever they stand: sorted and cut.
    EarlierCrop,
    /// Plots of like girth, wherever they stand: sorted and cut.
    Girth,
}

/// What was measured on the trees before the trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Covariate {
    /// Crop before the trial.
    EarlierCrop,
    /// Girth of the trunk.
    GirthCm,
}

impl Covariate {
    /// Column name, as a trial's declaration has it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::EarlierCrop => "earlier_crop",
            Self::GirthCm => "girth_cm",
        }
    }

    pub(super) fn of(self, tree: &ExistingTree) -> Option<f64> {
        match self {
            Self::EarlierCrop => tree.earlier_crop,
            Self::GirthCm => tree.girth_cm,
        }
        .filter(|value| value.is_finite())
    }
}

/// Rerandomisation until treatments are alike in what was measured before.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Balance {
    /// What to balance: earlier crop, girth or both.
    pub on: Vec<Covariate>,
    /// Share of the valid layouts that is accepted: 0.001 to 1.
    #[serde(default = "one_in_a_hundred")]
    pub acceptance: f64,
}

fn one_in_a_hundred() -> f64 {
    0.01
}

/// A request for a layout.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayoutRequest {
    /// Trial id.
    pub trial: String,
    /// Site of this part of a trial that stands at several: each is drawn by a request of its own under the same id,
    /// and has its trees, tables and sheets apart.
    #[serde(default)]
    pub site: Option<String>,
    /// Title for people.
    #[serde(default)]
    pub title: Option<String>,
    /// How treatments are assigned.
    pub design: TrialDesign,
    /// Treatment factors.
    pub factors: Vec<LayoutFactor>,
    /// The control, where there is one. Beside the factorial, the other factors stay empty there.
    #[serde(default)]
    pub control: Option<TrialControl>,
    /// Treatments repeated in every block of an augmented design, by label.
    #[serde(default)]
    pub checks: Vec<String>,
    /// Replicates; blocks of an augmented design. A Latin square has as many as treatments.
    #[serde(default)]
    pub replicates: usize,
    /// Replicates of single treatments by label, where they differ (completely randomised only).
    #[serde(default)]
    pub replication: BTreeMap<String, usize>,
    /// Plots of a block; incomplete blocks and augmented blocks.
    #[serde(default)]
    pub plots_per_block: Option<usize>,
    /// Trees of a plot, guard lines inside the plot among them.
    #[serde(default)]
    pub trees_per_plot: TreesPerPlot,
    /// Where it will stand.
    pub field: Field,
    /// Guard trees.
    #[serde(default)]
    pub guards: Guards,
    /// Restrictions on neighbours.
    #[serde(default)]
    pub restrictions: Restrictions,
    /// How replicates are cut from the field.
    #[serde(default)]
    pub blocking: Blocking,
    /// Balance of what was measured before.
    #[serde(default)]
    pub balance: Option<Balance>,
    /// Traits to be analysed; nut yield when empty.
    #[serde(default)]
    pub traits: Vec<TrialTrait>,
    /// Lines of the harvest sheet for each tree: as many as it is usually picked.
    #[serde(default = "one")]
    pub picks_per_tree: usize,
}

impl LayoutRequest {
    /// The site, where one is stated.
    pub(super) fn at_site(&self) -> Option<&str> {
        self.site.as_deref().map(str::trim).filter(|site| !site.is_empty())
    }

    /// What sets the trees of this part of the trial apart from those of other trials and sites.
    pub(super) fn own_id(&self) -> String {
        let trial = &self.trial;
        let site = self.at_site().map(|site| site.split_whitespace().collect::<Vec<_>>().join("-"));
        site.map_or_else(|| trial.clone(), |site| format!("{trial}-{site}"))
    }
}

pub(super) fn one() -> usize {
    1
}
