//! Rounds of fits that bring the effects and the effect of the earlier crop into agreement.

use super::fixed::{self, Column};
use super::{PARTS, Part, levels};
use crate::columns::TreeSeasons;
use crate::error::ReviewError;
use crate::scale::Scale;
use mixed::{Data, Factor, Fit, FixedColumn, Settings};
use std::collections::{BTreeMap, BTreeSet};

/// Step of the earlier crop's effect by which its standard error is found, and the trees with three
/// seasons in a row that a region needs for the effect.
const STEP: f64 = 0.05;
const LEAST_TREES: usize = 20;

/// Rows used with what does not change between rounds.
pub(super) struct Rows {
    pub(super) used: Vec<usize>,
    /// Response less the pruning effect that was given and less `centre`.
    pub(super) response: Vec<f64>,
    pub(super) centre: f64,
    pub(super) given: Vec<f64>,
    pub(super) columns: Vec<Column>,
    /// Place of the same tree's row one season before.
    pub(super) before: Vec<Option<usize>>,
    pub(super) season: Vec<u32>,
    pub(super) season_levels: usize,
    pub(super) block: Vec<u32>,
    pub(super) tree: Vec<u32>,
    pub(super) levels: (usize, usize),
}

/// One round's fit.
pub(super) struct Solved {
    pub(super) fit: Fit,
    /// Fixed parts by row, without the earlier crop.
    pub(super) fixed: Vec<[f64; PARTS]>,
    pub(super) constant: Vec<f64>,
    pub(super) season: Vec<f64>,
    /// Response less constant, fixed parts and season: level, earlier crop and error.
    pub(super) deviations: Vec<f64>,
    /// What the effect of the earlier crop lacks, and its standard error, by region that has it.
    pub(super) crop: Vec<(f64, f64)>,
    /// By how much that error grows because levels follow the effect.
    pub(super) growth: Vec<f64>,
}

impl Rows {
    pub(super) fn new(table: &TreeSeasons<'_>, used: Vec<usize>, scale: Scale) -> Self {
        let given: Vec<f64> = used
            .iter()
            .map(|&row| table.pruning_effect.map_or(0.0, |effect| effect[row]))
            .collect();
        let mut response: Vec<f64> = used
            .iter()
            .zip(&given)
            .map(|(&row, given)| scale.forward(table.yield_kg[row]) - given)
            .collect();
        let centre = response.iter().sum::<f64>() / response.len() as f64;
        response.iter_mut().for_each(|value| *value -= centre);
        let places: BTreeMap<(u32, i32), usize> = used
            .iter()
            .enumerate()
            .map(|(place, &row)| ((table.tree.codes[row], table.season[row]), place))
            .collect();
        let before = used
            .iter()
            .map(|&row| places.get(&(table.tree.codes[row], table.season[row] - 1)).copied())
            .collect();
        let keys: Vec<(u32, i32)> =
            used.iter().map(|&row| (table.region.codes[row], table.season[row])).collect();
        let mut distinct = keys.clone();
        distinct.sort_unstable();
        distinct.dedup();
        let season =
            keys.iter().map(|key| distinct.binary_search(key).unwrap_or(0) as u32).collect();
        Self {
            response,
            centre,
            given,
            columns: fixed::columns(table, &used),
            before,
            season,
            season_levels: distinct.len(),
            block: used.iter().map(|&row| table.block.codes[row]).collect(),
            tree: used.iter().map(|&row| table.tree.codes[row]).collect(),
            levels: (table.block.len(), table.tree.len()),
            used,
        }
    }

    /// Regions in which enough trees were seen three seasons in a row.
    pub(super) fn crop_regions(&self, table: &TreeSeasons<'_>) -> Vec<usize> {
        let mut trees: BTreeMap<usize, BTreeSet<u32>> = BTreeMap::new();
        for (place, &row) in self.used.iter().enumerate() {
            if self.before[place].and_then(|before| self.before[before]).is_some() {
                trees.entry(table.region.code(row)).or_default().insert(self.tree[place]);
            }
        }
        trees.into_iter().filter(|(_, own)| own.len() >= LEAST_TREES).map(|(r, _)| r).collect()
    }

