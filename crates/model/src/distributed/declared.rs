//! The design that a book settles, and its constants.

use super::expression::is_plain;
use super::{moments_sql, rows_sql};
use crate::curve::{COLUMN_NAMES, IntensityShape, Knots};
use crate::design::{Design, Source};
use crate::scale::Scale;
use crate::table::TreeSeasons;
use crate::yield_model::{Prepared, YieldError, YieldSettings, data};
use mixed::{DeclaredBasis, Fit, Settings};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Version of the file.
const FORMAT: u32 = 1;

/// A grouping factor of a declared model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeclaredFactor {
    /// Name.
    pub name: String,
    /// Names of the effects of a level.
    pub effects: Vec<String>,
    /// Whether they are independent.
    pub independent: bool,
}

/// Everything about a yield model but its sums.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeclaredModel {
    /// Version of this file.
    pub format: u32,
    /// Number that ties the sums to the queries they come from.
    pub checksum: u64,
    /// Scale of the response.
    pub scale: Scale,
    /// Family of curves.
    pub family: IntensityShape,
    /// Where they bend.
    pub knots: Knots,
    /// Centre and scale of the response inside.
    pub response_units: [f64; 2],
    /// Names of the fixed columns, the intercept first.
    pub fixed: Vec<String>,
    /// Grouping factors.
    pub factors: Vec<DeclaredFactor>,
    /// The factor whose levels are pooled by design: the trees, where there is a spread of them.
    pub pooled: String,
    /// Share of its effect that a row carries, by class of the row.
    pub loadings: Vec<f64>,
    /// Columns and response in which sums are taken.
    pub basis: DeclaredBasis,
    /// Rows that settled the design.
    pub rows: u64,
    /// Terms left out and why.
    pub left_out: Vec<String>,
}

/// A declared model, the queries that sum its rows, and the fit of the rows it was settled with.
#[derive(Debug, Clone)]
pub struct Declaration {
    /// The model.
    pub model: DeclaredModel,
    /// Query over `tree_seasons` whose result is to be the table `model_rows`.
    pub rows_sql: String,
    /// Query over `model_rows` and `tree_seasons` whose result is the table of sums.
    pub moments_sql: String,
    /// Fit of the local rows.
    pub fit: Fit,
}

/// Why a design cannot be declared.
#[derive(Debug, Error)]
pub enum DeclareError {
    /// The book allows no yield model.
    #[error(transparent)]
    Model(#[from] YieldError),
    /// The engine refused.
    #[error("the yield model could not be fitted: {0}")]
    Engine(#[from] mixed::Error),
    /// A label that dialects of SQL read differently.
    #[error(
        "the label {0:?} holds a backslash or a control character, which dialects of SQL read differently; rename it in the tables"
    )]
    Label(String),
    /// No factor with one effect per level.
    #[error(
        "no tree, block or season of the book has a spread of its own, so there is nothing to pool; the book needs trees with more than one season"
    )]
    NothingToPool,
    /// A column without a rule.
    #[error("there is no rule to compute the column {0} with")]
    NoRule(String),
}

impl Declaration {
    /// Settles the design with the rows of a linked table, as a run would, and fits them.
    ///
    /// # Errors
    /// [`DeclareError`] when there is no model, or none that SQL can state.
    pub fn of(table: &TreeSeasons, settings: &YieldSettings) -> Result<Self, DeclareError> {
        let prepared = Prepared::new(table, settings)?;
        let design = prepared.leading()?;
        let rows = data(&design, &prepared.response);
        let fit = mixed::fit(&rows, &Settings::default())?;
        let (classes, loadings) = classes(&design);
        let mut model = DeclaredModel {
            format: FORMAT,
            checksum: 0,
            scale: prepared.scale(),
            family: design.family,
            knots: design.knots,
            response_units: [rows.response_centre, rows.response_scale],
            fixed: design.columns.iter().map(|column| column.name.clone()).collect(),
            factors: factors(&design),
            pooled: pooled(&design)?,
            loadings,
            basis: DeclaredBasis::of(&rows)?,
            rows: prepared.response.len() as u64,
            left_out: design.left_out.clone(),
        };
        check_labels(&prepared, &design)?;
        check_loadings(&prepared, &design, (&classes, &model.loadings))?;
        let plan = rows_sql::Plan { prepared: &prepared, design: &design, classes: &classes };
        let rows_sql = plan.query(&model)?;
        // Sums of another query would fit just as well, and mean something else.
        let stated = format!("{rows_sql}{model:?}");
        model.checksum = fnv(stated.as_bytes()) >> 12;
        let moments_sql = moments_sql::query(&model, &plan.counts(&model));
        Ok(Self { model, rows_sql, moments_sql, fit })
    }
}

