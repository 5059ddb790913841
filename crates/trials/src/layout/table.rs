//! The trial table to fill and its declaration: what ingest reads back.

use super::request::{LayoutFactor, PlotOf};
use super::result::{Layout, LayoutTree};
use records::{TrialDeclaration, TrialDesign, TrialRoles, TrialTrait};
use serde::{Deserialize, Serialize};

/// The trial table as text: one row per observed tree.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TrialTable {
    /// Column names: `trial`, `tree`, `replicate`, then the design's own, then one per factor.
    pub columns: Vec<String>,
    /// Cells; empty where a factor has no level.
    pub rows: Vec<Vec<String>>,
}

/// Which of the design's columns a table has.
struct Shape {
    block: bool,
    main_plot: bool,
    sub_plot: bool,
    lines: bool,
}

impl Layout {
    /// Whether a factor says how much of the canopy is cut; else all trees are cut alike.
    #[must_use]
    pub fn varies_the_cut(&self) -> bool {
        self.factors.iter().any(|factor| factor.is_fraction() || factor.names_intensity())
    }

    /// Whether a factor is neither how much nor when is cut: something is given.
    #[must_use]
    pub fn gives_something(&self) -> bool {
        let is_of_cut = |factor: &LayoutFactor| {
            factor.is_fraction() || factor.names_intensity() || factor.is_lead()
        };
        !self.factors.iter().all(is_of_cut)
    }

    fn shape(&self) -> Shape {
        use TrialDesign as D;
        let one_patch = self.plots.iter().all(|plot| {
            plot.row.is_some() && self.plots.first().is_some_and(|first| first.patch == plot.patch)
        });
        Shape {
            block: matches!(self.design, D::IncompleteBlocks | D::AugmentedBlocks),
            main_plot: matches!(self.design, D::SplitPlot | D::SplitSplitPlot | D::StripPlot),
            sub_plot: matches!(self.design, D::SplitSplitPlot | D::StripPlot),
            // Rows of several plantation blocks count from 1 in each: no positions of one field.
            lines: self.design == D::LatinSquare || one_patch,
        }
    }

    /// The trial table: column `row` and `column` are those of the square for a Latin square, else
    /// those of plots in the field.
    #[must_use]
    pub fn trial_table(&self) -> TrialTable {
        let shape = self.shape();
        let mut columns: Vec<String> =
            ["trial", "tree", "replicate"].into_iter().map(str::to_owned).collect();
        let site = self.site.as_ref();
        columns.extend(site.map(|_| "site".to_owned()));
        let extra = [
            ("block", shape.block),
            ("main_plot", shape.main_plot),
            ("sub_plot", shape.sub_plot),
            ("plot", true),
            ("row", shape.lines),
            ("column", shape.lines),
        ];
        columns.extend(extra.iter().filter(|(_, has)| *has).map(|(name, _)| (*name).to_owned()));
        columns.extend(self.factors.iter().map(|factor| factor.name.clone()));
        let mut rows = Vec::new();
        for plot in &self.plots {
            let number = |value: Option<usize>| value.map(|v| v.to_string()).unwrap_or_default();
            let cells = [
                plot.block.clone().unwrap_or_default(),
                plot.main_plot.clone().unwrap_or_default(),
                plot.sub_plot.clone().unwrap_or_default(),
                plot.plot.clone(),
                number(plot.square_row.or(plot.row)),
                number(plot.square_column.or(plot.column)),
            ];
            for tree in &plot.trees {
                let mut row = vec![self.trial.clone(), tree.tree.clone(), plot.replicate.clone()];
                row.extend(site.cloned());
                row.extend(
                    cells.iter().zip(&extra).filter(|(_, (_, has))| *has).map(|(c, _)| c.clone()),
                );
                let levels = self.treatments.get(plot.treatment).map_or(&[][..], |t| &t.levels);
                row.extend(levels.iter().map(|level| level.clone().unwrap_or_default()));
                rows.push(row);
            }
        }
        TrialTable { columns, rows }
    }

    /// The tree table of a new field: a row for each tree of a plot and each guard. `None` for trees
    /// that stand already.
    #[must_use]
    pub fn tree_table(&self) -> Option<TrialTable> {
        let block = &self.new_field.as_ref()?.block;
        let of_plots = self.plots.iter().flat_map(|plot| plot.trees.iter().chain(&plot.border));
        let mut trees: Vec<&LayoutTree> =
            of_plots.chain(&self.guards).chain(&self.left_over).collect();
        trees.sort_by_key(|tree| (tree.row, tree.column));
        let number = |value: Option<i64>| value.map(|v| v.to_string()).unwrap_or_default();
        let row = |tree: &LayoutTree| {
            vec![tree.tree.clone(), block.clone(), number(tree.row), number(tree.column)]
        };
        Some(TrialTable {
            columns: ["tree", "block", "row", "column"].map(str::to_owned).into(),
            rows: trees.into_iter().map(row).collect(),
        })
    }

    /// The block table of a new field, its optional cells yet to be filled. `None` for trees that
    /// stand already, and where site or region is not stated.
    #[must_use]
    pub fn block_table(&self) -> Option<TrialTable> {
        let field = self.new_field.as_ref()?;
        let (site, region) = field.site.as_ref().zip(field.region.as_ref())?;
        let mut row = vec![field.block.clone(), site.clone(), region.clone()];
        row.resize(7, String::new());
        let columns =
            ["block", "site", "region", "row_spacing_m", "tree_spacing_m", "variety", "planted"];
        Some(TrialTable { columns: columns.map(str::to_owned).into(), rows: vec![row] })
    }

    /// The declaration that makes the filled table readable without hand edits.
    #[must_use]
    pub fn declaration(&self) -> TrialDeclaration {
        let shape = self.shape();
        let on = |stratum: PlotOf| -> Vec<String> {
            self.factors.iter().filter(|f| f.on == stratum).map(|f| f.name.clone()).collect()
        };
        let column = |has: bool, name: &str| has.then(|| name.to_owned());
        let amount = |factor: &LayoutFactor| Some((factor.name.clone(), factor.unit.clone()?));
        TrialDeclaration {
            title: self.title.clone(),
            design: self.design,
            factors: on(PlotOf::Plots),
            main_factors: on(PlotOf::MainPlots),
            sub_factors: on(PlotOf::SubPlots),
            sub_sub_factors: on(PlotOf::SubSubPlots),
            amounts: self.factors.iter().filter_map(amount).collect(),
            roles: TrialRoles {
                site: column(self.site.is_some(), "site"),
                block: column(shape.block, "block"),
                row: column(shape.lines, "row"),
                column: column(shape.lines, "column"),
                main_plot: column(shape.main_plot, "main_plot"),
                sub_plot: column(shape.sub_plot, "sub_plot"),
                plot: Some("plot".to_owned()),
                ..TrialRoles::default()
            },
            control: self.control.clone(),
            checks: self.treatments.iter().filter(|t| t.check).map(|t| t.label.clone()).collect(),
            covariate: self
                .balance
                .as_ref()
                .and_then(|balance| balance.on.first())
                .map(|covariate| covariate.as_str().to_owned()),
            traits: if self.traits.is_empty() {
                vec![TrialTrait::NutYield]
            } else {
                self.traits.clone()
            },
            seasons: self.first_harvest.into_iter().collect(),
            letters: false,
        }
    }
}