    /// Loading of the level and weight of each row.
    pub(super) fn loading(&self, table: &TreeSeasons<'_>, rho: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let pairs = self.used.iter().zip(&self.before).map(|(&row, before)| {
            let own = rho[table.region.code(row)];
            if before.is_some() { (1.0 - own, 1.0) } else { (1.0, 1.0 - own * own) }
        });
        pairs.unzip()
    }

    /// Values less rho times those of the row before.
    fn differenced(&self, table: &TreeSeasons<'_>, rho: &[f64], values: &[f64]) -> Vec<f64> {
        let own = |(place, &row): (usize, &usize)| match self.before[place] {
            Some(before) => values[place] - rho[table.region.code(row)] * values[before],
            None => values[place],
        };
        self.used.iter().enumerate().map(own).collect()
    }

    /// Deviation of the crop before, by region.
    fn crop(
        &self,
        table: &TreeSeasons<'_>,
        crop_regions: &[usize],
        deviations: &[f64],
    ) -> Vec<Column> {
        let column = |&region: &usize| Column {
            name: format!("earlier crop in {}", table.region.labels[region]),
            part: Some(Part::EarlierCrop),
            values: self
                .used
                .iter()
                .zip(&self.before)
                .map(|(&row, before)| match before {
                    Some(before) if table.region.code(row) == region => deviations[*before],
                    _ => 0.0,
                })
                .collect(),
        };
        crop_regions.iter().map(column).collect()
    }

    /// One round: effects given rho, and what rho lacks where a round before gave deviations.
    pub(super) fn solve(
        &self,
        table: &TreeSeasons<'_>,
        (crop_regions, rho): (&[usize], &[f64]),
        last: Option<&Solved>,
    ) -> Result<Solved, ReviewError> {
        let spread = levels::spread(&self.response);
        if spread <= 0.0 {
            return Err(mixed::Error::NoResidualVariation.into());
        }
        let (loading, weights) = self.loading(table, rho);
        let crop =
            last.map_or_else(Vec::new, |last| self.crop(table, crop_regions, &last.deviations));
        // The season of the row before is known from the round before.
        let known: Vec<f64> = match last {
            Some(last) => self.response.iter().zip(&last.season).map(|(y, s)| y - s).collect(),
            None => self.response.clone(),
        };
        let mut response = self.differenced(table, rho, &known);
        if let Some(last) = last {
            response.iter_mut().zip(&last.season).for_each(|(value, season)| *value += season);
        }
        let mut data = Data::new(&response).response_units(0.0, spread).weights(&weights);
        for column in &self.columns {
            let values = self.differenced(table, rho, &column.values);
            data = data.column(FixedColumn::new(column.name.clone(), values));
        }
        for column in &crop {
            data = data.column(FixedColumn::new(column.name.clone(), column.values.as_slice()));
        }
        data = data.factor(Factor::intercept("season", &self.season, self.season_levels));
        let (with_block, with_tree) = levels::separable(&self.block, &self.tree);
        if with_block {
            data = data.factor(levels::loaded("block", &self.block, self.levels.0, &loading));
        }
        if with_tree {
            data = data.factor(levels::loaded("tree", &self.tree, self.levels.1, &loading));
        }
        let fit = mixed::fit(&data, &Settings::default())?;
        let estimates = fit.estimates();
        let modes = fit.modes("season")?.column(0);
        let mut fixed = vec![[0.0; PARTS]; self.used.len()];
        let mut constant = vec![0.0; self.used.len()];
        for (column, estimate) in self.columns.iter().zip(&estimates) {
            if !estimate.is_finite() {
                continue;
            }
            for (place, value) in column.values.iter().enumerate() {
                match column.part {
                    Some(part) => fixed[place][part as usize] += estimate * value,
                    None => constant[place] += estimate * value,
                }
            }
        }
        let season: Vec<f64> = self.season.iter().map(|&code| modes[code as usize]).collect();
        let deviations = (0..self.used.len())
            .map(|p| self.response[p] - constant[p] - fixed[p].iter().sum::<f64>() - season[p])
            .collect();
        let covariance = fit.covariance();
        let crop = (self.columns.len()..estimates.len())
            .map(|j| match estimates[j].is_finite() {
                true => (estimates[j], covariance[(j, j)].sqrt()),
                false => (0.0, f64::NAN),
            })
            .collect();
        let growth = vec![1.0; crop_regions.len()];
        Ok(Solved { fit, fixed, constant, season, deviations, crop, growth })
    }

    /// Standard errors of the earlier crop's effect hold the share of the level that goes with it.
    /// Letting that share follow, a round lacks less for a step of rho than the step: by 1 - r, and
    /// the error grows by 1 / (1 - r).
    pub(super) fn allow_for_levels(
        &self,
        table: &TreeSeasons<'_>,
        (crop_regions, rho): (&[usize], &[f64]),
        solved: &mut Solved,
    ) -> Result<(), ReviewError> {
        let mut moved = rho.to_vec();
        crop_regions.iter().for_each(|&region| moved[region] += STEP);
        let [here, there] = [rho, &moved]
            .map(|rho| self.solve(table, (crop_regions, rho), Some(solved)).map(|own| own.crop));
        let pairs = here?.into_iter().zip(there?);
        let growth = pairs.map(|(here, there)| STEP / (here.0 - there.0)).collect::<Vec<f64>>();
        // A step that lacks no less, or hardly, leaves the effect as good as unknown: ten times.
        let bounded = |growth: f64| if (1.0..=10.0).contains(&growth) { growth } else { 10.0 };
        solved.growth = growth
            .into_iter()
            .map(|own| if own > 0.0 && own < 1.0 { 1.0 } else { bounded(own) })
            .collect();
        Ok(())
    }
}
