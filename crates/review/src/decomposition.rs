//! Yield of the closed season against expectation, and the additive parts that explain the difference.

mod effects;
mod fixed;
mod grouping;
mod levels;
mod rounds;
mod sensitivity;
mod shapley;

use crate::columns::TreeSeasons;
use crate::error::ReviewError;
use crate::scale::Scale;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use effects::EarlierCrop;
pub use grouping::{GroupReview, Grouping, PartKg};
pub use shapley::attribute;

pub(crate) const PARTS: usize = 6;

/// What can make a tree's yield differ from what a tree of its region gave in earlier seasons.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// What all trees of the region share in a season: weather, pests of the year.
    Season,
    /// Trees older or younger than those of the earlier seasons.
    Age,
    /// Intensity of the pruning before the harvest.
    Pruning,
    /// Alternate bearing: a crop above the tree's level one season before.
    EarlierCrop,
    /// What is known of the tree and its block from earlier seasons, variety, density and the usual
    /// intensity of the tree included.
    Level,
    /// All the rest.
    Unexplained,
}

impl Part {
    /// All parts, in the order of every list of them.
    pub const ALL: [Part; PARTS] =
        [Part::Season, Part::Age, Part::Pruning, Part::EarlierCrop, Part::Level, Part::Unexplained];
}

/// One tree in the closed season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TreeReview {
    /// Row of the tree-season in the columns given.
    pub row: usize,
    /// Yield, kg.
    pub observed_kg: f64,
    /// Mean yield of the region's trees in the earlier seasons, kg.
    pub expected_kg: f64,
    /// Yield of this tree in the region's earlier seasons, its level alone being known, kg.
    pub usual_kg: f64,
    /// Yield when all parts but pruning and the unexplained are known, kg: what the tree would have
    /// given with the pruning of the region's earlier seasons.
    pub predicted_kg: f64,
    /// Parts in kg, in the order of [`Part::ALL`]; expected + parts = observed.
    pub parts_kg: [f64; PARTS],
    /// Unexplained part on the model's scale.
    pub unexplained: f64,
    /// The same over its predictive standard deviation (residual and uncertain level).
    pub standardised: f64,
    /// Earlier seasons of the tree among the rows used.
    pub earlier_seasons: u32,
}

/// Level of a tree from its earlier seasons.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TreeLevel {
    /// Tree code.
    pub tree: u32,
    /// Conditional mode of the tree's own effect within its block, model scale.
    pub mode: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Seasons behind it, the closed one included.
    pub seasons: u32,
}

/// The review of one season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeasonReview {
    /// The closed season by region.
    pub seasons: BTreeMap<String, i32>,
    /// Scale on which effects add.
    pub scale: Scale,
    /// Tree-seasons used, the closed season's included.
    pub rows_used: usize,
    /// Rows up to the closed season left out for a yield that has no value on the scale, or a missing
    /// intensity.
    pub rows_left_out: usize,
    /// Trees of the closed season, in row order.
    pub trees: Vec<TreeReview>,
    /// Regions of the closed season without an earlier season, left out.
    pub regions_without_earlier: Vec<String>,
    /// Effect of the earlier crop by region: negative means alternate bearing.
    pub earlier_crop: Vec<EarlierCrop>,
    /// Terms that the records cannot tell; their parts are 0.
    pub left_out: Vec<String>,
    /// Residual standard deviation, model scale.
    pub residual_sd: f64,
    /// Values of all rows adjusted for season, age, pruning and earlier crop, model scale, NaN for
    /// rows not used: what a ranking over seasons reads.
    pub adjusted: Vec<f64>,
    /// Levels of the trees over all seasons, by tree code; empty when no tree was seen twice.
    pub levels: Vec<TreeLevel>,
    /// How the parts of each tree move with the uncertain effects.
    #[serde(skip)]
    sensitivity: sensitivity::Sensitivity,
}