/// Fowler, Noll and Vo's hash (FNV-1a, 64 bits).
fn fnv(bytes: &[u8]) -> u64 {
    let step = |hash: u64, byte: &u8| (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, step)
}

fn factors(design: &Design) -> Vec<DeclaredFactor> {
    let effects = |slopes: &[usize]| -> Vec<String> {
        if slopes.is_empty() {
            vec!["intercept".to_owned()]
        } else {
            slopes.iter().map(|&shape| COLUMN_NAMES[shape].to_owned()).collect()
        }
    };
    let factor = |group: &crate::design::Group| DeclaredFactor {
        name: group.name.clone(),
        effects: effects(&group.slopes),
        independent: !group.slopes.is_empty(),
    };
    design.groups.iter().map(factor).collect()
}

/// The largest factor with one effect per level.
fn pooled(design: &Design) -> Result<String, DeclareError> {
    let single = design.groups.iter().filter(|group| group.slopes.is_empty());
    let largest = single.max_by_key(|group| group.labels.len());
    largest.map(|group| group.name.clone()).ok_or(DeclareError::NothingToPool)
}

/// Regions whose rows with an earlier crop carry a part of the tree's effect, and the part by class:
/// class 0 carries all of it, class i the part of region i - 1 of these.
fn classes(design: &Design) -> (Vec<String>, Vec<f64>) {
    let (mut regions, mut loadings) = (Vec::new(), vec![1.0]);
    let trees = design.groups.iter().find(|group| !group.loading.is_empty());
    if let Some(trees) = trees {
        for column in &design.columns {
            if let Source::EarlierCrop(region) = &column.source {
                // Every row with an earlier crop of a region has the same part.
                let row = column.values.iter().position(|value| *value != 0.0);
                regions.push(region.clone());
                loadings.push(row.map_or(1.0, |row| trees.loading(row)));
            }
        }
    }
    (regions, loadings)
}

/// Every row carries all of the tree's effect, or the part of its region's class.
fn check_loadings(
    prepared: &Prepared,
    design: &Design,
    (classes, loadings): (&[String], &[f64]),
) -> Result<(), DeclareError> {
    let region = &prepared.table.region;
    let part = |row: usize| {
        let class = classes.iter().position(|class| class == region.label(row));
        class.map_or(1.0, |class| loadings[class + 1])
    };
    for group in design.groups.iter().filter(|group| !group.loading.is_empty()) {
        let odd = |row: &usize| group.loading(*row) != 1.0 && group.loading(*row) != part(*row);
        if (0..group.codes.len()).any(|row| odd(&row)) {
            return Err(DeclareError::NoRule(group.name.clone()));
        }
    }
    Ok(())
}

fn check_labels(prepared: &Prepared, design: &Design) -> Result<(), DeclareError> {
    let table = &prepared.table;
    let of_groups = design.groups.iter().chain(&prepared.girthed.0.groups);
    let of_groups = of_groups.filter(|group| group.name != "tree").flat_map(|group| &group.labels);
    let labels = table.region.labels.iter().chain(&table.variety.labels);
    match labels.chain(&table.basis.labels).chain(of_groups).find(|label| !is_plain(label)) {
        Some(label) => Err(DeclareError::Label(label.clone())),
        None => Ok(()),
    }
}