impl SeasonReview {
    /// Reviews the season `seasons` of each region (see [`TreeSeasons::last_seasons`]); later rows are
    /// not used, and a region without an entry only informs the model.
    ///
    /// A linear mixed model of all rows gives the effects (`effects`); the level of trees and blocks
    /// comes from the earlier seasons alone, so that the closed season cannot explain itself. On the
    /// model's scale a tree's yield is a constant of the region plus six parts. In kg the value of a
    /// set of known parts is the mean yield when these are the tree's own and the others are those
    /// of each tree-season of the region's earlier seasons in turn; with no part known this is the
    /// earlier mean, with all known the yield itself. Each part gets its mean marginal value over
    /// all orders (Shapley 1953; for regressions on such a background: Lundberg and Lee 2017), so
    /// that the parts sum exactly and do not depend on an order.
    ///
    /// # Errors
    /// Columns of unequal length; no usable row in or before the season; engine failures.
    pub fn new(
        table: &TreeSeasons<'_>,
        seasons: &BTreeMap<String, i32>,
        scale: Scale,
    ) -> Result<Self, ReviewError> {
        table.check()?;
        let closing = |region: &String| seasons.get(region).copied().unwrap_or(i32::MAX);
        let closed: Vec<i32> = table.region.labels.iter().map(closing).collect();
        let fitted = effects::fit(table, &closed, scale)?;
        let mut trees: Vec<TreeReview> = Vec::new();
        let mut slopes: Vec<Vec<[f64; PARTS]>> = Vec::new();
        let mut regions_without_earlier = Vec::new();
        for (region, &closing) in closed.iter().enumerate() {
            let of_region = |last: bool| {
                let used = fitted.used.iter().enumerate();
                used.filter(move |(_, row)| {
                    table.region.code(**row) == region && (table.season[**row] == closing) == last
                })
            };
            let own_rows: Vec<usize> = of_region(true).map(|(place, _)| place).collect();
            if own_rows.is_empty() {
                continue;
            }
            let earlier: Vec<usize> = of_region(false).map(|(place, _)| place).collect();
            let background: Vec<[f64; PARTS]> =
                earlier.iter().map(|&place| fitted.parts[place]).collect();
            if background.is_empty() {
                regions_without_earlier.extend(table.region.labels.get(region).cloned());
                continue;
            }
            let own: Vec<[f64; PARTS]> = own_rows.iter().map(|&p| fitted.parts[p]).collect();
            let values = shapley::Values::new(scale, fitted.constant[region], &background);
            slopes.extend(fitted.effects.slopes(
                (scale, fitted.constant[region]),
                &fitted.parts,
                (&own_rows, &earlier),
            ));
            for (&place, parts) in own_rows.iter().zip(&own) {
                let row = fitted.used[place];
                let value = values.of(parts);
                trees.push(TreeReview {
                    row,
                    observed_kg: table.yield_kg[row],
                    expected_kg: value[0],
                    usual_kg: value[1 << Part::Level as usize],
                    predicted_kg: value[shapley::all_but(&[Part::Pruning, Part::Unexplained])],
                    parts_kg: shapley::shares(&value),
                    unexplained: parts[Part::Unexplained as usize],
                    standardised: parts[Part::Unexplained as usize] / fitted.predictive_sd[place],
                    earlier_seasons: fitted.earlier_seasons[place],
                });
            }
        }
        if trees.is_empty() {
            return Err(ReviewError::NoEarlierSeason);
        }
        let mut order: Vec<usize> = (0..trees.len()).collect();
        order.sort_by_key(|&place| trees[place].row);
        let slopes = order.iter().map(|&place| slopes[place].clone()).collect();
        trees.sort_by_key(|tree| tree.row);
        let mut adjusted = vec![f64::NAN; table.len()];
        for (&row, value) in fitted.used.iter().zip(&fitted.adjusted) {
            adjusted[row] = *value;
        }
        Ok(Self {
            seasons: seasons.clone(),
            scale,
            rows_used: fitted.used.len(),
            rows_left_out: fitted.left_out_rows,
            trees,
            regions_without_earlier,
            earlier_crop: fitted.earlier_crop,
            left_out: fitted.left_out,
            residual_sd: fitted.residual_sd,
            adjusted,
            levels: fitted.levels,
            sensitivity: sensitivity::Sensitivity { slopes, covariance: fitted.effects.covariance },
        })
    }

    /// Season reviewed in the region of a row; `None` when the region has none.
    pub(crate) fn season_of(&self, table: &TreeSeasons<'_>, row: usize) -> Option<i32> {
        self.seasons.get(table.region.label(row)).copied()
    }

    /// Rows up to the season reviewed in their region.
    pub(crate) fn rows_in_time<'a>(
        &'a self,
        table: &'a TreeSeasons<'_>,
    ) -> impl Iterator<Item = usize> + 'a {
        (0..table.len())
            .filter(|&row| self.season_of(table, row).is_none_or(|s| table.season[row] <= s))
    }
}

#[cfg(test)]
mod tests;
